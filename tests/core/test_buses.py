"""Bus states one by one: what no short scenario can reach, and that no bus sees the other."""

import random

import pytest

from tests.core.test_bridge import bridge_of, random_stimulus, step
from xlate_core import buses
from xlate_core.bridge import Inputs
from xlate_core.buses import (
    CLOSED,
    OPEN,
    BusCommand,
    BusInput,
    BusSpec,
    BusState,
    ControllerState,
)
from xlate_core.frames import Bus, Frame

SPEC = BusSpec(
    supervised=True, quick=20, quick_attempts=3, slow=200, no_acknowledge=8, wrong_rate=5, flood=6
)
OFF = BusInput(int(ControllerState.BUS_OFF))


def attempts(spec: BusSpec, ticks: int) -> list[int]:
    """The ticks of the recovery attempts on a bus that stays off from tick 0 on."""
    state = BusState()
    return [t for t in range(ticks) if buses.step(spec, state, OFF) == BusCommand.RECOVER]


def test_attempts_are_quick_then_slow_without_end() -> None:
    assert attempts(SPEC, 1000) == [20, 40, 60, 260, 460, 660, 860]
    state = BusState(attempts=0xFFFE)
    told = [t for t in range(1001) if buses.step(SPEC, state, OFF) == BusCommand.RECOVER]
    assert (told, state.attempts) == ([200, 400, 600, 800, 1000], 0xFFFF)


def test_without_quick_attempts_the_first_one_is_slow() -> None:
    spec = BusSpec(supervised=True, quick=20, quick_attempts=0, slow=200)
    assert attempts(spec, 500) == [200, 400]


def test_an_acknowledge_is_a_proof_too() -> None:
    state = BusState(attempts=3, unacknowledged=7)
    buses.step(SPEC, state, BusInput(acknowledged=1, unacknowledged=1))
    assert (state.mode, state.attempts, state.unacknowledged) == (OPEN, 0, 0)


def test_bus_off_is_not_opened_by_frames_but_by_its_controller() -> None:
    state = BusState()
    buses.step(SPEC, state, OFF)
    state.heard = True
    assert buses.step(SPEC, state, OFF) == BusCommand.LISTEN
    assert state.mode == CLOSED
    assert buses.step(SPEC, state, BusInput()) == BusCommand.NORMAL


def test_counts_saturate() -> None:
    state = BusState(closings=0xFFFF, flooded=0xFFFF, taken=6)
    assert not buses.take(SPEC, state)
    buses.step(SPEC, state, OFF)
    assert (state.closings, state.flooded) == (0xFFFF, 0xFFFF)


def test_an_unsupervised_bus_is_always_open() -> None:
    state = BusState()
    for given in (OFF, BusInput(unacknowledged=9), BusInput(errors=9)):
        for _ in range(50):
            assert buses.step(BusSpec(), state, given) == BusCommand.NORMAL
            assert buses.take(BusSpec(), state)


def test_rest_means_that_a_step_changes_nothing() -> None:
    """The shortcut of the engine: whenever it says so, the step agrees."""
    source = random.Random(5)
    state, rested = BusState(), 0
    for _ in range(20_000):
        given = source.choice((BusInput(), BusInput(), OFF, BusInput(1), BusInput(errors=1)))
        if source.random() < 0.2:
            buses.take(SPEC, state)
        before = tuple(getattr(state, field.name) for field in BusState.FIELDS)
        rests = buses.at_rest(state, given)
        command = buses.step(SPEC, state, given)
        if rests:
            rested += 1
            after = tuple(getattr(state, field.name) for field in BusState.FIELDS)
            assert (after, command) == (before, BusCommand.NORMAL)
    assert rested > 1000


@pytest.mark.parametrize("hurt", Bus)
def test_what_happens_on_one_bus_does_not_touch_the_commands_of_the_other(hurt: Bus) -> None:
    bridge = bridge_of("long_nights")
    modes = set()
    for frames, inputs in random_stimulus(bridge, 60 + hurt, 2500):
        other = Bus(1 - hurt)
        given = [inputs.buses[0], inputs.buses[1]]
        given[other] = BusInput()
        frames = [frame for frame in frames if frame.bus == hurt]
        frames.append(Frame(other, False, 0x7F1, b""))  # somebody is there, and wakes the module
        awake = Inputs(*inputs[:4], (given[0], given[1]))
        outputs = step(bridge, frames, awake)
        modes.add(bridge.common.lines[hurt].mode)
        if outputs.commands[other] == BusCommand.SLEEP:
            assert outputs.commands[hurt] == BusCommand.SLEEP
        else:
            assert outputs.commands[other] == BusCommand.NORMAL
    assert modes >= {OPEN, CLOSED}


def test_a_closed_bus_carries_nothing() -> None:
    bridge = bridge_of("long_nights")
    closed = 0
    for frames, inputs in random_stimulus(bridge, 71, 3000):
        outputs = step(bridge, frames, inputs)
        for bus in Bus:
            if outputs.commands[bus] != BusCommand.NORMAL:
                closed += 1
                assert outputs.frames[bus] == ()
    assert closed > 500
