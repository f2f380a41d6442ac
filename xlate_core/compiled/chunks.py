"""Cutting a payload into chunks that one `struct` call reads or writes.

A chunk is a run of octets in one byte order that holds whole signals; inside it a signal is a shift
and a mask of a small number. A chunk of 3, 5, 6 or 7 octets goes through `struct` in pieces, and so
does one of two octets against the byte order of its call, which costs less than a second call. Both
byte orders in the same octets cannot be cut: None says so, and the message takes the readable way.
"""

from collections.abc import Container
from dataclasses import dataclass

from xlate_core.signals import WORD_OCTETS, SignalSpec

PAIR = 2  # octets
LONGEST_NATIVE = 7  # octets; one more would need the sign bit
LETTERS = {1: "B", 2: "H", 4: "I", 8: "Q"}


@dataclass(frozen=True, slots=True)
class Chunk:
    """Octets first..first+size-1 as one number; `intel` says which octet is least significant."""

    first: int
    size: int
    intel: bool

    @property
    def end(self) -> int:
        """The octet behind the last one."""
        return self.first + self.size

    def shift(self, signal: SignalSpec) -> int:
        """Return the place of a signal's least significant bit in the chunk."""
        if signal.intel:
            within = signal.start - 8 * self.first
        else:
            within = signal.shift - 8 * (WORD_OCTETS - self.end)
        if signal.intel != self.intel:  # a signal inside one octet looks alike in both orders
            octet = within // 8
            within += 8 * (self.size - 1 - 2 * octet)
        return within


@dataclass(frozen=True, slots=True)
class Call:
    """One `struct` call: its format, its byte order, and the chunks in order of its numbers.

    The `signed` ones come as two's complement: a signal at the top of its chunk keeps its sign.
    """

    layout: str
    intel: bool
    chunks: tuple[Chunk, ...]
    signed: frozenset[Chunk] = frozenset()


def pieces(chunk: Chunk, intel: bool) -> list[tuple[str, int]]:
    """Return letter and shift of the numbers a chunk is read or written as, in octet order.

    `intel` is the byte order of the number they make up: that of the call.
    """
    sizes = {3: (2, 1), 5: (4, 1), 6: (4, 2), 7: (4, 2, 1)}.get(chunk.size, (chunk.size,))
    found, place = [], 0
    for size in sizes:
        shift = 8 * place if intel else 8 * (chunk.size - place - size)
        found.append((LETTERS[size], shift))
        place += size
    return found


def pieces_read(chunk: Chunk, intel: bool) -> list[tuple[str, int]]:
    """Return letter and shift of the numbers a chunk is read as by a call of a byte order."""
    if chunk.size == 1 or chunk.intel == intel:
        return pieces(chunk, chunk.intel)
    last = chunk.size - 1
    return [("B", 8 * (place if chunk.intel else last - place)) for place in range(chunk.size)]


def unpack_lines(names: list[str], call: Call, function: str) -> list[str]:
    """Return the lines that give each chunk of a call its number out of `data`."""
    targets, joins = [], []
    for name, chunk in zip(names, call.chunks, strict=True):
        parts = pieces_read(chunk, call.intel)
        if len(parts) == 1:
            targets.append(name)
            continue
        own = [f"{name}_part{index}" for index in range(len(parts))]
        targets += own
        shifted = [f"{one} << {at}" if at else one for one, (_, at) in zip(own, parts, strict=True)]
        joins.append(f"{name} = {' | '.join(shifted)}")
    return [f"{', '.join(targets)}, = {function}(data)", *joins]


def split_values(value: str, chunk: Chunk, intel: bool) -> list[str]:
    """Return the texts of a chunk's pieces, out of the text of its number in that byte order."""
    parts = pieces(chunk, intel)
    if len(parts) == 1:
        return [value]
    widths = {"B": 0xFF, "H": 0xFFFF, "I": 0xFFFFFFFF}
    return [f"({value}) >> {shift} & {widths[letter]}" for letter, shift in parts]


def letters(chunk: Chunk) -> str:
    """Return the `struct` letters of a chunk."""
    return "".join(letter for letter, _ in pieces(chunk, chunk.intel))


def first_octet(signal: SignalSpec) -> int:
    """Return the lowest octet a signal reaches."""
    return min(bit // 8 for bit in signal.bits)


def is_split(signal: SignalSpec) -> bool:
    """Return whether a signal reaches over more than one octet, so that its byte order matters."""
    return first_octet(signal) != signal.last_octet


def chunks_for(signals: list[SignalSpec], length: int, native: bool = False) -> list[Chunk] | None:
    """Return chunks of a size `struct` knows that hold the signals; they overlap in no octet.

    A `native` text reads octets: there a chunk has the size of what it holds, at most 7 octets.
    """
    spans = [
        (first_octet(one), one.last_octet + 1, one.intel if is_split(one) else None)
        for one in signals
    ]
    majority = sum(1 if intel else -1 for _, _, intel in spans if intel is not None) >= 0
    merged: list[tuple[int, int, bool | None]] = []
    for first, end, intel in sorted(spans, key=lambda span: span[:2]):
        if merged and first < merged[-1][1]:
            before = merged.pop()
            if None not in (before[2], intel) and before[2] != intel:
                return None
            joined = before[2] if intel is None else intel
            merged.append((before[0], max(end, before[1]), joined))
        else:
            merged.append((first, end, intel))
    found: list[Chunk] = []
    for number, (first, end, intel) in enumerate(merged):
        low = found[-1].end if found else 0
        high = merged[number + 1][0] if number + 1 < len(merged) else length
        size = next(size for size in LETTERS if size >= end - first)
        if native or high - low < size:
            size = end - first
        start = max(low, min(first, high - size))
        found.append(Chunk(start, size, majority if intel is None else intel))
    if native and any(chunk.size > LONGEST_NATIVE for chunk in found):
        return None
    return found


def calls_for(chunks: list[Chunk], length: int, signed: Container[Chunk] = ()) -> list[Call]:
    """Return the `struct` calls that read the chunks of a payload.

    One for each byte order used, or one for both where all but two octets are of one order. The
    `signed` chunks are read as two's complement where they come in one piece.
    """
    wide = [chunk for chunk in chunks if chunk.size > 1]
    order = 2 * sum(chunk.intel for chunk in wide) >= len(wide)
    other = [chunk for chunk in wide if chunk.intel != order]
    if len(other) <= 1 and all(chunk.size == PAIR for chunk in other):
        return [_call(chunks, length, order, signed)] if chunks else []
    return [
        _call([c for c in chunks if (c.intel or c.size == 1) == one], length, one, signed)
        for one in (True, False)
    ]


def _call(chunks: list[Chunk], length: int, intel: bool, signed: Container[Chunk]) -> Call:
    """Return the call for chunks, in its byte order; other octets are passed over."""
    layout = "<" if intel else ">"
    place = 0
    one_piece = [chunk for chunk in chunks if len(pieces_read(chunk, intel)) == 1]
    taken = frozenset(chunk for chunk in one_piece if chunk in signed)
    for chunk in chunks:
        read = "".join(letter for letter, _ in pieces_read(chunk, intel))
        layout += "x" * (chunk.first - place) + (read.lower() if chunk in taken else read)
        place = chunk.end
    return Call(layout + "x" * (length - place), intel, tuple(chunks), taken)
