"""What a scenario says, after reading: header, senders, actions on ticks, expectations.

Names are resolved and times are ticks; nothing here is text any more except names for reports.
"""

from dataclasses import dataclass, field
from fractions import Fraction

from hil.vectors.vector import RandomTraffic
from xlate_core.bridge import ResetCause
from xlate_core.buses import BusInput
from xlate_core.frames import Frame

FOREVER = 1 << 62  # "until the end" as a tick


@dataclass(frozen=True, slots=True)
class ScenarioHeader:
    """The lines before everything else."""

    identity: str
    title: str
    pairing: str
    purpose: str
    hunts: tuple[str, ...]
    ticks: int
    checkpoint_ticks: int
    random: RandomTraffic | None


@dataclass(frozen=True, slots=True)
class Sending:
    """When a simulated sender sends: first frame, period, end (exclusive), selector values."""

    message: str
    period: int
    first: int
    until: int = FOREVER
    selecting: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Action:
    """Something that happens at a tick."""

    tick: int


@dataclass(frozen=True, slots=True)
class SetSignal(Action):
    """A sender's signal takes a raw value."""

    message: str
    signal: str
    raw: int


@dataclass(frozen=True, slots=True)
class RampSignal(Action):
    """A sender's signal moves on a straight line between two physical values."""

    message: str
    signal: str
    start: Fraction
    stop: Fraction
    duration: int


@dataclass(frozen=True, slots=True)
class SetLevel(Action):
    """A level input takes an electrical level."""

    index: int
    high: bool


@dataclass(frozen=True, slots=True)
class SetCounts(Action):
    """An analogue input, or with index SUPPLY the supply in mV, moves to a value."""

    index: int
    start: Fraction
    stop: Fraction
    duration: int  # 0: at once


SUPPLY = -1


@dataclass(frozen=True, slots=True)
class StopSending(Action):
    """Senders fall silent."""

    messages: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ResumeSending(Action):
    """Senders go on, with a frame in this tick."""

    messages: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SendOnce(Action):
    """One frame of a sender, beside its period."""

    message: str


@dataclass(frozen=True, slots=True)
class Disturb(Action):
    """The next frames of a sender are changed.

    `kind`: checksum, freeze, jump, counter, shorten, lengthen, code, drop. `value` is the step,
    counter, octets or raw length code.
    """

    message: str
    kind: str
    frames: int
    value: int


@dataclass(frozen=True, slots=True)
class SendFrame(Action):
    """Raw frames: once when the period is 0, else every period until a tick (exclusive)."""

    frame: Frame
    length_code: int
    period: int
    until: int


@dataclass(frozen=True, slots=True)
class ResetModule(Action):
    """The module restarts before it receives this tick's frames."""

    cause: ResetCause
    keep: bool


@dataclass(frozen=True, slots=True)
class SetBus(Action):
    """What a bus controller tells from this tick on: error state, counts in every tick.

    While the bus is off or there are errors, nothing on it reaches the module.
    """

    bus: int
    given: BusInput


@dataclass(frozen=True, slots=True)
class Wanted:
    """The values an expectation accepts: a number range, a state of a pin, or a status word."""

    low: int = 0
    high: int = 0
    status: str = ""
    text: str = ""

    def accepts(self, value: int | None, status: str) -> bool:
        """Return whether an observed value (None: nothing there yet) is what is wanted."""
        if self.status:
            return status == self.status
        return value is not None and self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class Expectation:
    """A statement of a person about what the module does, with its place in the file."""

    line: int
    text: str


@dataclass(frozen=True, slots=True)
class ValueExpectation(Expectation):
    """A value `at` (first == last), `becomes` in, or `stays` during first..last.

    `source` is one of ("output", kind, index), ("sent", message, signal), ("quantity", name),
    ("state", path), ("command", bus), ("hold",).
    """

    source: tuple[str, ...]
    wanted: Wanted
    timing: str  # at | becomes | stays
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class FrameExpectation(Expectation):
    """Frames of one key in first..last: `count` None for at least one, `data` None for any.

    With `period` above 0 neighbours are exactly so many ticks apart and the ends are not bare.
    """

    key: tuple[int, bool, int]
    data: bytes | None
    count: int | None
    period: int
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class OrderExpectation(Expectation):
    """All frames of one key in first..last carry exactly these octets, in this order."""

    key: tuple[int, bool, int]
    data: tuple[bytes, ...]
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class EventExpectation(Expectation):
    """Events of a reason and subject in first..last; `count` None for at least one."""

    reason: str
    subject: str  # empty: any
    count: int | None
    first: int
    last: int


@dataclass(slots=True)
class Scenario:
    """A whole scenario, ready to be played."""

    header: ScenarioHeader
    sendings: dict[str, Sending] = field(default_factory=dict)
    actions: list[Action] = field(default_factory=list)
    expectations: list[Expectation] = field(default_factory=list)
