"""How the payload of a sent message is cut into chunks that one `struct` call writes."""

from xlate_core.compiled.chunks import Chunk, chunks_for, letters
from xlate_core.signals import SignalSpec, insert
from xlate_core.transmission import TransmitSpec


class Layout:
    """The chunks of one sent message, in one byte order; minority chunks are turned round."""

    def __init__(self, message: TransmitSpec, native: bool = False) -> None:
        """Cut the message up; `suited` says whether that works."""
        self.message = message
        self.length = len(message.base)
        signals = [pack.signal for pack in message.packs]
        self.counter = message.counter.signal if message.counter is not None else None
        if self.counter is not None:
            signals.append(self.counter)
        found = chunks_for(signals, self.length, native)
        self.own = -1 if message.checksum is None else message.checksum.checksum_octet
        plain = message.checksum is None or message.checksum.plain
        self.suited = (
            plain
            and found is not None
            and all(not chunk.first <= self.own < chunk.end for chunk in found)
        )
        chunks = found or []
        covered = {octet for chunk in chunks for octet in range(chunk.first, chunk.end)}
        chunks += [
            Chunk(octet, 1, intel=True)
            for octet in range(self.length)
            if octet not in covered and message.base[octet] and octet != self.own
        ]
        self.chunks = sorted(chunks, key=lambda chunk: chunk.first)
        wide = [chunk.intel for chunk in self.chunks if chunk.size > 1]
        self.intel = sum(1 if intel else -1 for intel in wide) >= 0
        if self.counter is not None and self.suited:
            self.suited = not self.turned(self.chunks[self.place(self.counter)[0]])

    def turned(self, chunk: Chunk) -> bool:
        """Return whether a chunk's octets stand the other way round than the `struct` call's."""
        return chunk.size > 1 and chunk.intel != self.intel

    def place(self, signal: SignalSpec) -> tuple[int, int]:
        """Return the chunk of a signal and its shift there."""
        first = min(bit // 8 for bit in signal.bits)
        for number, chunk in enumerate(self.chunks):
            if chunk.first <= first < chunk.end:
                return number, chunk.shift(signal)
        raise AssertionError(signal.name)

    def base(self, chunk: Chunk, blank: bool) -> int:
        """Return a chunk of the constants; `blank` takes the counter's bits out."""
        data = self.message.base
        for pack in self.message.packs:
            data = insert(pack.signal, data, 0)
        if blank and self.counter is not None:
            data = insert(self.counter, data, 0)
        order = "little" if chunk.intel else "big"
        return int.from_bytes(data[chunk.first : chunk.end], order)  # type: ignore[arg-type]

    def layout(self, length: int) -> str:
        """Return the `struct` format of the first `length` octets; others are zero."""
        layout = "<" if self.intel else ">"
        place = 0
        for chunk in self.chunks:
            layout += "x" * (chunk.first - place) + letters(chunk)
            place = chunk.end
        return layout + "x" * (length - place)
