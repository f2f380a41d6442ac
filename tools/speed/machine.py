"""The readable engine translated into machine code: the same rows, measured in a Python of its own.

Started as a program (by `measure`, with the environment of `tools.machine_code`) it measures and
prints its figures as JSON.
"""

import gc
import json
import subprocess
import sys
from collections.abc import Callable

from hil.collecting import collect_rarely
from hil.vectors import driving
from tools import machine_code
from tools.environment import last_line
from tools.speed import codec, hour
from tools.speed.commands import HOUR_FLOOR
from tools.speed.engine import FAST_FLOOR, FLOOR, PAIRING, SEED, run_in_columns, run_once
from tools.speed.rows import Floor, Measured, Row, median
from xlate_core.compiled.columns import arrivals_of
from xlate_core.errors import InputError
from xlate_core.pairing import load

ENGINE, HOUR, DECODE = "machine_real_time", "machine_hour", "machine_decode"
FAST, FAST_HOUR = "machine_fast_real_time", "machine_fast_hour"
SPANS = "machine_fast_spans"
ROWS = {
    ENGINE: ("real time: readable engine in machine code", "x"),
    HOUR: ("replay from the store, one hour: in machine code", "s"),
    FAST: ("real time: fast form in machine code", "x"),
    SPANS: ("real time: fast form in machine code, frames in columns", "x"),
    FAST_HOUR: ("replay from the store, one hour: fast form in machine code", "s"),
    DECODE: ("decode all 8: engine in machine code", "us"),
}
COMPARED = (
    "machine code: the files of the readable engine as they stand, translated by mypyc, measured "
    "like the rows of the same beginning in a Python of its own; the fast form in machine code is "
    "the text of farm_pickup translated beside it. Translating is not counted. Frames in "
    "columns: codes and words made ready before, codes and words come out (as in the hour), every "
    "tick run."
)


def measure(
    measured: Measured,
    seconds: tuple[int, int],
    repeats: int,
    codec_s: float,
    said: Callable[[str], None],
) -> None:
    """Add the rows; `seconds` are the drive for the engine alone and the drive in the store."""
    floors = {ENGINE: FLOOR, HOUR: HOUR_FLOOR, FAST_HOUR: hour.FLOOR}
    floors |= {FAST: FAST_FLOOR, SPANS: FAST_FLOOR}
    for row in measured.rows:
        if row.key == "decode_cantools_raw.all_new" and row.value is not None:
            floors[DECODE] = Floor(row.value, True, "<= cantools raw")
    figures: dict[str, float] = {}
    note = ""
    try:
        figures = _figures(seconds, repeats, codec_s, said)
    except (InputError, codec.NotRunError) as error:
        note = str(error)
    for key, (what, unit) in ROWS.items():
        floor = floors.get(key)
        measured.rows.append(Row(key, what, figures.get(key), unit, repeats, None, floor, note))
    measured.compared.append(COMPARED)


def _figures(
    seconds: tuple[int, int], repeats: int, codec_s: float, said: Callable[[str], None]
) -> dict[str, float]:
    """Return the figures by key; raises InputError or NotRunError with what is missing."""
    environment = machine_code.environment(said)
    machine_code.translate(PAIRING, said)
    said(f"engine in machine code: {seconds[0]} s of driving, {repeats} times")
    words = [str(word) for word in (*seconds, repeats)]
    done = subprocess.run(
        [*machine_code.PYTHON, "-m", "tools.speed.machine", *words],
        env=environment,
        capture_output=True,
        encoding="utf-8",
        errors="replace",
        check=False,
    )
    if done.returncode != 0:
        raise InputError(f"the engine in machine code failed: {last_line(done.stderr)}")
    figures: dict[str, float] = json.loads(done.stdout)
    decoded = codec.run_benchmarks(codec_s, machine_code.PYTHON, environment, "decode_engine")
    return {**figures, DECODE: decoded["decode_engine.all_new"][0]}


def _program(engine_s: int, store_s: int, repeats: int) -> None:
    """Measure in this Python and print the figures as JSON."""
    collect_rarely()  # as every command does
    pairing = load(PAIRING)
    arriving = list(driving.frames(pairing, SEED, engine_s * 1000 // pairing.spec.tick_ms))
    gc.freeze()  # what was made ready is not looked through again and again
    figures = {}
    for key, hour_key, plain in ((ENGINE, HOUR, True), (FAST, FAST_HOUR, False)):
        lived = [engine_s / run_once(pairing, arriving, plain) for _ in range(repeats)]
        figures[key] = median(lived)
        took, done = hour.of_driving(store_s, plain)
        if not done.difference:
            figures[hour_key] = took
    arrivals = arrivals_of(pairing.spec, arriving)
    lived = [engine_s / run_in_columns(pairing, arrivals) for _ in range(repeats)]
    figures[SPANS] = median(lived)
    print(json.dumps(figures))


if __name__ == "__main__":
    _program(*map(int, sys.argv[1:]))
