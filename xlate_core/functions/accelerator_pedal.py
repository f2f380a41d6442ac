"""Accelerator pedal: two tracks to one request, limp on one track, brake override.

The request is 0 (released) up to the range of the output, in the steps the two tracks share. With
both tracks good the lower one counts, so a drifting track never asks for more than the other.

- One track alone: limp. The request is limited and rises slowly; it falls at once.
- Both tracks good but too far apart for a set time: released, or limp on the lower one, as the
  pairing says with its reason. They must agree for a set time before that ends.
- Both tracks lost: released (rule 11). Ignition off: released.
- Brake with more than a set pedal for a set time: idle until the pedal is nearly released, whatever
  the brake does. Lost brake data count as pressed or as released, as the pairing says.

After limp, loss and reset the request rises slowly until it has caught up with the pedal. A time
seen to begin in control tick t is over in control tick t + time.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar

from xlate_core.arithmetic import INT32_MAX, UINT32_MAX, Points, interpolate, rate_step
from xlate_core.fields import Field, Overflow, Width
from xlate_core.power import NO_QUANTITY, PowerState, ignition_is_on
from xlate_core.quantities import IMPLAUSIBLE, QuantityStore, lost, usable


class PedalMode(IntEnum):
    """What the request comes from; published to `mode_output`."""

    NORMAL = 0
    LIMP = 1
    DISAGREEMENT = 2
    LOST = 3
    OVERRIDDEN = 4
    OFF = 5


@dataclass(frozen=True, slots=True)
class TrackOutputSpec:
    """An output track of its own slope: a curve from steps of the request to steps of `output`."""

    output: int
    points: Points


@dataclass(frozen=True, slots=True)
class AcceleratorPedalSpec:
    """Quantity indices (-1 = absent); positions in steps of the tracks; times in control ticks.

    `tolerance` is a curve from track 1 to the largest allowed distance of the tracks. `rise` is in
    steps per second. `lower_when_apart` and `brake_lost_pressed` are the choices of the pairing.
    """

    name: str
    track_1: int
    track_2: int
    brake: int
    output: int
    mode_output: int
    tracks: tuple[TrackOutputSpec, ...]
    tolerance: Points
    disagreement: int
    agreement: int
    lower_when_apart: bool
    limp_limit: int
    rise: int
    elapsed_ms: int
    brake_releases_limp: bool
    override_above: int
    override_below: int
    override_after: int
    brake_lost_pressed: bool


@dataclass(slots=True)
class AcceleratorPedalState:
    """Timers count control ticks and saturate; `output` is the request of the last control tick.

    - `apart` is the matured disagreement; `differs` and `agrees` count towards and away from it;
    - `both` is how long brake and pedal are pressed together;
    - `slow` is true while the request rises slowly; `remainder` belongs to that rate.
    """

    differs: int = 0
    agrees: int = 0
    apart: bool = False
    both: int = 0
    overridden: bool = False
    slow: bool = True
    output: int = 0
    remainder: int = 0
    failsafe: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("differs", Width.U32, Overflow.SATURATE),
        Field("agrees", Width.U32, Overflow.SATURATE),
        Field("apart", Width.U8, Overflow.BOUNDED),
        Field("both", Width.U32, Overflow.SATURATE),
        Field("overridden", Width.U8, Overflow.BOUNDED),
        Field("slow", Width.U8, Overflow.BOUNDED, 1),
        Field("output", Width.I32, Overflow.BOUNDED),
        Field("remainder", Width.U16, Overflow.BOUNDED),
        Field("failsafe", Width.U8, Overflow.BOUNDED),
    )


def initial(spec: AcceleratorPedalSpec) -> AcceleratorPedalState:
    """Return the reset state."""
    del spec
    return AcceleratorPedalState()


def step(
    spec: AcceleratorPedalSpec,
    state: AcceleratorPedalState,
    store: QuantityStore,
    power: PowerState,
) -> bool:
    """Run one control tick; return whether a track is lost or the tracks are apart."""
    first, second = store[spec.track_1], store[spec.track_2]
    good_1, good_2 = usable(first), usable(second)
    ignition = ignition_is_on(power)

    # LOSS: a track, or the two too far apart for the set time
    if not ignition:
        state.differs = state.agrees = 0
        state.apart = False
    elif good_1 and good_2:
        _compare(spec, state, first.value, second.value)
    state.failsafe = ignition and (lost(first) or lost(second) or state.apart)

    # REQUEST: the lower one of the good tracks, up to the limit
    status = max(first.status, second.status)
    if good_1 and good_2:
        pedal = min(first.value, second.value)
    elif good_1 or good_2:
        good = first if good_1 else second
        pedal, status = good.value, good.status
    else:
        pedal = 0
    pedal = max(pedal, 0)
    limit = INT32_MAX
    mode = PedalMode.NORMAL
    real = good_1 or good_2
    if not ignition:
        mode, limit = PedalMode.OFF, 0
    elif not real:
        mode = PedalMode.LOST
    elif state.apart:
        mode = PedalMode.DISAGREEMENT
        status = max(status, IMPLAUSIBLE)
        real = spec.lower_when_apart
        limit = spec.limp_limit if spec.lower_when_apart else 0
    elif not good_1 or not good_2:
        mode, limit = PedalMode.LIMP, spec.limp_limit

    # BRAKE: it overrides the pedal, and releases the limp
    pressed = ignition and _brake_pressed(spec, store)
    _override(spec, state, pressed, pedal)
    if state.overridden or (pressed and spec.brake_releases_limp and mode is not PedalMode.NORMAL):
        limit = 0
    if state.overridden and mode is PedalMode.NORMAL:
        mode = PedalMode.OVERRIDDEN

    # RISE: slow from limp or loss on until the pedal is caught up with; a fall is never limited
    if mode is not PedalMode.NORMAL and mode is not PedalMode.OVERRIDDEN:
        state.slow = True
    request = min(pedal, limit)
    if not state.slow or request <= state.output:
        state.remainder = 0
    else:
        rise, state.remainder = rate_step(state.remainder, spec.rise, spec.elapsed_ms)
        request = min(request, state.output + rise)
    if mode is PedalMode.NORMAL and request == pedal:
        state.slow = False
    state.output = request

    # OUTPUT: the value for the bus, and the tracks
    store.publish(spec.output, request, status, real)
    for track in spec.tracks:
        store.publish(track.output, interpolate(track.points, request))
    if spec.mode_output != NO_QUANTITY:
        store.publish(spec.mode_output, mode)
    return state.failsafe


def _compare(
    spec: AcceleratorPedalSpec, state: AcceleratorPedalState, first: int, second: int
) -> None:
    """Follow the distance of two good tracks."""
    if abs(first - second) > interpolate(spec.tolerance, first):
        state.agrees = 0
        if state.differs >= spec.disagreement:
            state.apart = True
        state.differs = min(state.differs + 1, UINT32_MAX)
    else:
        state.differs = 0
        if state.agrees >= spec.agreement:
            state.apart = False
        state.agrees = min(state.agrees + 1, UINT32_MAX)


def _brake_pressed(spec: AcceleratorPedalSpec, store: QuantityStore) -> bool:
    """Return whether the brake counts as pressed."""
    if spec.brake == NO_QUANTITY:
        return False
    brake = store[spec.brake]
    return spec.brake_lost_pressed if lost(brake) else brake.value != 0


def _override(
    spec: AcceleratorPedalSpec, state: AcceleratorPedalState, pressed: bool, pedal: int
) -> None:
    """Follow brake and pedal pressed together; the pedal alone ends the override."""
    if pedal < spec.override_below:
        state.overridden = False
    if pressed and pedal > spec.override_above:
        if state.both >= spec.override_after:
            state.overridden = True
        state.both = min(state.both + 1, UINT32_MAX)
    else:
        state.both = 0
