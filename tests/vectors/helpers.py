"""What the tests of scenarios and vectors share."""

import gzip
from functools import cache
from pathlib import Path

from hil.vectors.expectations import Disagreement
from hil.vectors.generation import Generated, generate, run_reference
from hil.vectors.names import Names, names_of
from hil.vectors.reading import read_scenario
from hil.vectors.scenario import Scenario
from hil.vectors.stimulus import Step, play
from hil.vectors.vector import Vector, load_vector, put_vector
from xlate_core.pairing import load

ROOT = Path(__file__).resolve().parents[2]
PAIRINGS = ROOT / "fixtures" / "pairings"

HEADER = """\
scenario sample
title    A sample
pairing  {pairing}
purpose  Tests
hunts    nothing_real
lasts    {lasts}
"""


@cache
def names(pairing: str = "minimal") -> Names:
    return names_of(load(PAIRINGS / pairing))


def scenario(body: str, lasts: str = "100 ms", pairing: str = "minimal") -> Scenario:
    text = HEADER.format(pairing=pairing, lasts=lasts) + body
    return read_scenario(Path("sample.scenario"), text, names(pairing))


def steps(body: str, lasts: str = "100 ms", pairing: str = "minimal") -> list[Step]:
    return list(play(scenario(body, lasts, pairing), names(pairing)))


def frames(body: str, lasts: str = "100 ms", pairing: str = "minimal") -> list[tuple[int, bytes]]:
    """Tick and payload of everything that reaches the module."""
    return [
        (step.tick, one.frame.data) for step in steps(body, lasts, pairing) for one in step.stimuli
    ]


def disagreements(body: str, lasts: str = "100 ms") -> list[Disagreement]:
    return run_reference(scenario(body, lasts), names())[1]


def generated(folder: Path, body: str, lasts: str = "100 ms") -> Generated:
    path = folder / "sample.scenario"
    path.write_text(HEADER.format(pairing="minimal", lasts=lasts) + body, encoding="utf-8")
    return generate(path, names())


def text_of(result: Generated) -> bytes:
    """The text of a vector, however its file is stored."""
    compressed = result.suffix.endswith(".gz")
    return gzip.decompress(result.content) if compressed else result.content


def vector(folder: Path, body: str, lasts: str = "100 ms") -> Vector:
    result = generated(folder, body, lasts)
    assert result.disagreements == ()
    return load_vector(put_vector(folder, result.identity, result.suffix, result.content))
