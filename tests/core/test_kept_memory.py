"""The memory that survives a reset: whole or refused, and only what is declared kept."""

import random
import zlib

import pytest

from tests.core.test_bridge import bridge_of, random_stimulus, step
from xlate_core.bridge import Bridge, Inputs, ResetCause
from xlate_core.kept_memory import MEMORY_NONE, MEMORY_REFUSED, MEMORY_TAKEN, StartState, note_start

NAME = "long_nights"


def lived(seed: int = 3, ticks: int = 900) -> Bridge:
    """A bridge that has something to remember."""
    bridge = bridge_of(NAME)
    for frames, inputs in random_stimulus(bridge, seed, ticks):
        step(bridge, frames, inputs)
    return bridge


def kept_fields(bridge: Bridge) -> dict[str, int]:
    return {path: value for path, field, value in bridge.dump() if field.kept}


def test_kept_memory_is_taken_up_by_another_bridge_and_nothing_else_is() -> None:
    bridge = lived()
    kept, fresh = bridge.kept(), bridge_of(NAME)
    before = kept_fields(bridge)
    fresh.reset(ResetCause.WATCHDOG, kept)
    after = kept_fields(fresh)
    changed = {path for path in before if before[path] != after[path]}
    assert changed <= {"start.cause", "start.starts", "power.mode"}
    assert after["start.starts"] == before["start.starts"] + 1
    reset = {path: value for path, _, value in bridge_of(NAME).dump()}
    for path, field, value in fresh.dump():
        derived = path.startswith("condition.")  # judged on the mode taken up
        if not (field.kept or derived) and path not in ("start.before", "start.memory"):
            assert value == reset[path], path


def test_damaged_memory_is_refused_whichever_bit_it_is() -> None:
    kept, bridge, blank = lived().kept(), bridge_of(NAME), bridge_of(NAME)
    blank.reset(ResetCause.EXTERNAL, b"")
    for place in range(8 * len(kept)):
        damaged = bytearray(kept)
        damaged[place // 8] ^= 1 << place % 8
        bridge.reset(ResetCause.EXTERNAL, bytes(damaged))
        assert bridge.image() == blank.image()
    assert bridge.start.memory == MEMORY_REFUSED


@pytest.mark.parametrize("octets", [0, 3, 4, 8, 1000])
def test_memory_of_another_length_is_refused(octets: int) -> None:
    bridge = bridge_of(NAME)
    bridge.reset(ResetCause.EXTERNAL, random.Random(octets).randbytes(octets))
    assert bridge.start.memory == MEMORY_REFUSED


def test_memory_of_another_layout_is_refused_though_it_is_whole() -> None:
    kept, bridge = lived().kept(), bridge_of(NAME)
    other = bytes((kept[0] ^ 1,)) + kept[1:-4]
    bridge.reset(ResetCause.EXTERNAL, other + zlib.crc32(other).to_bytes(4, "little"))
    assert bridge.start.memory == MEMORY_REFUSED


def test_no_memory_is_no_fault() -> None:
    bridge = bridge_of(NAME)
    bridge.reset(ResetCause.POWER_ON)
    assert bridge.start.memory == MEMORY_NONE
    bridge.reset(ResetCause.WATCHDOG, bridge.kept())
    assert bridge.start.memory == MEMORY_TAKEN


def test_starts_saturate() -> None:
    state = StartState(starts=0xFFFE)
    for _ in range(3):
        note_start(state, 1, given=True, taken=True)
    assert state.starts == 0xFFFF


def test_a_pairing_that_keeps_nothing_resets_to_nothing() -> None:
    """Old pairings do not opt in: a reset with kept memory is what a reset was."""
    bridge, blank = bridge_of("minimal"), bridge_of("minimal")
    assert not bridge.spec.keeps
    for frames, inputs in random_stimulus(bridge, 5, 900):
        step(bridge, frames, inputs)
    bridge.reset(ResetCause.WATCHDOG, bridge.kept())
    assert bridge.image() == blank.image()
    assert bridge.tick(
        Inputs(
            levels=(False,) * len(bridge.spec.pins.levels),
            counts=(0,) * len(bridge.spec.pins.analogues),
        )
    )


def test_the_paths_of_the_fixtures_are_real() -> None:
    bridge = bridge_of(NAME)
    for path, _, value in bridge.dump():
        assert bridge.field(path) == value
    with pytest.raises(KeyError):
        bridge.field("power.nothing")
