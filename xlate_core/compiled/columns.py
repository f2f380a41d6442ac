"""Frames of many ticks in columns: what a long replay hands to an engine and gets back.

A frame is a code and a word there: the code says which message of the pairing it is, the word is
its payload as a little-endian number of 64 bits, signed. A frame that is no message of the pairing
as it should be (another length, say) has the code AS_FRAME and is looked up when it is needed.
The frames of tick n stand from `bounds[n]` up to `bounds[n + 1]`.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from xlate_core.frames import Frame
from xlate_core.intake import own_keys
from xlate_core.interface import BridgeSpec, Outputs
from xlate_core.signals import WORD_OCTETS, intel_word

Besides = tuple[tuple[int, int], tuple[bool, ...], tuple[int, ...], tuple[int, ...], bool]
"""Outputs besides frames: commands, levels, duty, frequency, power hold."""

AS_FRAME = -1
UNKNOWN_BODY = -2  # neither a received message nor one of the module's own
UNKNOWN_ENGINE = -3
Key = tuple[int, bool, int]
SIGN = 1 << 8 * WORD_OCTETS - 1


@dataclass(slots=True)
class Arrivals:
    """Frames that come in so many ticks as `bounds` is long, less one.

    - `codes`: numbers of received messages, UNKNOWN_BODY, UNKNOWN_ENGINE or AS_FRAME;
    - `apart`: the ticks, rising, in which a message of the pairing comes more than once;
    - `frame` returns the frame at a place: for those AS_FRAME, and in ticks that are run apart.
    """

    codes: list[int]
    words: list[int]
    bounds: list[int]
    apart: list[int]
    frame: Callable[[int], Frame]


def arrivals_of(spec: BridgeSpec, ticks: Iterable[Sequence[Frame]]) -> Arrivals:
    """Return the frames of each of some ticks as columns."""
    received, known = received_keys(spec), known_keys(spec)
    frames: list[Frame] = []
    bounds, apart = [0], []
    for tick, arriving in enumerate(ticks):
        frames += arriving
        bounds.append(len(frames))
        keys = [frame[:3] for frame in arriving if frame[:3] in known]
        if len(set(keys)) < len(keys):
            apart.append(tick)
    codes = []
    for frame in frames:
        if frame[:3] not in known:
            codes.append(UNKNOWN_ENGINE if frame[0] else UNKNOWN_BODY)
            continue
        number, length = received.get(frame[:3], (AS_FRAME, 0))
        codes.append(number if length == len(frame[3]) else AS_FRAME)
    words = [word_of(frame[3]) for frame in frames]
    return Arrivals(codes, words, bounds, apart, frames.__getitem__)


@dataclass(slots=True)
class Sent:
    """What was sent, body bus before engine bus in each tick; `others` are those AS_FRAME.

    `rest` has what a tick put out besides frames, with its number, when that changed.
    """

    keys: dict[Key, tuple[int, int]]
    codes: list[int] = field(default_factory=list)
    words: list[int] = field(default_factory=list)
    bounds: list[int] = field(default_factory=lambda: [0])
    others: list[Frame] = field(default_factory=list)
    rest: list[tuple[int, Besides]] = field(default_factory=list)
    last: tuple[object, ...] = ()

    def add(self, frame: Frame) -> None:
        """Add a frame."""
        code, length = self.keys.get(frame[:3], (AS_FRAME, len(frame[3])))
        if length != len(frame[3]):
            code = AS_FRAME
        self.codes.append(code)
        self.words.append(word_of(frame[3]))
        if code == AS_FRAME:
            self.others.append(frame)

    def take(self, frames: tuple[tuple[Frame, ...], tuple[Frame, ...]]) -> None:
        """Add the frames of a tick."""
        for bus in frames:
            for frame in bus:
                self.add(frame)

    def frames(self) -> list[Frame]:
        """Return everything as frames."""
        keys = {code: key for key, (code, _) in self.keys.items()}
        lengths = dict(self.keys.values())
        others = iter(self.others)
        return [
            next(others)
            if code == AS_FRAME
            else Frame(*keys[code], octets_of(word)[: lengths[code]])
            for code, word in zip(self.codes, self.words, strict=True)
        ]

    def see(self, tick: int, outputs: Outputs) -> None:
        """Take what a tick put out besides frames, if that is new."""
        rest = outputs[1:]
        if rest != self.last:
            self.last = rest
            self.rest.append((tick, rest))

    def end_tick(self, tick: int, outputs: Outputs) -> None:
        """Take all that a tick put out."""
        self.take(outputs[0])
        self.see(tick, outputs)
        self.bounds.append(len(self.codes))


def word_of(data: bytes) -> int:
    """Return a payload as the word of its columns."""
    word = intel_word(data)
    return word - 2 * SIGN if word >= SIGN else word


def octets_of(word: int) -> bytes:
    """Return the eight octets of a word."""
    return word.to_bytes(WORD_OCTETS, "little", signed=True)


def received_keys(spec: BridgeSpec) -> dict[Key, tuple[int, int]]:
    """Return number and length of every received message, by bus, format and identifier."""
    return {one.key[:3]: (n, one.length) for n, one in enumerate(spec.messages)}


def known_keys(spec: BridgeSpec) -> set[Key]:
    """Return bus, format and identifier of every frame that is no unknown one: received, own."""
    return {key[:3] for key in (*own_keys(spec), *received_keys(spec))}


def sent_keys(spec: BridgeSpec) -> dict[Key, tuple[int, int]]:
    """Return number and length of every sent message, by bus, format and identifier."""
    return {one.key[:3]: (n, len(one.base)) for n, one in enumerate(spec.transmits)}
