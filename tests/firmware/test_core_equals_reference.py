"""The C core against the reference: the stored vectors, and random traffic tick by tick."""

from pathlib import Path

import pytest

from hil.boards.interface import BoardError
from hil.boards.native_library import NativeLibraryBoard
from hil.runner import Pairings, is_vector, load_for_run, run_vector
from hil.verdicts import Verdict
from tests.core.test_bridge import NAMES, PAIRINGS, bridge_of, random_stimulus, step
from tests.firmware.cores import Cores
from tools.environment import C_COMPILER
from xlate_core.bridge import Bridge, ResetCause
from xlate_core.frames import Frame
from xlate_core.pairing import load
from xlate_core.pairing.options import choices, joined, read_options

pytestmark = pytest.mark.skipif(
    not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}"
)

VECTORS = PAIRINGS.parent / "vectors"
CORPUS = sorted(path for path in VECTORS.rglob("*") if is_vector(path))
SEEDS = range(4)
TICKS = 2000


RESOLVED = {  # every pairing, and every choice of its options that vectors must prove
    joined(PAIRINGS / name, chosen).name
    for name in NAMES
    for chosen in choices(read_options(PAIRINGS / name))
}


class Boards(dict[str, NativeLibraryBoard]):
    """Native boards by the name of the pairing, each built when it is first asked for."""

    def __init__(self, cores: Cores) -> None:
        super().__init__()
        self.cores = cores

    def __missing__(self, name: str) -> NativeLibraryBoard:
        pairing = load(PAIRINGS / name)
        self[name] = NativeLibraryBoard(pairing, self.cores.library(pairing))
        return self[name]


@pytest.fixture(scope="module")
def boards(cores: Cores) -> dict[str, NativeLibraryBoard]:
    return Boards(cores)


@pytest.fixture(scope="module")
def pairings() -> Pairings:
    return Pairings(PAIRINGS, load, {})


def test_there_is_a_corpus_for_every_pairing() -> None:
    assert {path.parent.name for path in CORPUS} == RESOLVED


@pytest.mark.slow
@pytest.mark.parametrize("path", CORPUS, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_stored_vector(
    path: Path, boards: dict[str, NativeLibraryBoard], pairings: Pairings
) -> None:
    vector, names = load_for_run(path, pairings)
    result = run_vector(vector, names, boards[vector.header.pairing], "")
    assert result.verdict is Verdict.PASS, "\n".join(result.explanation)
    assert result.ticks > 0
    assert result.checkpoints > 0


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seed", SEEDS)
def test_random_traffic_in_lockstep(
    name: str, seed: int, boards: dict[str, NativeLibraryBoard]
) -> None:
    board, bridge = boards[name], bridge_of(name)
    board.reset(ResetCause.POWER_ON, keep=False)
    assert board.image() == bridge.image()
    sent = 0
    for tick, (frames, inputs) in enumerate(random_stimulus(bridge, seed + 500, TICKS)):
        expected = step(bridge, frames, inputs)
        assert board.step(inputs, tuple(frames)) == expected, f"tick {tick}"
        sent += sum(map(len, expected.frames))
        if board.digest() != bridge.digest():
            assert board.image() == bridge.image(), f"tick {tick}: {differences(bridge, board)}"
            pytest.fail(f"tick {tick}: equal images with different digests")
    assert sent > 0


def differences(bridge: Bridge, board: NativeLibraryBoard) -> list[str]:
    """Return path, expected and actual value of every state field that differs."""
    image = board.image()
    found, place = [], 0
    for path, field, value in bridge.dump():
        octets = image[place : place + field.width.octets]
        place += field.width.octets
        actual = int.from_bytes(octets, "little", signed=field.width.signed)
        if actual != value:
            found.append(f"{path} is {actual}, expected {value}")
    return found


@pytest.mark.slow
def test_sparse_traffic_in_lockstep(boards: dict[str, NativeLibraryBoard]) -> None:
    """Silences long enough for every deadline, hold and substitute, between bursts."""
    for name in NAMES:
        board, bridge = boards[name], bridge_of(name)
        board.reset(ResetCause.POWER_ON, keep=False)
        for tick, (frames, inputs) in enumerate(random_stimulus(bridge, 77, 6000)):
            offered: list[Frame] = frames if tick // 700 % 2 == 0 else []
            assert board.step(inputs, tuple(offered)) == step(bridge, offered, inputs), tick
            assert board.digest() == bridge.digest(), f"{name} {tick} {differences(bridge, board)}"


def test_a_library_of_another_pairing_is_refused(cores: Cores) -> None:
    library = cores.library(load(PAIRINGS / "minimal"))
    with pytest.raises(BoardError, match="another pairing"):
        NativeLibraryBoard(load(PAIRINGS / "farm_pickup"), library)
