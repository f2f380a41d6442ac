"""Raw bits out of a payload and back, both byte orders.

Bit numbers are those of the DBC network database: octet*8 + bit, bit 0 the least significant of
its octet. An Intel signal starts at its least significant bit and grows upwards through the
octets. A Motorola signal starts at its most significant bit, goes down inside the octet and then
on to bit 7 of the next octet:

    octet 0            octet 1                  octet 0            octet 1
    7 6 5 4 3 2 1 0    15 14 13 12 11 10 9 8    7 6 5 4 3 2 1 0    15 14 13 12 11 10 9 8
    Intel, start 5, length 6:                   Motorola, start 5, length 10:
    2 1 0 . . . . .     .  .  .  .  .  5 4 3    . . 9 8 7 6 5 4     3  2  1  0  .  . . .

Read as one 64-bit number with octet 0 least significant, every Intel signal is one contiguous
field; with octet 0 most significant every Motorola signal is. So a payload is turned into at most
two words and a signal is a shift and a mask. A payload shorter than 8 octets is filled up with zero
octets at its end, which moves no bit number.
"""

from dataclasses import dataclass, field
from enum import Enum

WORD_OCTETS = 8
WORD_BITS = 64


class ByteOrder(Enum):
    """The two byte orders of the DBC format (1 and 0 behind the `@`)."""

    INTEL = "intel"
    MOTOROLA = "motorola"


@dataclass(frozen=True, slots=True)
class SignalSpec:
    """Where a signal lies: DBC start bit 0..63, length 1..64 bit, byte order, sign.

    `intel`, `shift` and `mask` are derived: the field's place in the word of its byte order.
    """

    name: str
    start: int
    length: int
    byte_order: ByteOrder
    signed: bool
    intel: bool = field(init=False)
    shift: int = field(init=False)
    mask: int = field(init=False)

    def __post_init__(self) -> None:
        """Derive shift and mask from the place."""
        object.__setattr__(self, "intel", self.byte_order is ByteOrder.INTEL)
        object.__setattr__(self, "mask", (1 << self.length) - 1)
        if self.intel:
            shift = self.start
        else:
            shift = WORD_BITS - 1 - sawtooth(self.start) - (self.length - 1)
        object.__setattr__(self, "shift", shift)

    @property
    def minimum(self) -> int:
        """The smallest raw value."""
        return -(1 << (self.length - 1)) if self.signed else 0

    @property
    def maximum(self) -> int:
        """The largest raw value."""
        return (1 << (self.length - 1)) - 1 if self.signed else (1 << self.length) - 1

    @property
    def last_octet(self) -> int:
        """The highest octet index the signal reaches: the one that must have arrived (rule 6)."""
        if self.intel:
            return (self.start + self.length - 1) // 8
        return (sawtooth(self.start) + self.length - 1) // 8

    @property
    def fits(self) -> bool:
        """Whether the whole signal lies inside 64 bit."""
        first = self.start if self.intel else sawtooth(self.start)
        return self.length >= 1 and self.start >= 0 and first + self.length <= WORD_BITS

    @property
    def bits(self) -> frozenset[int]:
        """The DBC bit numbers the signal occupies."""
        if self.intel:
            return frozenset(range(self.start, self.start + self.length))
        first = sawtooth(self.start)
        return frozenset(sawtooth(place) for place in range(first, first + self.length))


def sawtooth(bit: int) -> int:
    """Turn a DBC bit number into its distance from the first bit on the wire, and back.

    The first bit on the wire is bit 7 of octet 0; the mapping is its own inverse.
    """
    return (bit // 8) * 8 + 7 - bit % 8


def intel_word(data: bytes) -> int:
    """Return the payload (0..8 octets) as a number with octet 0 least significant."""
    return int.from_bytes(data, "little")


def motorola_word(data: bytes) -> int:
    """Return the payload (0..8 octets) as a 64-bit number with octet 0 most significant."""
    return int.from_bytes(data, "big") << (WORD_BITS - 8 * len(data))


def extract(spec: SignalSpec, data: bytes) -> int:
    """Return the raw value of the signal in a payload of at least `last_octet` + 1 octets."""
    word = intel_word(data) if spec.intel else motorola_word(data)
    return from_word(spec, word)


def from_word(spec: SignalSpec, word: int) -> int:
    """Return the raw value of the signal in the word of its byte order."""
    bits = (word >> spec.shift) & spec.mask
    return signed(spec, bits) if spec.signed else bits


def signed(spec: SignalSpec, bits: int) -> int:
    """Return the raw value of the signal's bits: two's complement where it has a sign."""
    if spec.signed and bits > spec.mask >> 1:
        return bits - spec.mask - 1
    return bits


def into_word(spec: SignalSpec, word: int, raw: int) -> int:
    """Return the word of the signal's byte order with the raw value put in; other bits keep."""
    return word & ~(spec.mask << spec.shift) | (raw & spec.mask) << spec.shift


def insert(spec: SignalSpec, data: bytes, raw: int) -> bytes:
    """Return the payload with the raw value put in; neighbours stay untouched."""
    if spec.intel:
        word = into_word(spec, intel_word(data), raw)
        return word.to_bytes(WORD_OCTETS, "little")[: len(data)]
    word = into_word(spec, motorola_word(data), raw)
    return word.to_bytes(WORD_OCTETS, "big")[: len(data)]
