"""The memory that survives a reset, in C: the reference's octets, and refused when damaged."""

import random

import pytest

from hil.boards.native_library import NativeLibraryBoard
from tests.core.test_bridge import NAMES, PAIRINGS, bridge_of, random_stimulus, step
from tests.firmware.cores import Cores
from tests.firmware.test_core_equals_reference import differences
from tools.environment import C_COMPILER
from xlate_core.bridge import ResetCause
from xlate_core.pairing import load

pytestmark = pytest.mark.skipif(
    not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}"
)
TICKS = 3000


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_resets_in_random_traffic(name: str, cores: Cores) -> None:
    pairing = load(PAIRINGS / name)
    board, bridge = NativeLibraryBoard(pairing, cores.library(pairing)), bridge_of(name)
    source = random.Random(f"resets {name}")
    for tick, (frames, inputs) in enumerate(random_stimulus(bridge, 41, TICKS)):
        if source.random() < 0.01:
            kept = bridge.kept()
            assert board.kept() == kept, tick
            cause = source.choice(tuple(ResetCause))
            damaged = bytes((kept[0] ^ 16, *kept[1:]))
            given = source.choice((kept, kept, None, damaged))
            bridge.reset(cause, given)
            board.restart(cause, given)
            assert board.image() == bridge.image(), f"{tick} {differences(bridge, board)}"
        assert board.step(inputs, tuple(frames)) == step(bridge, frames, inputs), tick
        assert board.digest() == bridge.digest(), f"{tick} {differences(bridge, board)}"


def test_damaged_memory_is_refused_whichever_bit_it_is(cores: Cores) -> None:
    pairing = load(PAIRINGS / "long_nights")
    board, bridge = (
        NativeLibraryBoard(pairing, cores.library(pairing)),
        bridge_of("long_nights"),
    )
    for frames, inputs in random_stimulus(bridge, 3, 900):
        step(bridge, frames, inputs)
    kept = bridge.kept()
    bridge.reset(ResetCause.EXTERNAL, b"")
    for place in range(8 * len(kept)):
        damaged = bytearray(kept)
        damaged[place // 8] ^= 1 << place % 8
        board.restart(ResetCause.EXTERNAL, bytes(damaged))
        assert board.image() == bridge.image(), place
