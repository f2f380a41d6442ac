"""Deliberately broken copies of the C core: each is caught by a stored vector."""

import importlib
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import pytest

from hil.boards.native_library import NativeLibraryBoard
from hil.comparison import compare
from hil.firmware.building import CORE
from hil.mutation.trial import Range
from hil.runner import Pairings, is_vector, load_for_run
from hil.vectors.names import Names
from hil.vectors.vector import Vector
from tests.broken.harness import vector_file
from tests.core.test_bridge import PAIRINGS
from tests.firmware.cores import Cores
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
FLAGS = ("-O1", "-w", "-fPIC")
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


@cache
def unbroken(name: str, cores: Cores) -> Range:
    """The objects of a pairing's core, compiled once."""
    folder = Path(mkdtemp(dir=cores.folder, prefix="unbroken-"))
    objects = cores.objects(load(PAIRINGS / name), folder, FLAGS)
    return Range(name, folder, objects, FLAGS)


def broken_library(mistake: Mistake, name: str, cores: Cores, folder: Path) -> Path:
    """The core's library with one file broken; only that file is compiled."""
    text = (CORE / mistake.file).read_text(encoding="utf-8")
    assert text.count(mistake.right) == 1, f"{mistake.name} no longer fits {mistake.file}"
    source = folder / Path(mistake.file).name
    source.write_text(text.replace(mistake.right, mistake.wrong), encoding="utf-8")
    objects, library = folder / "broken.o", folder / "broken.so"
    made = unbroken(name, cores)
    assert made.compile(source, objects), f"{mistake.name} does not build"
    assert made.link(library, {source.name: objects}, "-shared")
    return library


def test_there_are_enough_and_every_file_of_the_core_has_one() -> None:
    assert len({mistake.name for mistake in MISTAKES}) == len(MISTAKES)
    assert len(MISTAKES) >= 60
    broken = {mistake.file for mistake in MISTAKES}
    files = {path.relative_to(CORE).as_posix() for path in CORE.rglob("*.c")}
    assert broken <= files
    # Vehicle functions have their mistakes in the lists of their groups.
    assert {file for file in files - broken if "/" not in file} == set()


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.name)
def test_a_vector_catches(mistake: Mistake, cores: Cores, tmp_path: Path) -> None:
    name = mistake.caught_by.split("/")[0] or NAME
    library = broken_library(mistake, name, cores, tmp_path)
    board = NativeLibraryBoard(load(PAIRINGS / name), library)
    assert any(
        compare(vector, names, board).difference is not None
        for vector, names in corpus(mistake.caught_by)
    ), f"no vector notices {mistake.name}"
