"""Raw values of a whole message out of a payload and back, generated from its signals.

For tools that want every signal by name (log decoding, statistics); the engine itself decodes only
what its pairing uses. Multiplexed messages are not for this: every signal is read every time.
"""

from collections.abc import Callable, Sequence
from struct import Struct
from typing import Any, NamedTuple

from xlate_core.compiled.chunks import Chunk, calls_for, chunks_for, letters, split_values
from xlate_core.compiled.chunks import unpack_lines as unpacking
from xlate_core.compiled.program import functions_of
from xlate_core.compiled.text import Text
from xlate_core.signals import SignalSpec


class Codec(NamedTuple):
    """Both ways between a payload of exactly the message's length and raw values by name.

    `encode` takes a value for every signal, inside the signal's raw range.
    """

    decode: Callable[[bytes], dict[str, int]]
    encode: Callable[[dict[str, int]], bytes]


def codec_of(signals: Sequence[SignalSpec], length: int) -> Codec | None:
    """Return the codec of a message; None where both byte orders share octets."""
    chunks = chunks_for(list(signals), length)
    if chunks is None:
        return None
    text = Text()
    _decode(text, signals, chunks, length)
    _encode(text, signals, chunks, length)
    names: dict[str, Any] = functions_of(text)
    return Codec(names["decode"], names["encode"])


def _chunk_of(signal: SignalSpec, chunks: list[Chunk]) -> int:
    first = min(bit // 8 for bit in signal.bits)
    return next(n for n, chunk in enumerate(chunks) if chunk.first <= first < chunk.end)


def _is_top(signal: SignalSpec, chunk: Chunk) -> bool:
    """Return whether a signal holds the most significant bit of its chunk."""
    return chunk.shift(signal) + signal.length == 8 * chunk.size


def _decode(text: Text, signals: Sequence[SignalSpec], chunks: list[Chunk], length: int) -> None:
    placed = [(signal, _chunk_of(signal, chunks)) for signal in signals]
    signed = {chunks[n] for signal, n in placed if signal.signed and _is_top(signal, chunks[n])}
    calls = calls_for(chunks, length, signed)
    with text.block("def decode(data):"):
        for order, call in enumerate(calls):
            unpack = text.bind(f"unpack_{order}", Struct(call.layout).unpack)
            text.add(*unpacking([f"c{chunks.index(chunk)}" for chunk in call.chunks], call, unpack))
        entries = []
        for signal, number in placed:
            chunk = chunks[number]
            shift = chunk.shift(signal)
            field = f"c{number} >> {shift}" if shift else f"c{number}"
            if not _is_top(signal, chunk):
                field = f"{field} & {signal.mask}"
            if signal.signed and not (
                _is_top(signal, chunk) and any(chunk in call.signed for call in calls)
            ):
                half = (signal.mask >> 1) + 1
                field = f"(({field}) ^ {half}) - {half}"
            entries.append(f"{signal.name!r}: {field}")
        text.add(f"return {{{', '.join(entries)}}}")


def _encode(text: Text, signals: Sequence[SignalSpec], chunks: list[Chunk], length: int) -> None:
    wide = [chunk.intel for chunk in chunks if chunk.size > 1]
    intel = sum(1 if one else -1 for one in wide) >= 0
    layout, place = "<" if intel else ">", 0
    text.bind("from_bytes", int.from_bytes)
    with text.block("def encode(values):"):
        parts: list[str] = []
        for number, chunk in enumerate(chunks):
            layout += "x" * (chunk.first - place) + letters(chunk)
            place = chunk.end
            fields = []
            for signal in signals:
                if _chunk_of(signal, chunks) == number:
                    field = f"values[{signal.name!r}]"
                    field = f"({field} & {signal.mask})" if signal.signed else field
                    shift = chunk.shift(signal)
                    fields.append(f"{field} << {shift}" if shift else field)
            value = " | ".join(fields)
            if chunk.size > 1 and chunk.intel != intel:
                orders = ("little", "big") if intel else ("big", "little")
                turned = f"({value}).to_bytes({chunk.size}, {orders[1]!r})"
                value = f"from_bytes({turned}, {orders[0]!r})"
            parts += split_values(value, chunk, intel)
        pack = text.bind("pack", Struct(layout + "x" * (length - place)).pack)
        text.add(f"return {pack}({', '.join(parts)})")
