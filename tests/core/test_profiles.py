"""Counter-plus-CRC profiles: checks, window, time and acceptance (rule 5)."""

from collections import deque
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.core.test_bridge import bridge_of
from xlate_core.bridge import Inputs
from xlate_core.compiled import engine_of
from xlate_core.events import Event, Reason
from xlate_core.frames import Bus, Frame
from xlate_core.protection import (
    CheckResult,
    LimitSpec,
    MachineSpec,
    MachineState,
    ProfileSpec,
    ProfileState,
    check_frame,
    checksum_good,
    seal,
)
from xlate_core.protection.machine import Finding
from xlate_core.protection.profiles import (
    MODULO,
    PROFILES,
    accepts,
    begin,
    checksum_of,
    counter_of,
    pass_time,
    step_machine,
)
from xlate_core.signals import ByteOrder, SignalSpec

ACCEPTED = (CheckResult.OK, CheckResult.SOME_LOST)
NAME = "dairy_van"


def place(name: str, start: int, length: int) -> SignalSpec:
    return SignalSpec(name, start, length, ByteOrder.INTEL, signed=False)


def spec_of(number: int, max_step: int = 2, stalled: int = 2, sync: int = 1) -> ProfileSpec:
    wide = number == 5
    counter = place("Counter", 16, 8) if wide else place("Counter", 8, 4)
    crc = place("Crc", 0, 16 if wide else 8)
    data_ids = tuple(range(16)) if number in (2, 22) else (0x4711,)
    checksum = checksum_of(number, "both", crc, counter, 8, data_ids)
    grows = number in (1, 2)
    return ProfileSpec(
        number,
        checksum,
        counter_of(number, counter, max_step),
        period=10,
        clock=0,
        most_stalled=stalled if grows else 0,
        sync_checks=sync if grows else 0,
    )


def frame(spec: ProfileSpec, counter: int, octets: bytes = bytes(8)) -> bytes:
    return seal(spec.counter, spec.checksum, octets, counter)


def machine(window: int, *limits: int) -> MachineSpec:
    init, valid, invalid = (LimitSpec(*limits[at : at + 2]) for at in (0, 2, 4))
    return MachineSpec(window, init, valid, invalid)


@pytest.mark.parametrize("number", PROFILES)
@given(data=st.data())
def test_whatever_arrives_has_a_result_and_keeps_the_state_in_its_bounds(
    number: int, data: st.DataObject
) -> None:
    spec, state = spec_of(number), ProfileState()
    for octets in data.draw(st.lists(st.binary(min_size=8, max_size=8), max_size=30)):
        sealed = data.draw(st.booleans())
        given_octets = frame(spec, octets[2] % (MODULO[number] + 1), octets) if sealed else octets
        result = check_frame(spec, state, given_octets)
        assert result != CheckResult.NONE
        assert state.counter < MODULO[number]
        assert state.allowed < MODULO[number]
        if not checksum_good(spec.checksum, given_octets):
            assert result == CheckResult.WRONG_CRC
        assert accepts(spec, state) == (result in ACCEPTED)


@pytest.mark.parametrize("number", PROFILES)
@given(flipped=st.integers(0, 63))
def test_a_flipped_bit_is_a_wrong_crc_and_moves_no_reference(number: int, flipped: int) -> None:
    spec, state = spec_of(number), ProfileState()
    check_frame(spec, state, frame(spec, 3))
    before = state.counter
    octets = bytearray(frame(spec, 4))
    octets[flipped // 8] ^= 1 << flipped % 8
    assert check_frame(spec, state, bytes(octets)) == CheckResult.WRONG_CRC
    assert state.counter == before
    assert not accepts(spec, state)


@given(
    window=st.integers(1, 32),
    limits=st.lists(st.integers(0, 6), min_size=6, max_size=6),
    found=st.lists(st.sampled_from(Finding), max_size=80),
)
def test_the_window_is_what_came_last(window: int, limits: list[int], found: list[Finding]) -> None:
    """The window as a list of findings, told plainly, beside the one as bits."""
    spec, state = machine(window, *limits), ProfileState()
    seen: deque[Finding] = deque(maxlen=window)
    expected = MachineState.NO_DATA
    for one in found:
        step_machine(spec, state, one)
        if expected is MachineState.NO_DATA:
            if one not in (Finding.ERROR, Finding.SILENCE):
                expected = MachineState.INIT
        else:
            seen.append(one)
            good, errors = seen.count(Finding.GOOD), seen.count(Finding.ERROR)
            limit = {
                MachineState.INIT: spec.init,
                MachineState.VALID: spec.valid,
                MachineState.INVALID: spec.invalid,
            }[expected]
            if errors <= limit.errors and good >= limit.good:
                expected = MachineState.VALID
            elif expected is not MachineState.INIT or errors > limit.errors:
                expected = MachineState.INVALID
        assert state.machine == expected


def test_time_stands_without_supervision_and_a_frame_in_time_is_in_time() -> None:
    spec, state = spec_of(1), ProfileState()
    silent = [pass_time(spec, state, supervised=True) for _ in range(25)]
    assert [tick for tick, one in enumerate(silent) if one] == [9, 19]
    assert not any(pass_time(spec, state, supervised=False) for _ in range(100))
    assert state.idle == 5
    for _ in range(4):
        assert not pass_time(spec, state, supervised=True)
    check_frame(spec, state, frame(spec, 0))
    assert not pass_time(spec, state, supervised=True)
    assert state.idle == 0


def test_a_start_forgets_all_but_the_counts() -> None:
    spec = replace(spec_of(2), machine=machine(4, 1, 0, 1, 0, 1, 0))
    state = ProfileState()
    for counter in (0, 1, 1, 9):
        check_frame(spec, state, frame(spec, counter))
    begin(state)
    assert state.counter == 9, "a frame was checked in this tick"
    pass_time(spec, state, supervised=True)
    begin(state)
    kept = ProfileState(initial=1, repeated=1, wrong_sequence=1, heard=True)
    assert state == kept


def test_counts_stop_at_their_end() -> None:
    spec = spec_of(5)
    state = ProfileState(waiting=False, counter=7, repeated=0xFFFF)
    assert check_frame(spec, state, frame(spec, 7)) == CheckResult.REPEATED
    assert state.repeated == 0xFFFF


def test_events_of_the_engine() -> None:
    events: list[Event] = []
    bridge = bridge_of(NAME, events)
    profile = next(one for one in bridge.spec.messages if one.name == "engine.DRIVE").profile
    assert profile is not None
    for tick in range(45):
        if tick in (0, 10, 20):
            octets = frame(profile, tick // 10)
            bridge.receive(Frame(Bus.ENGINE, False, 0x210, octets))
        bridge.tick(Inputs((False,)))
    told = [
        (event.tick, event.reason)
        for event in events
        if event.subject == "engine.DRIVE" and event.reason is not Reason.SUPERVISION_ON
    ]
    assert told[:4] == [
        (0, Reason.MACHINE_CHANGED),
        (0, Reason.PROFILE_INITIAL),
        (10, Reason.MACHINE_NOT_VALID),
        (20, Reason.MACHINE_CHANGED),
    ]
    assert (30, Reason.NO_NEW_DATA) in told
    assert (40, Reason.NO_NEW_DATA) in told


def test_the_window_comes_back_with_a_snapshot() -> None:
    first, second = bridge_of(NAME), bridge_of(NAME)
    profile = first.intake.protected[0].spec
    for tick in range(23):
        if tick % 10 == 0:
            first.receive(Frame(Bus.ENGINE, False, 0x210, frame(profile, tick // 10)))
        first.tick(Inputs((False,)))
    second.restore(first.image())
    for bridge in (first, second):
        for _ in range(40):
            bridge.tick(Inputs((False,)))
    assert first.image() == second.image()
    assert first.intake.protected[0].state == second.intake.protected[0].state


def test_a_pairing_that_only_sends_profiles_runs_in_the_fast_form() -> None:
    spec = bridge_of(NAME).spec
    spec = replace(spec, power=replace(spec.power, sleep=None))  # nor does it know sleep
    assert engine_of(spec).__class__.__name__ == "Bridge"
    messages = tuple(replace(one, profile=None) for one in spec.messages)
    assert engine_of(replace(spec, messages=messages)).__class__.__name__ == "CompiledBridge"
