"""Drawn message layouts: signals, multiplexer, counter and checksum, as text of a DBC file."""

from dataclasses import dataclass, field
from random import Random

from hil.soak.profiles import LEAST_OCTETS, DrawnProfile, draw_profile

PLAIN_KINDS = ("crc8", "xor8", "sum8")
KINDS = {
    "xor4": 4,
    "sum4": 4,
    "sum8_inverted": 8,
    "sum8_carry": 8,
    "sum16": 16,
    "sum16_inverted": 16,
    "sum16_carry": 16,
    "crc": 8,
}
"""The rarer kinds and the bits of their results; those of a CRC are drawn."""
DBC_HEAD = """VERSION ""

NS_ :
	BA_DEF_
	BA_
	BA_DEF_DEF_

BS_:

BU_: Bridge Others

"""
DBC_TAIL = """
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 10000;
BA_DEF_DEF_ "GenMsgCycleTime" 0;
"""


@dataclass(slots=True)
class Signal:
    """One drawn signal: DBC start bit, length, byte order, sign, and where it is selected."""

    name: str
    start: int
    length: int
    intel: bool
    signed: bool
    selected: int | None = None

    @property
    def raw(self) -> tuple[int, int]:
        """Smallest and largest raw value."""
        if self.signed:
            return -(1 << (self.length - 1)), (1 << (self.length - 1)) - 1
        return 0, (1 << self.length) - 1


@dataclass(slots=True)
class Message:
    """One drawn message."""

    name: str
    identifier: int
    extended: bool
    length: int
    period: int
    signals: list[Signal] = field(default_factory=list)
    selector: Signal | None = None
    counter: Signal | None = None
    checksum: Signal | None = None
    kind: str = ""
    width: int = 8
    profile: DrawnProfile | None = None
    parts: list[Signal] = field(default_factory=list)


class Layouts:
    """Draws the messages of one pairing."""

    def __init__(self, chance: Random, tick: int) -> None:
        """Draw with `chance`; periods are multiples of `tick` ms."""
        self.chance = chance
        self.tick = tick
        self.used: set[tuple[str, int]] = set()
        self.profiles = self.below(4) == 0  # in some pairings every other message has one

    def messages(self, bus: str, prefix: str, count: int) -> list[Message]:
        """Return messages of one bus named PREFIX_0 and so on; IN ones may have a multiplexer."""
        return [self._message(bus, f"{prefix}_{number}") for number in range(count)]

    def identifier(self, bus: str) -> int:
        """Return a base format identifier that is free on the bus."""
        while True:
            identifier = self.below(0x7F0)
            if (bus, identifier) not in self.used:
                self.used.add((bus, identifier))
                return identifier

    def _message(self, bus: str, name: str) -> Message:
        length = 1 + self.below(8)
        period = self.tick * self.chance.choice((2, 4, 5, 10, 20))
        message = Message(name, self.identifier(bus), False, length, period)
        free = set(range(8 * length))
        if self.profiles and length >= LEAST_OCTETS and self.below(2):
            message.profile = draw_profile(self.chance, length)
            for part, first, bits in message.profile.parts:
                free -= set(range(first, first + bits))
                message.parts.append(Signal(part, first, bits, True, False))
        elif length >= 3 and self.below(2):
            message.kind = self.chance.choice((*KINDS, *PLAIN_KINDS, *PLAIN_KINDS))
            width = KINDS.get(message.kind, 8)
            if message.kind == "crc":
                width = message.width = 4 + self.below(29 if length >= 6 else 9)
            if message.kind in PLAIN_KINDS:
                message.checksum = self._octet("Check", free, self.below(length))
            elif width == 8:
                message.checksum = self._octet("Check", free, self.chance.choice((0, length - 1)))
            else:
                message.checksum = self._place("Check", free, width, False)
        if message.profile is None and length >= 2 and self.below(2):
            message.counter = self._place("Count", free, 4, False)
        if name.startswith("IN") and length >= 4 and self.below(4) == 0:
            message.selector = self._place("Page", free, 2, False)
        for number in range(1 + self.below(4)):
            long = self.chance.choice((1, 1, 2, 4, 7, 8, 8, 10, 12, 16))
            signal = self._place(f"S{number}", free, long, self.below(3) == 0 and long > 1)
            if signal is None:
                continue
            if message.selector is not None and self.below(2):
                signal.selected = self.below(3)
            message.signals.append(signal)
        if not message.signals:
            only = self._place("S0", free, 1, False)
            message.signals = [only] if only is not None else []
        return message

    def _octet(self, name: str, free: set[int], octet: int) -> Signal:
        free -= set(range(8 * octet, 8 * octet + 8))
        return Signal(name, 8 * octet, 8, True, False)

    def _place(self, name: str, free: set[int], length: int, signed: bool) -> Signal | None:
        """Return a signal in free bits, of either byte order; None when nothing fits."""
        for _ in range(30):
            intel = self.below(2) == 0
            start = self.below(64)
            bits = set(range(start, start + length)) if intel else _motorola(start, length)
            if bits and bits <= free:
                free -= bits
                return Signal(name, start, length, intel, signed)
        return None

    def below(self, limit: int) -> int:
        """Return a number from 0 to `limit` - 1."""
        return self.chance.randrange(limit)


def database(messages: list[Message]) -> str:
    """Return the DBC file of the messages of one bus."""
    lines = [DBC_HEAD]
    for message in messages:
        lines.append(f"BO_ {message.identifier} {message.name}: {message.length} Others\n")
        protection = [message.selector, message.counter, message.checksum]
        inside = [*message.signals, *message.parts, *protection]
        for one in inside:
            if one is None:
                continue
            role = " M" if one is message.selector else ""
            if one.selected is not None and message.selector is not None:
                role = f" m{one.selected}"
            order, sign = int(one.intel), "-" if one.signed else "+"
            low, high = one.raw
            lines.append(
                f" SG_ {one.name}{role} : {one.start}|{one.length}@{order}{sign} (1,0) "
                f'[{low}|{high}] "" Bridge\n'
            )
        lines.append("\n")
    lines.append(DBC_TAIL)
    for message in messages:
        if message.period:
            lines.append(f'BA_ "GenMsgCycleTime" BO_ {message.identifier} {message.period};\n')
    return "".join(lines)


def _motorola(start: int, length: int) -> set[int]:
    """Return the DBC bit numbers of a Motorola signal; empty when it leaves the eight octets."""
    bits = set()
    bit = start
    for _ in range(length):
        bits.add(bit)
        bit = bit - 1 if bit % 8 else bit + 15
        if bit > 63 and len(bits) < length:
            return set()
    return bits
