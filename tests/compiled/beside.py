"""Run as a program, on the engine in machine code: both of its forms, beside each other.

Words: the folder of a pairing whose fast form was translated, and seeds. Prints the ticks run and
how many of them the translated text was at work.
"""

import sys
from pathlib import Path

from hil.vectors import driving
from hil.vectors.names import names_of
from tests.compiled.lockstep import Step, calm_stimulus, run_beside
from tests.compiled.spans import run_spans_beside
from xlate_core.compiled.interpreted import TRANSLATED
from xlate_core.pairing import load

TICKS = 6000


def main(folder: str, *seeds: str) -> None:
    """Compare outputs in every tick, digests often and images at the end; ticks and spans."""
    if not TRANSLATED:
        raise SystemExit("the engine is not in machine code")
    pairing = load(Path(folder))
    count = at_work = 0
    inputs = driving.driving_inputs(names_of(pairing))
    drive: list[Step] = [(list(f), inputs) for f in driving.frames(pairing, 1, TICKS)]
    runs = [(seed, calm_stimulus(pairing.spec, seed, TICKS)) for seed in map(int, seeds)]
    for seed, steps in [(0, iter(drive)), *runs]:
        one, fast = run_beside(pairing.spec, steps, seed, restarts=seed % 2 == 1)
        count, at_work = count + one, at_work + fast
    spans = [(0, iter(drive))]
    spans += [(seed, calm_stimulus(pairing.spec, seed, TICKS)) for seed in map(int, seeds)]
    for seed, steps in spans:
        one, fast = run_spans_beside(pairing.spec, steps, seed)
        count, at_work = count + one, at_work + fast
    print(count, at_work)


if __name__ == "__main__":
    main(*sys.argv[1:])
