"""Native boards for the tests of the link."""

from functools import cache
from pathlib import Path

from hil.boards.native import NativeBoard, executable
from hil.runner import Pairings, load_for_run
from hil.vectors.names import Names
from hil.vectors.vector import Vector
from xlate_core.pairing import load

ROOT = Path(__file__).resolve().parents[2]
PAIRINGS = ROOT / "fixtures" / "pairings"
VECTORS = ROOT / "fixtures" / "vectors"


@cache
def pairings() -> Pairings:
    return Pairings(PAIRINGS, load, {})


@cache
def program(name: str = "minimal") -> Path:
    return executable(pairings().names(name).pairing)


def native(name: str = "minimal") -> NativeBoard:
    return NativeBoard(pairings().names(name).pairing, program(name))


def vector(path: str) -> tuple[Vector, Names]:
    return load_for_run(VECTORS / path, pairings())


def short_vectors(name: str = "minimal", ticks: int = 3000, most: int = 8) -> list[Path]:
    found = []
    for path in sorted((VECTORS / name).glob("*.vector")):
        header = load_for_run(path, pairings())[0].header
        if header.random is None and header.ticks <= ticks and header.pairing == name:
            found.append(path)
    return found[:most]
