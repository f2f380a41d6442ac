"""The interface of the engine (rule 1): what a tick sees and does, and what a pairing says.

Also what the parts of the engine share while they run: `Common`.
"""

from dataclasses import dataclass, field
from enum import IntEnum
from typing import ClassVar, NamedTuple

from xlate_core.buses import BusCommand, BusInput, BusSpec, BusState, start
from xlate_core.conditions import ConditionSpec
from xlate_core.events import Event, Observer, Reason
from xlate_core.faults import FaultSpec
from xlate_core.fields import Field, Overflow, Width
from xlate_core.frames import Frame
from xlate_core.functions import FunctionSpec
from xlate_core.pins import PinsSpec
from xlate_core.power import PowerSpec
from xlate_core.quantities import QuantitySpec, QuantityState, QuantityStore, SourceSpec
from xlate_core.reception import NO_CONDITION, ClockSpec, MessageSpec, UnitSpec
from xlate_core.transmission import RouteSpec, TransmitSpec

RULES = 1
"""Number of the rule set; vectors and firmware carry it."""


class ResetCause(IntEnum):
    """Why the module starts."""

    POWER_ON = 0
    EXTERNAL = 1
    BROWN_OUT = 2
    WATCHDOG = 3
    COMMANDED = 4


class Inputs(NamedTuple):
    """What a tick sees, order as in PinsSpec; the same object may be given while nothing changes.

    Levels are electrical (True = high), counts 0..65535, capture periods in microseconds.
    """

    levels: tuple[bool, ...] = ()
    counts: tuple[int, ...] = ()
    periods: tuple[int, ...] = ()
    supply_mv: int = 12000
    buses: tuple[BusInput, BusInput] = (BusInput(), BusInput())


class Outputs(NamedTuple):
    """What a tick does: per bus frames in order of hand-over and a command; pins; power hold.

    Levels are electrical, duty 0..10000, frequency in mHz, each in the order of the output pins of
    its kind.
    """

    frames: tuple[tuple[Frame, ...], tuple[Frame, ...]]
    commands: tuple[int, int]
    levels: tuple[bool, ...]
    duty: tuple[int, ...]
    frequency: tuple[int, ...]
    power_hold: bool


@dataclass(frozen=True, slots=True)
class BridgeSpec:
    """Everything a pairing says, resolved to indices. `control_ticks` = control_ms / tick_ms.

    `keeps` says that the pairing uses memory over resets: starts are noted in the state.
    """

    tick_ms: int
    control_ticks: int
    messages: tuple[MessageSpec, ...]
    units: tuple[UnitSpec, ...]
    clocks: tuple[ClockSpec, ...]
    sources: tuple[SourceSpec, ...]
    quantities: tuple[QuantitySpec, ...]
    pins: PinsSpec
    conditions: tuple[ConditionSpec, ...]
    faults: tuple[FaultSpec, ...]
    power: PowerSpec
    functions: tuple[FunctionSpec, ...]
    transmits: tuple[TransmitSpec, ...]
    routes: tuple[RouteSpec, ...]
    keeps: bool = False
    buses: tuple[BusSpec, BusSpec] = (BusSpec(), BusSpec())

    @property
    def watches_buses(self) -> bool:
        """Whether the pairing asks for bus states at all: a supervised bus, or sleep."""
        return self.power.sleep is not None or any(bus.supervised for bus in self.buses)


@dataclass(slots=True)
class ConditionState:
    """Whether a condition holds, as committed at the end of the previous tick."""

    holds: bool = False

    FIELDS: ClassVar[tuple[Field, ...]] = (Field("holds", Width.U8, Overflow.BOUNDED, None),)


@dataclass(slots=True)
class ClockworkState:
    """What the order of a tick itself remembers.

    - `phase` is 0 on control ticks; `first` is true until tick 0 has run;
    - `uptime` stops at the longest start-up time of any condition;
    - `supply_mv` is the committed supply.
    """

    phase: int = 0
    first: bool = True
    uptime: int = 0
    supply_mv: int = 0

    FIELDS: ClassVar[tuple[Field, ...]] = (
        Field("phase", Width.U16, Overflow.WRAP),
        Field("first", Width.U8, Overflow.BOUNDED, 1),
        Field("uptime", Width.U32, Overflow.SATURATE),
        Field("supply_mv", Width.U32, Overflow.SATURATE),
    )


@dataclass(slots=True)
class Common:
    """What all parts of one engine look at.

    - `now` is the number of the next tick, 0 the first after reset;
    - `conditions` hold what was committed at the end of the previous tick;
    - `conditions_moved` is true from a commit that changed one to the end of the next tick;
    - `conditions_open` is true when they have to be judged anew at the end of this tick;
    - `outputs_open` is true when pins, commands or power hold moved since outputs were made;
    - `lines` and `commands` are state and command of each bus, `quiet` silences own messages.
    """

    spec: BridgeSpec
    observer: Observer | None
    store: QuantityStore
    conditions: list[ConditionState]
    clockwork: ClockworkState = field(default_factory=ClockworkState)
    now: int = 0
    conditions_moved: bool = True
    conditions_open: bool = True
    outputs_open: bool = True
    judged: frozenset[int] = field(default_factory=frozenset)
    lines: list[BusState] = field(default_factory=list)
    commands: list[int] = field(default_factory=list)
    quiet: bool = False

    def holds(self, condition: int) -> bool:
        """Return whether a condition holds; having none always holds."""
        return condition == NO_CONDITION or self.conditions[condition].holds

    def may_send(self, bus: int) -> bool:
        """Return whether own messages may leave on a bus in this tick."""
        return self.commands[bus] == BusCommand.NORMAL and not self.quiet

    def tell(self, reason: Reason, subject: str, detail: int) -> None:
        """Tell the observer, when there is one."""
        if self.observer is not None:
            self.observer(Event(self.now, reason, subject, detail))


def common(spec: BridgeSpec, observer: Observer | None) -> Common:
    """Return the shared part in its reset state."""
    store = QuantityStore(
        spec.quantities, [QuantityState(value=quantity.initial) for quantity in spec.quantities]
    )
    judged = frozenset(fault.message for fault in spec.faults if fault.message >= 0)
    states = [ConditionState() for _ in spec.conditions]
    lines = [BusState() for _ in spec.buses]
    for bus, line in zip(spec.buses, lines, strict=True):
        start(bus, line)
    commands: list[int] = [BusCommand.NORMAL for _ in spec.buses]
    return Common(spec, observer, store, states, judged=judged, lines=lines, commands=commands)
