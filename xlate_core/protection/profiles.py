"""Counter-plus-CRC profiles 1, 2, 5, 11 and 22: layout, check results and acceptance (rule 5).

Built from public parameters and published examples; no conformity is claimed, and the terms of the
specification itself may require a licence for commercial use.

A profile is a checksum and a counter at fixed places, with a data ID that both sides know:

- 1 and 11: CRC-8 (0x1D, from zero), 4-bit counter 0..14, a data ID in one of four modes in front;
- 2 and 22: CRC-8 (0x2F), 4-bit counter 0..15, one of sixteen data IDs behind, by the counter;
- 5: CRC-16 (0x1021) least octet first, 8-bit counter, a data ID of two octets behind.

Sending needs no more than the plain counter and checksum made of that. On reception there is one
check for every frame of full length and one "no new data" check whenever a period has passed
without one.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import UINT8_MAX, UINT16_MAX, UINT32_MAX
from xlate_core.fields import Field, Overflow, Width
from xlate_core.protection.checksums import (
    ChecksumKind,
    ChecksumSpec,
    FoldItem,
    FoldPlace,
    FoldSpec,
    checksum_good,
)
from xlate_core.protection.counters import CounterSpec
from xlate_core.protection.crc import CRC_CATALOGUE
from xlate_core.protection.machine import Finding, MachineSpec, MachineState, next_state
from xlate_core.signals import SignalSpec, extract

PROFILES = (1, 2, 5, 11, 22)
MODULO = {1: 15, 2: 16, 5: 256, 11: 15, 22: 16}
FIRST_SENT = {1: 0, 2: 1, 5: 0, 11: 0, 22: 1}
"""The counter of the first frame: 2 and 22 count before they send."""
LISTED = (2, 22)  # profiles with a list of data IDs
GROWING = (1, 2)  # profiles whose allowed step grows with every check
CRC_OF = {
    1: "CRC-8/SAE-J1850-ZERO",
    2: "CRC-8/AUTOSAR",
    5: "CRC-16/IBM-3740",
    11: "CRC-8/SAE-J1850-ZERO",
    22: "CRC-8/AUTOSAR",
}
LIST_LENGTH = 16


class CheckResult(IntEnum):
    """What one check found; NONE before the first."""

    NONE = 0
    OK = 1
    SOME_LOST = 2
    REPEATED = 3
    WRONG_SEQUENCE = 4
    WRONG_CRC = 5
    NO_NEW_DATA = 6
    INITIAL = 7
    SYNC = 8


FINDINGS = {
    CheckResult.OK: Finding.GOOD,
    CheckResult.SOME_LOST: Finding.GOOD,
    CheckResult.WRONG_CRC: Finding.ERROR,
    CheckResult.NO_NEW_DATA: Finding.SILENCE,
}
"""What a result means to the machine; what is not here is neither good nor an error."""


@dataclass(frozen=True, slots=True)
class ProfileSpec:
    """How a received message of a profile is checked.

    - `counter.max_step` is the largest good step; in profiles 1 and 2 the allowed one grows by one
      with every check, before it is compared, and is `max_step` again when a counter is taken;
    - `nibble` holds bits 11..8 of the data ID in the payload, `nibble_value` what it must be;
    - profiles 1 and 2: after more than `most_stalled` checks without a new counter, and after a
      wrong sequence, `sync_checks` good frames are SYNC before the next is OK;
    - `period` in ticks: so long without a frame is a check for itself;
    - `clock` is the supervision clock of the message: it stands, and so do these checks;
    - with a `machine` a frame is accepted only while it says VALID.
    """

    number: int
    checksum: ChecksumSpec
    counter: CounterSpec
    period: int
    clock: int
    nibble: SignalSpec | None = None
    nibble_value: int = 0
    most_stalled: int = 0
    sync_checks: int = 0
    machine: MachineSpec | None = None

    @property
    def grows(self) -> bool:
        """Whether the allowed step grows and the state has a first frame and SYNC."""
        return self.number in GROWING


@dataclass(slots=True)
class ProfileState:
    """Per message with a profile.

    - `counter` is the last one taken, nothing while `waiting` for the first;
    - `allowed` is the step allowed now, `stalled` counts checks without a new counter since the
      last good one, `syncing` the frames still to be SYNC (profiles 1 and 2);
    - `idle` is ticks since the last check, `heard` true from a check, or a start, to the deadlines
      phase;
    - `good` and `errors` are the machine's window, one bit a check, the newest lowest;
    - the counts are of results that reject a frame, and of lost ones and silence.
    """

    counter: int = 0
    waiting: bool = True
    allowed: int = 0
    stalled: int = 0
    syncing: int = 0
    idle: int = 0
    heard: bool = False
    result: int = CheckResult.NONE
    machine: int = MachineState.NO_DATA
    good: int = 0
    errors: int = 0
    some_lost: int = 0
    repeated: int = 0
    wrong_sequence: int = 0
    no_new_data: int = 0
    initial: int = 0
    sync: int = 0
    not_valid: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("counter", Width.U8, Overflow.BOUNDED),
        Field("waiting", Width.U8, Overflow.BOUNDED, 1),
        Field("allowed", Width.U8, Overflow.SATURATE),
        Field("stalled", Width.U8, Overflow.SATURATE),
        Field("syncing", Width.U8, Overflow.BOUNDED),
        Field("idle", Width.U32, Overflow.SATURATE),
        Field("heard", Width.U8, Overflow.BOUNDED),
        Field("result", Width.U8, Overflow.BOUNDED),
        Field("machine", Width.U8, Overflow.BOUNDED),
        Field("good", Width.U32, Overflow.BOUNDED),
        Field("errors", Width.U32, Overflow.BOUNDED),
        Field("some_lost", Width.U16, Overflow.SATURATE),
        Field("repeated", Width.U16, Overflow.SATURATE),
        Field("wrong_sequence", Width.U16, Overflow.SATURATE),
        Field("no_new_data", Width.U16, Overflow.SATURATE),
        Field("initial", Width.U16, Overflow.SATURATE),
        Field("sync", Width.U16, Overflow.SATURATE),
        Field("not_valid", Width.U16, Overflow.SATURATE),
    )


# LAYOUT


def counter_of(number: int, signal: SignalSpec, max_step: int = 1) -> CounterSpec:
    """Return the counter of a profile."""
    return CounterSpec(signal, MODULO[number], max_step, FIRST_SENT[number])


def checksum_of(
    number: int,
    mode: str,
    signal: SignalSpec,
    counter: SignalSpec,
    length: int,
    data_ids: tuple[int, ...],
) -> ChecksumSpec:
    """Return the checksum of a profile over a payload of `length` octets.

    `mode` is that of profiles 1 and 11; `data_ids` is one data ID, or the list of 2 and 22.
    """
    crc = CRC_CATALOGUE[CRC_OF[number]]
    fold = _fold(number, mode, data_ids)
    return ChecksumSpec(
        signal=signal,
        kind=ChecksumKind.CRC if crc.width != 8 else ChecksumKind.CRC8,
        crc=crc,
        first_octet=0,
        last_octet=length - 1,
        folds=(fold,),
        counter=counter if fold.values else None,
    )


def _fold(number: int, mode: str, data_ids: tuple[int, ...]) -> FoldSpec:
    """Return how the data ID enters the CRC."""
    first, low = data_ids[0], data_ids[0] & 0xFF
    if number in LISTED:
        return FoldSpec(FoldItem.DATA_ID_LIST, FoldPlace.AFTER, 0, 1, False, data_ids)
    if number == 5:
        return FoldSpec(FoldItem.DATA_ID, FoldPlace.AFTER, first, 2, True)
    if mode == "alternating":  # even counters take the low octet, odd ones the high octet
        both = (low, first >> 8)
        return FoldSpec(FoldItem.DATA_ID_LIST, FoldPlace.BEFORE, 0, 1, False, both)
    if mode == "low":
        return FoldSpec(FoldItem.DATA_ID, FoldPlace.BEFORE, low, 1, True)
    if mode == "nibble":  # the high part is in the payload; an octet 0 stands for it here
        return FoldSpec(FoldItem.DATA_ID, FoldPlace.BEFORE, low, 2, True)
    return FoldSpec(FoldItem.DATA_ID, FoldPlace.BEFORE, first, 2, True)


# CHECKS


def check_frame(spec: ProfileSpec, state: ProfileState, data: bytes) -> CheckResult:
    """Check one frame of full length: CRC and data ID, then the counter (rule 5)."""
    if spec.grows:
        state.allowed = min(state.allowed + 1, spec.counter.modulo - 1)
    counter = extract(spec.counter.signal, data)
    if not intact(spec, data) or counter >= spec.counter.modulo:
        result = CheckResult.WRONG_CRC
    elif spec.grows:
        result = follow_growing(spec, state, counter)
    else:
        result = follow(spec, state, counter)
    state.heard = True
    note(spec, state, result)
    return result


def check_silence(spec: ProfileSpec, state: ProfileState) -> None:
    """Make the check of a period without a frame."""
    if spec.grows:
        state.allowed = min(state.allowed + 1, spec.counter.modulo - 1)
        state.stalled = min(state.stalled + 1, UINT8_MAX)
    note(spec, state, CheckResult.NO_NEW_DATA)


def intact(spec: ProfileSpec, data: bytes) -> bool:
    """Return whether CRC and the data ID's part in the payload are right."""
    if spec.nibble is not None and extract(spec.nibble, data) != spec.nibble_value:
        return False
    return checksum_good(spec.checksum, data)


def follow(spec: ProfileSpec, state: ProfileState, counter: int) -> CheckResult:
    """Judge the counter of profiles 5, 11 and 22: every one becomes the reference.

    Before the first frame the reference is the highest counter, so a first 0 is OK.
    """
    modulo = spec.counter.modulo
    reference = modulo - 1 if state.waiting else state.counter
    step = (counter - reference) % modulo
    state.waiting = False
    state.counter = counter
    if step > spec.counter.max_step:
        return CheckResult.WRONG_SEQUENCE
    if step == 0:
        return CheckResult.REPEATED
    return CheckResult.OK if step == 1 else CheckResult.SOME_LOST


def follow_growing(spec: ProfileSpec, state: ProfileState, counter: int) -> CheckResult:
    """Judge the counter of profiles 1 and 2.

    A wrong sequence becomes the reference only where SYNC frames will confirm it.
    """
    if state.waiting:
        state.waiting = False
        _take(spec, state, counter)
        return CheckResult.INITIAL
    step = (counter - state.counter) % spec.counter.modulo
    if step == 0:
        state.stalled = min(state.stalled + 1, UINT8_MAX)
        return CheckResult.REPEATED
    if step > state.allowed:
        state.stalled = 0
        state.syncing = spec.sync_checks
        if spec.sync_checks > 0:
            _take(spec, state, counter)
        return CheckResult.WRONG_SEQUENCE
    _take(spec, state, counter)
    stalled, state.stalled = state.stalled, 0
    if stalled > spec.most_stalled:
        state.syncing = spec.sync_checks
        if state.syncing > 0:
            return CheckResult.SYNC
    elif state.syncing > 0:
        state.syncing -= 1
        return CheckResult.SYNC
    return CheckResult.OK if step == 1 else CheckResult.SOME_LOST


def _take(spec: ProfileSpec, state: ProfileState, counter: int) -> None:
    """Make a counter the reference; the allowed step is the first one again."""
    state.counter = counter
    state.allowed = spec.counter.max_step


def note(spec: ProfileSpec, state: ProfileState, result: CheckResult) -> None:
    """Note the result of a check: its count, and what the machine makes of it."""
    state.result = result
    if result == CheckResult.SOME_LOST:
        state.some_lost = min(state.some_lost + 1, UINT16_MAX)
    elif result == CheckResult.REPEATED:
        state.repeated = min(state.repeated + 1, UINT16_MAX)
    elif result == CheckResult.WRONG_SEQUENCE:
        state.wrong_sequence = min(state.wrong_sequence + 1, UINT16_MAX)
    elif result == CheckResult.NO_NEW_DATA:
        state.no_new_data = min(state.no_new_data + 1, UINT16_MAX)
    elif result == CheckResult.INITIAL:
        state.initial = min(state.initial + 1, UINT16_MAX)
    elif result == CheckResult.SYNC:
        state.sync = min(state.sync + 1, UINT16_MAX)
    if spec.machine is not None:
        step_machine(spec.machine, state, finding(spec.machine, result))


def finding(spec: MachineSpec, result: CheckResult) -> Finding:
    """Return what a result means to the machine."""
    if result == CheckResult.SYNC and not spec.older_mapping:
        return Finding.GOOD
    if result == CheckResult.INITIAL and spec.older_mapping:
        return Finding.GOOD
    return FINDINGS.get(result, Finding.OTHER)


def step_machine(spec: MachineSpec, state: ProfileState, found: Finding) -> None:
    """Move the window by one check and the machine by what is in it.

    The check that ends NO_DATA is not in the window.
    """
    if state.machine == MachineState.NO_DATA:
        if found in (Finding.GOOD, Finding.OTHER):
            state.machine = MachineState.INIT
        return
    state.good = (state.good << 1 | int(found == Finding.GOOD)) & spec.mask
    state.errors = (state.errors << 1 | int(found == Finding.ERROR)) & spec.mask
    before = MachineState(state.machine)
    state.machine = next_state(spec, before, state.good.bit_count(), state.errors.bit_count())


def accepts(spec: ProfileSpec, state: ProfileState) -> bool:
    """Return whether the frame just checked is accepted: OK or some lost, and the machine VALID.

    Repeated, sync and initial are not accepted, whatever the machine says (rule 5).
    """
    if state.result not in (CheckResult.OK, CheckResult.SOME_LOST):
        return False
    if spec.machine is None or state.machine == MachineState.VALID:
        return True
    state.not_valid = min(state.not_valid + 1, UINT16_MAX)
    return False


# TIME


def pass_time(spec: ProfileSpec, state: ProfileState, supervised: bool) -> bool:
    """Let one tick pass; return whether a period without a frame ended with it.

    Time stands while the supervision clock stands. A frame on the last tick of a period is in time.
    """
    if state.heard:
        state.heard = False
        state.idle = 0
        return False
    if not supervised:
        return False
    state.idle = min(state.idle + 1, UINT32_MAX)
    if state.idle < spec.period:
        return False
    state.idle = 0
    check_silence(spec, state)
    return True


def begin(state: ProfileState) -> None:
    """Start anew with supervision, unless a frame was checked in this very tick; counts stay.

    The tick of the start is not counted.
    """
    if state.heard:
        return
    state.heard = True
    state.counter = state.allowed = state.stalled = state.syncing = 0
    state.waiting = True
    state.idle = 0
    state.result = CheckResult.NONE
    state.machine = MachineState.NO_DATA
    state.good = state.errors = 0
