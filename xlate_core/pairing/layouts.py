"""Message layouts as the network database gives them, exact and frozen.

Multiplexer values are ranges, inclusive: a database may span thousands of values with one range.
"""

from dataclasses import dataclass
from fractions import Fraction

from xlate_core.frames import FrameKey, show_identifier
from xlate_core.signals import SignalSpec

Ranges = tuple[tuple[int, int], ...]
UNITLESS = {"", "-", "on/off", "1", "none"}


@dataclass(frozen=True, slots=True)
class DbcSignal:
    """One signal: its place, its exact scale, its range and its names for raw values."""

    spec: SignalSpec
    factor: Fraction
    offset: Fraction
    minimum: Fraction | None
    maximum: Fraction | None
    unit: str
    values: tuple[tuple[int, str], ...]
    initial: int | None
    is_float: bool
    is_selector: bool
    selector: str | None
    selected_by: Ranges
    line: int | None

    @property
    def name(self) -> str:
        """The name of the signal."""
        return self.spec.name

    def raw_range(self) -> tuple[int, int]:
        """Return the valid raw values: the database's minimum..maximum inside what the bits hold.

        A database that gives no range, or one outside the bits, means all values of the bits.
        """
        low, high = self.spec.minimum, self.spec.maximum
        if self.minimum is None or self.maximum is None or self.factor == 0:
            return low, high
        ends = sorted((end - self.offset) * self._inverse() for end in (self.minimum, self.maximum))
        lowest, highest = -(-ends[0].numerator // ends[0].denominator), ends[1] // 1
        if lowest > highest or highest < low or lowest > high:
            return low, high
        return max(low, lowest), min(high, highest)

    def _inverse(self) -> Fraction:
        return Fraction(self.factor.denominator, self.factor.numerator)


@dataclass(frozen=True, slots=True)
class DbcMessage:
    """One message: what is on the wire, its signals in the order of the file, its sending."""

    bus: int
    name: str
    identifier: int
    extended: bool
    length: int
    signals: tuple[DbcSignal, ...]
    cycle_ms: int | None
    send_type: str | None
    file: str
    line: int | None

    @property
    def key(self) -> FrameKey:
        """Bus, format and identifier."""
        return FrameKey(self.bus, self.extended, self.identifier)

    def signal(self, name: str) -> DbcSignal | None:
        """Return a signal by name."""
        return next((signal for signal in self.signals if signal.name == name), None)

    @property
    def shown_identifier(self) -> str:
        """The identifier as people write it, with its format."""
        return f"0x{show_identifier(self.identifier, self.extended)}" + (
            " (extended)" if self.extended else ""
        )


def plain_unit(unit: str) -> str:
    """Return a unit for comparison: blanks and case of "no unit" do not count, °C is degC."""
    text = unit.strip().replace("\N{DEGREE SIGN}", "deg").replace("\N{GREEK SMALL LETTER MU}", "u")
    text = text.replace("\N{MICRO SIGN}", "u")
    if text.casefold() in UNITLESS:
        return ""
    return {"1/min": "rpm", "degc": "degC", "degf": "degF"}.get(text.casefold(), text)
