"""Native boards for the tests of the link."""

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path

from hil.boards.native import NativeBoard, executable
from hil.firmware import programs
from hil.firmware.toolchains import NATIVE
from hil.runner import Pairings, load_for_run
from hil.vectors.names import Names
from hil.vectors.vector import Vector
from xlate_core.pairing import load

SMALL_MEMORY = ("-DNATIVE_RING=2048u", "-DXB_LINK_PACKET=128u", "-DXB_LINK_SLOTS=16u")
ROOT = Path(__file__).resolve().parents[2]
PAIRINGS = ROOT / "fixtures" / "pairings"
VECTORS = ROOT / "fixtures" / "vectors"


@cache
def pairings() -> Pairings:
    return Pairings(PAIRINGS, load, {})


@cache
def program(name: str = "minimal") -> Path:
    return executable(pairings().names(name).pairing)


@cache
def small_program(name: str = "minimal") -> Path:
    """The native board with the memory of a real one."""
    folder = Path(tempfile.mkdtemp(prefix="xlate-small-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    pairing = pairings().names(name).pairing
    return programs.build(pairing, NATIVE, folder, more_flags=SMALL_MEMORY).path


def small(name: str = "minimal") -> NativeBoard:
    return NativeBoard(pairings().names(name).pairing, small_program(name))


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
