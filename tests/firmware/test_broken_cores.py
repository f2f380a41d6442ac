"""Deliberately broken copies of the C core: each is caught by a stored vector."""

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
from tests.core.test_bridge import PAIRINGS
from tests.firmware.mistakes import MISTAKES, Mistake
from tools.environment import C_COMPILER
from xlate_core.pairing import load

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}"
    ),
]
NAME = "farm_pickup"


@cache
def corpus() -> list[tuple[Vector, Names]]:
    """The vectors of the pairing, the shortest first."""
    pairings = Pairings(PAIRINGS, load, {})
    paths = [path for path in (PAIRINGS.parent / "vectors" / NAME).iterdir() if is_vector(path)]
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
    board = NativeLibraryBoard(
        load(PAIRINGS / NAME), build_library(load(PAIRINGS / NAME), tmp_path, core)
    )
    assert any(
        compare(vector, names, board).difference is not None for vector, names in corpus()
    ), f"no vector notices {mistake.name}"
