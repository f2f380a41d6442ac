"""A message without a single signal: all of it has arrived with any frame, an empty one too."""

import shutil
from pathlib import Path

import pytest

from hil.boards.native_library import NativeLibraryBoard
from hil.boards.reference import ReferenceBoard
from hil.vectors.records import initial
from tests.core.test_bridge import PAIRINGS
from tests.firmware.cores import Cores
from tools.environment import C_COMPILER
from xlate_core.bridge import ResetCause
from xlate_core.frames import Frame
from xlate_core.pairing import load

pytestmark = pytest.mark.skipif(
    not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}"
)


@pytest.mark.parametrize("length", [0, 1])
def test_a_heartbeat_has_a_deadline_on_both_sides(
    length: int, cores: Cores, tmp_path: Path
) -> None:
    folder = tmp_path / "heartbeat"
    shutil.copytree(PAIRINGS / "minimal", folder)
    with (folder / "engine.dbc").open("a", encoding="utf-8") as stream:
        stream.write(f"\nBO_ 300 BEAT: {length} Engine\n")
    with (folder / "bridge.toml").open("a", encoding="utf-8") as stream:
        stream.write("\n[receive.engine.BEAT]\ndeadline_ms = 20\n")
    pairing = load(folder)
    boards = (ReferenceBoard(pairing), NativeLibraryBoard(pairing, cores.library(pairing)))
    inputs = initial(pairing)
    for board in boards:
        board.reset(ResetCause.POWER_ON, False)
    seen = set()
    for tick in range(100):
        frames = (Frame(1, False, 300, bytes(length)),) if tick in (10, 20) else ()
        assert boards[0].step(inputs, frames) == boards[1].step(inputs, frames)
        assert boards[0].digest() == boards[1].digest()
        seen.add(boards[0].digest())
    assert len(seen) > 20  # ages moved: the frames were taken, then lost
