"""What happens in a vector: tracks of inputs, messages and outputs, and words for them."""

from dataclasses import dataclass, field
from enum import Enum
from itertools import pairwise

from hil.explanation import decoded, layout_of, message_name
from hil.vectors.names import Names, show, to_physical
from hil.vectors.records import Reader, Record
from hil.vectors.vector import Vector
from xlate_core.frames import Frame
from xlate_core.pairing.layouts import DbcSignal
from xlate_core.pins import PinKind

MOST_CHANGES = 12  # a signal that changes more often is traffic, not an event
SILENCE_PERIODS = 3  # a message is silent when so many of its usual distances pass
Key = tuple[int, bool, int]


class Kind(Enum):
    """How a track is drawn."""

    SWITCH = "switch"  # 0 or 1
    NUMBER = "number"
    FRAMES = "frames"  # 1 while frames come, 0 while silent


@dataclass(slots=True)
class Track:
    """One line of the picture: a name and the values from tick to tick."""

    group: str  # input, received, sent, output
    name: str
    kind: Kind
    changes: list[tuple[int, int, str]] = field(default_factory=list)  # tick, value, words

    def add(self, tick: int, value: int, words: str) -> None:
        """Take a value; only a change is kept."""
        if not self.changes or self.changes[-1][1] != value:
            self.changes.append((tick, value, words))


@dataclass(frozen=True, slots=True)
class Tracks:
    """All tracks of a vector."""

    title: str
    ticks: int
    tick_ms: int
    tracks: tuple[Track, ...]
    resets: tuple[tuple[int, str], ...]


@dataclass(slots=True)
class _Collector:
    names: Names
    pins: dict[str, Track] = field(default_factory=dict)
    signals: dict[tuple[Key, str], Track] = field(default_factory=dict)
    arrivals: dict[tuple[str, Key], list[int]] = field(default_factory=dict)
    hidden: frozenset[tuple[Key, str]] = frozenset()
    resets: list[tuple[int, str]] = field(default_factory=list)

    def take(self, record: Record) -> None:
        """Take one record."""
        tick = record.tick
        if record.reset is not None:
            cause, keep = record.reset
            kept = "memory kept" if keep else "memory forgotten"
            self.resets.append((tick, f"{cause.name.lower()}, {kept}"))
        self.take_inputs(record)
        for frame in record.frames:
            self.take_frame("received", tick, frame)
        for side in record.expected:
            for frame in side:
                self.take_frame("sent", tick, frame)
        if record.rest:
            self.take_outputs(tick, record.rest)

    def pin(self, group: str, name: str, kind: Kind) -> Track:
        """Return the track of a pin."""
        return self.pins.setdefault(f"{group} {name}", Track(group, name, kind))

    def take_inputs(self, record: Record) -> None:
        """Take the inputs."""
        inputs = record.inputs
        for name, (index, active_high) in self.names.levels.items():
            active = inputs.levels[index] == active_high
            track = self.pin("input", name, Kind.SWITCH)
            track.add(record.tick, int(active), "active" if active else "inactive")
        for name, index in self.names.analogues.items():
            count = inputs.counts[index]
            track = self.pin("input", name, Kind.NUMBER)
            track.add(record.tick, count, f"{count} counts")
        supply = inputs.supply_mv
        self.pin("input", "supply", Kind.NUMBER).add(record.tick, supply, f"{supply} mV")

    def take_outputs(self, tick: int, rest: tuple[object, ...]) -> None:
        """Take output pins and power hold."""
        groups = {PinKind.LEVEL: rest[1], PinKind.DUTY: rest[2], PinKind.FREQUENCY: rest[3]}
        for pin in self.names.outputs.values():
            values = groups[pin.kind]
            assert isinstance(values, tuple)
            value = int(values[pin.index])
            if pin.kind is PinKind.LEVEL:
                active = bool(value) == pin.active_high
                words = "active" if active else "inactive"
                self.pin("output", pin.name, Kind.SWITCH).add(tick, int(active), words)
            else:
                frequency = pin.kind is PinKind.FREQUENCY
                words = f"{value} mHz" if frequency else f"duty {value}"
                self.pin("output", pin.name, Kind.NUMBER).add(tick, value, words)
        hold = int(bool(rest[4]))
        self.pin("output", "power hold", Kind.SWITCH).add(tick, hold, "on" if hold else "off")

    def take_frame(self, group: str, tick: int, frame: Frame) -> None:
        """Take a frame: its arrival, and its signals."""
        key = frame.key
        self.arrivals.setdefault((group, key), []).append(tick)
        layout = layout_of(self.names, key)
        if layout is None:
            return
        for signal, raw in decoded(layout, frame.data):
            place = (key, signal.name)
            if place in self.hidden:
                continue
            track = self.signals.get(place)
            if track is None:
                kind = Kind.SWITCH if signal.spec.length == 1 else Kind.NUMBER
                name = f"{message_name(self.names, key)}.{signal.name}"
                track = self.signals[place] = Track(group, name, kind)
            if len(track.changes) <= MOST_CHANGES:
                track.add(tick, raw, value_words(signal, raw))


def value_words(signal: DbcSignal, raw: int) -> str:
    """Return a signal's value in words."""
    label = dict(signal.values).get(raw)
    unit = f" {signal.unit}" if signal.unit else ""
    return f"{show(to_physical(signal, raw))}{unit}" + (f" ({label})" if label else "")


def protection_signals(names: Names) -> frozenset[tuple[Key, str]]:
    """Return counters and checksums, which say nothing about what happens."""
    hidden: set[tuple[Key, str]] = set()
    spec = names.pairing.spec
    sealed = [(one.key, one.counter, one.checksum) for one in spec.messages]
    sealed += [(one.key, one.counter, one.checksum) for one in spec.transmits]
    for key, counter, checksum in sealed:
        if counter is not None:
            hidden.add((key, counter.signal.name))
        if checksum is not None:
            hidden.add((key, checksum.signal.name))
    return frozenset(hidden)


def collect(vector: Vector, names: Names) -> Tracks:
    """Read a vector into tracks; a random vector has only its checkpoints, so none."""
    collector = _Collector(names, hidden=protection_signals(names))
    if vector.header.random is None:
        for record in Reader(vector, names.pairing).records():
            collector.take(record)
    arrivals = [
        frames_track(group, message_name(names, key), ticks, vector.header.ticks)
        for (group, key), ticks in collector.arrivals.items()
    ]
    signals = [
        track for track in collector.signals.values() if 2 <= len(track.changes) <= MOST_CHANGES
    ]
    order = {"input": 0, "received": 1, "sent": 2, "output": 3}
    tracks = sorted(
        [*collector.pins.values(), *arrivals, *signals], key=lambda track: order[track.group]
    )
    header = vector.header
    return Tracks(
        header.title, header.ticks, header.tick_ms, tuple(tracks), tuple(collector.resets)
    )


def frames_track(group: str, name: str, ticks: list[int], end: int) -> Track:
    """Return when frames of a message come and when it is silent."""
    track = Track(group, name, Kind.FRAMES)
    distances = sorted(b - a for a, b in pairwise(ticks) if b > a)
    usual = distances[len(distances) // 2] if distances else 1
    if ticks[0] > 0:
        track.add(0, 0, "silent")
    every = f", usually every {usual} ticks" if distances else ""
    track.add(ticks[0], 1, f"first frame{every}")
    for former, latter in zip(ticks, [*ticks[1:], end], strict=True):
        if latter - former > usual * SILENCE_PERIODS:
            track.add(former + 1, 0, f"silent, last frame one tick before ({len(ticks)} in all)")
            if latter < end:
                track.add(latter, 1, "frames again")
    return track


def words(vector: Vector, tracks: Tracks) -> list[str]:
    """Return the story of a vector, one line an event."""
    header = vector.header
    lines = [
        f"{header.identity}: {header.title}",
        (
            f"pairing {header.pairing}, {header.ticks} ticks of {header.tick_ms} ms, "
            f"{vector.records} records, digest every {header.checkpoint_ticks} ticks"
        ),
        f"hunts {', '.join(header.hunts) or '-'}",
    ]
    if header.random is not None:
        lines.append(
            f"random traffic, seed {header.random.seed}, style {header.random.style}: "
            "only digests and hashes of the output are stored"
        )
        return lines
    events = [
        (tick, f"{track.group} {track.name}: {text}")
        for track in tracks.tracks
        for tick, value, text in track.changes
        if len(track.changes) <= MOST_CHANGES
        and (tick or value or track.kind is not Kind.FRAMES)  # not yet begun is no event
    ]
    events += [
        (track.changes[0][0], f"{track.group} {track.name}: moves, {len(track.changes)} values")
        for track in tracks.tracks
        if len(track.changes) > MOST_CHANGES
    ]
    events += [(tick, f"reset {cause}") for tick, cause in tracks.resets]
    events.sort(key=lambda event: event[0])
    lines += [f"{tick * header.tick_ms:>8} ms  {text}" for tick, text in events]
    return lines
