"""Deliberately broken copies of the C core: each is caught by a stored vector."""

import importlib
import shutil
from functools import cache
from pathlib import Path

import pytest

from hil.boards.native_library import NativeLibraryBoard
from hil.comparison import compare
from hil.firmware.building import CORE, build_library
from hil.runner import Pairings, is_vector, load_for_run
from hil.vectors.names import Names
from hil.vectors.vector import Vector
from tests.broken.harness import vector_file
from tests.core.test_bridge import PAIRINGS
from tests.firmware.mistakes import Mistake
from tools.environment import C_COMPILER
from xlate_core.pairing import load

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}"
    ),
]
NAME = "farm_pickup"
VECTORS = PAIRINGS.parent / "vectors"
LISTS = sorted(path.stem for path in Path(__file__).parent.glob("mistakes*.py"))
MISTAKES: tuple[Mistake, ...] = tuple(
    one for name in LISTS for one in importlib.import_module(f"tests.firmware.{name}").MISTAKES
)


@cache
def corpus(caught_by: str) -> list[tuple[Vector, Names]]:
    """The vector a mistake names, or those of the whole car, the shortest first."""
    pairings = Pairings(PAIRINGS, load, {})
    paths = [path for path in (VECTORS / NAME).iterdir() if is_vector(path)]
    if caught_by:
        paths = [vector_file(caught_by, VECTORS)]
    return sorted(
        (load_for_run(path, pairings) for path in sorted(paths)),
        key=lambda entry: entry[0].header.ticks,
    )


def broken_copy(mistake: Mistake, folder: Path) -> Path:
    core = folder / "core"
    shutil.copytree(CORE, core)
    path = core / mistake.file
    text = path.read_text(encoding="utf-8")
    assert text.count(mistake.right) == 1, f"{mistake.name} no longer fits {mistake.file}"
    path.write_text(text.replace(mistake.right, mistake.wrong), encoding="utf-8")
    return core


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.name)
def test_a_vector_catches(mistake: Mistake, tmp_path: Path) -> None:
    core = broken_copy(mistake, tmp_path)
    pairing = load(PAIRINGS / (mistake.caught_by.split("/")[0] or NAME))
    board = NativeLibraryBoard(pairing, build_library(pairing, tmp_path, core))
    assert any(
        compare(vector, names, board).difference is not None
        for vector, names in corpus(mistake.caught_by)
    ), f"no vector notices {mistake.name}"
