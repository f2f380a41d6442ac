"""What tables of received and of sent messages share: message keys and the type of factors."""

from collections.abc import Iterator

from hil.firmware.notation import struct, u8, u32
from xlate_core.arithmetic import INT32_MAX, INT32_MIN, INT64_MAX, UINT32_MAX
from xlate_core.bridge import BridgeSpec
from xlate_core.frames import FrameKey
from xlate_core.protection import ChecksumSpec, CounterSpec
from xlate_core.signals import SignalSpec
from xlate_core.transmission import PackSpec


def key(key: FrameKey) -> str:
    """Return a message key."""
    return struct(
        {
            "identifier": u32(key.identifier, "an identifier"),
            "bus": u8(key.bus, "a bus"),
            "extended": u8(key.extended, "a format"),
        }
    )


def raw_code(spec: PackSpec) -> int:
    """Return the code for "not available" as 64 bits with sign; only its bits are put in."""
    code = (spec.not_available or 0) & spec.signal.mask
    return code - (1 << 64) if code > INT64_MAX else code


def narrow(spec: BridgeSpec) -> bool:
    """Return whether every factor and limit of the signals fits 32 bit with sign.

    Then the tables hold them in 32 bit: half the room, and one load each.
    """
    numbers: list[int] = []
    for source in spec.sources:
        numbers += [source.a, source.b, source.d, *source.valid, source.max_change]
        numbers += [number for first, last, _ in source.specials for number in (first, last)]
    for pack in (pack for message in spec.transmits for pack in message.packs):
        numbers += [pack.a, pack.b, pack.d, pack.low, pack.high, raw_code(pack)]
    return all(INT32_MIN <= number <= INT32_MAX for number in numbers)


def guards(
    counter: CounterSpec | None, checksum: ChecksumSpec | None
) -> Iterator[SignalSpec | None]:
    """Return the signals of a counter and a checksum."""
    if counter is not None:
        yield counter.signal
    if checksum is not None:
        yield from (checksum.signal, checksum.counter)


def signals(spec: BridgeSpec) -> Iterator[SignalSpec | None]:
    """Return every signal of a pairing that its tables hold."""
    yield from (source.signal for source in spec.sources)
    for message in spec.messages:
        yield message.selector
        yield from guards(message.counter, message.checksum)
        if message.profile is not None:
            yield message.profile.nibble
            yield from guards(message.profile.counter, message.profile.checksum)
    for sent in spec.transmits:
        yield from (one.signal for one in sent.packs)
        yield from guards(sent.counter, sent.checksum)


def short(spec: BridgeSpec) -> bool:
    """Return whether every signal has at most 32 bit, so that the tables hold such masks."""
    return all(one is None or one.mask <= UINT32_MAX for one in signals(spec))
