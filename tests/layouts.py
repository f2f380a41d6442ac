"""Signal places for tests: a bit-by-bit walk of the DBC numbering, and places drawn at random.

The walk follows the wording of the DBC format one bit at a time, so that it shares no arithmetic
with the shift-and-mask of `xlate_core.signals`.
"""

import random

from hypothesis import strategies as st

from xlate_core.signals import ByteOrder, SignalSpec


def walk(start: int, length: int, byte_order: ByteOrder) -> list[int] | None:
    """The DBC bit numbers from the start bit on; None where the signal leaves 64 bit."""
    bits = []
    bit = start
    for _ in range(length):
        if not 0 <= bit < 64:
            return None
        bits.append(bit)
        if byte_order is ByteOrder.INTEL:
            bit += 1  # upwards, octet after octet
        elif bit % 8:
            bit -= 1  # down inside the octet
        else:
            bit += 15  # to bit 7 of the next octet
    return bits


def read_bits(data: bytes, spec: SignalSpec) -> int:
    """The raw value, one bit after the other; slow and plain."""
    bits = walk(spec.start, spec.length, spec.byte_order)
    assert bits is not None
    if spec.byte_order is ByteOrder.INTEL:
        bits.reverse()  # the most significant bit first
    raw = 0
    for bit in bits:
        raw = raw * 2 + (data[bit // 8] >> bit % 8 & 1)
    negative = spec.signed and data[bits[0] // 8] >> bits[0] % 8 & 1
    return raw - 2**spec.length if negative else raw


PLACES = [
    (start, length, byte_order)
    for byte_order in ByteOrder
    for start in range(64)
    for length in range(1, 65)
    if walk(start, length, byte_order) is not None
]
"""Every place a signal can have in 8 octets: 2080 of each byte order."""


@st.composite
def signals(draw: st.DrawFn) -> SignalSpec:
    """A signal anywhere in 8 octets."""
    start, length, byte_order = draw(st.sampled_from(PLACES))
    return SignalSpec("signal", start, length, byte_order, draw(st.booleans()))


def random_layout(
    rng: random.Random, octets: int, byte_order: ByteOrder | None = None
) -> list[SignalSpec]:
    """One to eight disjoint signals inside a payload of so many octets.

    Without a byte order, both may be mixed in one message.
    """
    free = set(range(8 * octets))
    layout: list[SignalSpec] = []
    wanted = rng.randint(1, 8)
    for _ in range(60):
        order = byte_order or rng.choice(list(ByteOrder))
        longest = rng.choice((4, 8, 16, 8 * octets))
        start, length = rng.randrange(8 * octets), rng.randint(1, longest)
        bits = walk(start, length, order)
        if bits is None or not free.issuperset(bits):
            continue
        free.difference_update(bits)
        signed = rng.random() < 0.5
        layout.append(SignalSpec(f"S{len(layout)}", start, length, order, signed))
        if len(layout) == wanted:
            break
    return layout


def random_raw(rng: random.Random, spec: SignalSpec) -> int:
    """A raw value; the two ends of the range come up often."""
    return rng.choice((spec.minimum, spec.maximum, rng.randint(spec.minimum, spec.maximum)))
