"""What the module learns of its bus controllers, and what it makes of it (rules 1 and 14).

Each bus has its own state; nothing here looks at the other one. A bus is open, or closed for a
reason: bus-off and "nobody acknowledges" are tried again, quickly a few times, then slowly without
end; at a wrong bit rate the module only listens until a good frame comes. While a bus is closed no
frame is handed over: its driver drops what is pending, messages keep their slots and their grid,
and after the opening the newest values leave. A flood is cut off, frame by frame, on its own bus.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar, NamedTuple

from xlate_core.arithmetic import UINT16_MAX
from xlate_core.fields import Field, Overflow, Width


class ControllerState(IntEnum):
    """Error state of a CAN controller (ISO 11898-1)."""

    ERROR_ACTIVE = 0
    ERROR_PASSIVE = 1
    BUS_OFF = 2


class BusCommand(IntEnum):
    """What the bridge asks of a bus driver.

    With anything but NORMAL the driver drops the frames it has not sent yet. LISTEN takes frames
    and neither sends nor acknowledges; RECOVER, for one tick, begins a recovery from bus-off and
    empties the driver; SLEEP switches the bus to its wake-up state.
    """

    NORMAL = 0
    LISTEN = 1
    RECOVER = 2
    SLEEP = 3


class BusEvent(IntEnum):
    """What a fault can watch on a bus: the numbers are bits of `BusState.seen`."""

    BUS_OFF = 0
    NO_ACKNOWLEDGE = 1
    WRONG_BIT_RATE = 2
    FLOOD = 3
    SECOND_SENDER = 4
    ERROR_PASSIVE = 5


FRAME_SEEN = 1 << 7  # a frame came since the last control tick


class BusInput(NamedTuple):
    """What the controller tells since the previous tick.

    - `state`: error state of the controller;
    - `acknowledged`, `unacknowledged`: frames of ours that were, or were not, acknowledged;
    - `errors`: error frames seen while receiving.
    """

    state: int = ControllerState.ERROR_ACTIVE
    acknowledged: int = 0
    unacknowledged: int = 0
    errors: int = 0


QUIET_INPUT = BusInput()


class BusMode(IntEnum):
    """Whether frames leave, and what is waited for if not."""

    OPEN = 0
    CLOSED = 1  # until the next attempt
    LISTENING = 2  # until a good frame


OPEN = int(BusMode.OPEN)
CLOSED = int(BusMode.CLOSED)
LISTENING = int(BusMode.LISTENING)
NO_REASON = 0xFF


@dataclass(frozen=True, slots=True)
class BusSpec:
    """How a bus is supervised; `supervised` false means always open. Times in ticks.

    - `quick`, `quick_attempts`, `slow`: from closing to the first attempts and between them;
    - `no_acknowledge`: frames in a row without acknowledge that close the bus, 0 = never;
    - `wrong_rate`: error frames without a good frame that make it listen only, 0 = never;
    - `listen_first`: only listen so long after a start, or until a good frame; 0 = open at once;
    - `flood`: frames taken in one tick, 0 = all.
    """

    supervised: bool = False
    quick: int = 0
    quick_attempts: int = 0
    slow: int = 0
    no_acknowledge: int = 0
    wrong_rate: int = 0
    listen_first: int = 0
    flood: int = 0


@dataclass(slots=True)
class BusState:
    """One bus.

    - `mode`; `reason`: the BusEvent that closed it, 0xFF = none;
    - `wait` counts ticks down to the next attempt, or to the end of listening at a start;
    - `attempts` since the last proof that somebody is there: a good frame or an acknowledge;
    - `unacknowledged`, `errors` count since that proof;
    - `seen` collects bits of BusEvent, and FRAME_SEEN, between control ticks;
    - `closings`, `flooded`, `discarded` count closings, frames cut off, routed frames dropped;
    - `heard` and `taken` are about the frames since the previous tick and outside the image.
    """

    mode: int = OPEN
    reason: int = NO_REASON
    wait: int = 0
    attempts: int = 0
    unacknowledged: int = 0
    errors: int = 0
    seen: int = 0
    closings: int = 0
    flooded: int = 0
    discarded: int = 0
    heard: bool = False
    taken: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("mode", Width.U8, Overflow.BOUNDED, None),
        Field("reason", Width.U8, Overflow.BOUNDED, NO_REASON),
        Field("wait", Width.U32, Overflow.BOUNDED, None),
        Field("attempts", Width.U16, Overflow.SATURATE),
        Field("unacknowledged", Width.U16, Overflow.SATURATE),
        Field("errors", Width.U16, Overflow.SATURATE),
        Field("seen", Width.U8, Overflow.BOUNDED),
        Field("closings", Width.U16, Overflow.SATURATE),
        Field("flooded", Width.U16, Overflow.SATURATE),
        Field("discarded", Width.U16, Overflow.SATURATE),
    )


def start(spec: BusSpec, state: BusState) -> None:
    """Begin anew, at a reset or when the module wakes: listen first where the pairing says so."""
    state.mode = LISTENING if spec.listen_first else OPEN
    state.reason = NO_REASON
    state.wait = spec.listen_first
    state.attempts = state.unacknowledged = state.errors = 0


def take(spec: BusSpec, state: BusState) -> bool:
    """Note that a frame arrived; return whether it is taken, false in a flood."""
    state.heard = True
    state.seen |= FRAME_SEEN
    if spec.flood == 0:
        return True
    if state.taken >= spec.flood:
        state.flooded = min(state.flooded + 1, UINT16_MAX)
        state.seen |= 1 << BusEvent.FLOOD
        return False
    state.taken += 1
    return True


def at_rest(state: BusState, given: BusInput) -> bool:
    """Return whether a step would change nothing: the bus is open and there is no news."""
    return (
        state.mode == OPEN
        and given == QUIET_INPUT
        and not (state.heard or state.taken)
        and not (state.attempts or state.unacknowledged or state.errors)
    )


def step(spec: BusSpec, state: BusState, given: BusInput) -> int:
    """Run one tick; return the command to the driver."""
    heard = state.heard
    state.heard = False
    state.taken = 0
    if not spec.supervised:
        return BusCommand.NORMAL

    # PROOF that somebody is there and understands
    if heard or given.acknowledged:
        state.attempts = state.unacknowledged = 0
    else:
        state.unacknowledged = min(state.unacknowledged + given.unacknowledged, UINT16_MAX)
    state.errors = 0 if heard else min(state.errors + given.errors, UINT16_MAX)

    # OPEN, CLOSED, LISTENING
    command: int = BusCommand.NORMAL
    if state.mode == OPEN:
        _judge_open(spec, state, given)
        if state.mode != OPEN:
            command = BusCommand.LISTEN
    elif state.mode == CLOSED:
        command = _wait(spec, state, given, heard)
    else:
        command = _listen(state, heard)

    # SEEN
    if state.mode != OPEN and state.reason != NO_REASON:
        state.seen |= 1 << state.reason
    if given.state == ControllerState.ERROR_PASSIVE:
        state.seen |= 1 << BusEvent.ERROR_PASSIVE
    return command


def _judge_open(spec: BusSpec, state: BusState, given: BusInput) -> None:
    """Close the bus when its controller is off, nobody acknowledges, or nothing is understood."""
    if given.state == ControllerState.BUS_OFF:
        _close(spec, state, BusEvent.BUS_OFF)
    elif spec.no_acknowledge and state.unacknowledged >= spec.no_acknowledge:
        _close(spec, state, BusEvent.NO_ACKNOWLEDGE)
    elif spec.wrong_rate and state.errors >= spec.wrong_rate:
        _close(spec, state, BusEvent.WRONG_BIT_RATE)
        state.mode = LISTENING
        state.wait = 0


def _close(spec: BusSpec, state: BusState, reason: int) -> None:
    """Close the bus and set the time of the next attempt: a few quick ones, then slow ones."""
    state.mode = CLOSED
    state.reason = reason
    state.closings = min(state.closings + 1, UINT16_MAX)
    state.wait = spec.quick if state.attempts < spec.quick_attempts else spec.slow


def _wait(spec: BusSpec, state: BusState, given: BusInput, heard: bool) -> BusCommand:
    """Wait for the next attempt, or for the proof that it is not needed."""
    recovered = given.state != ControllerState.BUS_OFF
    if recovered and (state.reason == BusEvent.BUS_OFF or heard):
        _open(state)
        return BusCommand.NORMAL
    state.wait -= 1
    if state.wait > 0:
        return BusCommand.LISTEN
    state.attempts = min(state.attempts + 1, UINT16_MAX)
    state.wait = spec.quick if state.attempts < spec.quick_attempts else spec.slow
    if recovered:
        _open(state)  # frames leave from the next tick on; what becomes of them decides
    return BusCommand.RECOVER


def _listen(state: BusState, heard: bool) -> BusCommand:
    """Listen until a good frame; at a start, until the time is over and nothing disturbed."""
    if state.wait > 0:
        state.wait -= 1
        if state.wait == 0 and state.errors > 0:
            state.reason = int(BusEvent.WRONG_BIT_RATE)
    if heard or (state.wait == 0 and state.reason == NO_REASON):
        _open(state)
        return BusCommand.NORMAL
    return BusCommand.LISTEN


def _open(state: BusState) -> None:
    """Open the bus."""
    state.mode = OPEN
    state.reason = NO_REASON
    state.wait = 0
    state.unacknowledged = state.errors = 0
