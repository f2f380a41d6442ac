"""The one object with life: frames and inputs in, frames and outputs out (rules 1, 2 and 3).

One tick runs in one order: pins, buses, deadlines, quantities; on control ticks faults, power mode
and functions; routes, transmissions, output pins; then everything conditions look at is committed.
What cannot have changed since the last tick is not computed again: that alters speed, never a
result.

Each phase is the work of one part: `terminals.py`, `bus_watch.py`, `intake.py`, `control.py`,
`sending.py`. What they share stands in `interface.Common`.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from xlate_core import conditions, image_order, kept_memory, state_image
from xlate_core.bus_watch import BusWatch
from xlate_core.control import Control
from xlate_core.events import Observer, Reason
from xlate_core.fields import Field
from xlate_core.frames import Frame
from xlate_core.intake import Intake
from xlate_core.interface import RULES, BridgeSpec, Inputs, Outputs, ResetCause, common
from xlate_core.kept_memory import StartState
from xlate_core.power import ASLEEP
from xlate_core.quantities import QuantityState
from xlate_core.sending import SILENT, Follower, Sender
from xlate_core.state_image import NamedRecord
from xlate_core.terminals import Terminals

__all__ = ["RULES", "Bridge", "BridgeSpec", "Inputs", "Outputs", "ResetCause"]


class Followers(NamedTuple):
    """What must be looked at again when a quantity changed."""

    messages: tuple[Follower, ...]
    of_condition: bool
    of_pin: bool


class Bridge:
    """The engine of one pairing: two verbs, `receive` and `tick`, and `reset`."""

    __slots__ = (
        "_followers",
        "_inputs",
        "_kept_layout",
        "_longest_startup",
        "_outputs",
        "_records",
        "_watching",
        "bus_watch",
        "cause",
        "common",
        "control",
        "intake",
        "observer",
        "sender",
        "spec",
        "start",
        "terminals",
    )

    _inputs: Inputs | None
    _outputs: Outputs | None
    _records: tuple[NamedRecord, ...]

    def __init__(self, spec: BridgeSpec, observer: Observer | None = None) -> None:
        """Build the bridge in its power-on reset state."""
        self.spec = spec
        self.observer = observer
        self._longest_startup = max((c.after for c in spec.conditions), default=0)
        self._kept_layout: int | None = None
        self._watching = spec.watches_buses
        self.reset(ResetCause.POWER_ON)

    def reset(self, cause: ResetCause, kept: bytes | None = None) -> None:
        """Put every field to its reset value, then take up the memory that survived (rule 1).

        `kept` is what `kept()` returned before; None, or memory that is not whole, means none.
        """
        self.cause = cause
        self.start = StartState()
        self.common = common(self.spec, self.observer)
        self.sender = Sender(self.common)
        self.intake = Intake(self.common, self.sender.route)
        self.terminals = Terminals(self.common, self.intake.sources)
        self.bus_watch = BusWatch(self.common, self.sender)
        self.control = Control(self.common, self.intake.messages, self.bus_watch)
        self._followers = self._follow()
        self._records = ()
        self._recall(cause, kept)
        self.look_at_everything()
        self._commit()

    def observe(self, observer: Observer | None, reasons: frozenset[Reason] | None = None) -> None:
        """Tell another observer from here on, or nobody; here of all reasons, named or not."""
        del reasons
        self.observer = observer
        self.common.observer = observer

    @property
    def now(self) -> int:
        """Number of the next tick; 0 is the first after reset."""
        return self.common.now

    def receive(self, frame: Frame) -> None:
        """Take one frame that arrived since the previous tick; accept or reject it (rule 5)."""
        if self._watching and not self.bus_watch.take(frame):
            return
        self.intake.receive(frame)

    def receive_all(self, frames: Iterable[Frame]) -> None:
        """Take frames in the order they arrived in."""
        for frame in frames:
            self.receive(frame)

    def tick(self, inputs: Inputs) -> Outputs:
        """Run one tick in the one order of rule 3 and return what it does."""
        common = self.common
        clockwork = common.clockwork

        # PINS
        if self.terminals.bouncing or inputs is not self._inputs:
            self._inputs = inputs
            self.terminals.read(inputs)

        # BUSES
        if self._watching:
            self.bus_watch.read(inputs.buses, self.control.power.mode == ASLEEP)

        # DEADLINES
        self.intake.deadlines(common.now)

        # QUANTITIES
        if common.store.touched:
            self.intake.evaluate_quantities()

        # FAULTS, POWER MODE, FUNCTIONS
        if clockwork.phase == 0:
            self.control.tick()

        # ROUTES, TRANSMISSIONS
        if common.store.changed:
            self._note_changes()
        frames = self.sender.transmit()

        # OUTPUT PINS
        if self.terminals.moved:
            self.terminals.drive()
        outputs = self._outputs
        if outputs is None or frames is not SILENT or common.outputs_open:
            outputs = self._put_together(frames)
            common.outputs_open = False

        # COMMIT
        common.now += 1
        common.conditions_moved = False
        clockwork.first = False
        clockwork.phase += 1
        if clockwork.phase == self.spec.control_ticks:
            clockwork.phase = 0
        if clockwork.uptime < self._longest_startup:
            clockwork.uptime += 1
            common.conditions_open = True
        if inputs.supply_mv != clockwork.supply_mv:
            clockwork.supply_mv = inputs.supply_mv
            common.conditions_open = True
        if common.conditions_open:
            self._commit()
        return outputs

    def _put_together(self, frames: tuple[tuple[Frame, ...], tuple[Frame, ...]]) -> Outputs:
        """Return what the tick does; without frames it serves the ticks after it, too."""
        pins = self.terminals
        outputs = Outputs(
            frames,
            self.bus_watch.commands,
            pins.levels,
            pins.duty,
            pins.frequency,
            self.control.power_hold,
        )
        self._outputs = outputs if frames is SILENT else None
        return outputs

    def _note_changes(self) -> None:
        """Pass changed quantities on: messages to pack anew, pins to drive, conditions to judge."""
        changed = self.common.store.changed
        for index in changed:
            messages, of_condition, of_pin = self._followers[index]
            self.sender.note(messages)
            if of_condition:
                self.common.conditions_open = True
            if of_pin:
                self.terminals.moved = True
        self.control.moved |= changed
        changed.clear()

    def _follow(self) -> tuple[Followers, ...]:
        """Return, for every quantity, what must be looked at again when it changed."""
        of_pins = {pin.quantity for pin in self.spec.pins.outputs}
        return tuple(
            Followers(self.sender.followers(index), quantity.in_conditions, index in of_pins)
            for index, quantity in enumerate(self.spec.quantities)
        )

    def _commit(self) -> None:
        """Judge the conditions on this tick's results, for use in the next one."""
        common, clockwork = self.common, self.common.clockwork
        common.conditions_open = False
        for spec, state in zip(self.spec.conditions, common.conditions, strict=True):
            before = state.holds
            state.holds = conditions.holds(
                spec,
                clockwork.uptime,
                self.control.power.mode,
                clockwork.supply_mv,
                common.store,
            )
            if state.holds != before:
                common.conditions_moved = True

    # KEPT MEMORY

    def kept(self) -> bytes:
        """Return the memory that survives a reset, to be taken between ticks."""
        return kept_memory.write(self.records(), self.kept_layout)

    @property
    def kept_layout(self) -> int:
        """The number of the layout of the kept memory."""
        if self._kept_layout is None:
            self._kept_layout = kept_memory.layout(self.records())
        return self._kept_layout

    def _recall(self, cause: ResetCause, kept: bytes | None) -> None:
        """Take up the memory that survived the reset, and judge what it means now."""
        taken = kept is not None and kept_memory.read(self.records(), self.kept_layout, kept)
        kept_memory.note_start(self.start, cause, kept is not None, taken)
        if taken:
            self.control.recall(cause is ResetCause.POWER_ON)

    # STATE IMAGE

    def quantity(self, index: int) -> QuantityState:
        """Return the state of one quantity."""
        return self.common.store.states[index]

    def records(self) -> Iterator[NamedRecord]:
        """Return every state record in image order; they stay the same until the next reset."""
        if not self._records:
            self._records = tuple(
                image_order.records(
                    self.common, self.start, self.intake, self.terminals, self.control, self.sender
                )
            )
        return iter(self._records)

    def image(self) -> bytes:
        """Return the state image, to be taken between a tick and the next frame."""
        self._settle()
        return state_image.write(self.records())

    def digest(self) -> int:
        """Return the CRC-32/ISO-HDLC of the state image."""
        return state_image.digest(self.image())

    def dump(self) -> list[tuple[str, Field, int]]:
        """Return (path, declaration, value) of every state field."""
        self._settle()
        return state_image.describe(self.records())

    def field(self, path: str) -> int:
        """Return one state field by the path `dump` shows it under; KeyError for an unknown one."""
        self._settle()
        record, _, name = path.rpartition(".")
        for known, state in self.records():
            if known == record and any(field.name == name for field in state.FIELDS):
                return int(getattr(state, name))
        raise KeyError(path)

    def restore(self, image: bytes) -> None:
        """Take up a snapshot of the same pairing; raises ImageError when its length differs."""
        state_image.read(self.records(), image)
        self.common.quiet = self.control.sleep.quiet
        self.intake.resume()
        self.sender.resume()
        self.look_at_everything()

    def look_at_everything(self) -> None:
        """Have the next tick take no shortcut: everything is computed whether it changed or not."""
        self.intake.look_at_everything()
        self.sender.look_at_everything()
        self.terminals.look_at_everything()
        self.bus_watch.look_at_everything()
        self.control.look_at_everything()
        self.common.conditions_moved = True
        self.common.conditions_open = True
        self._inputs = None
        self._outputs = None

    def _settle(self) -> None:
        """Write the closed forms of all fields that move on idle ticks."""
        self.intake.settle()
        self.sender.settle()
