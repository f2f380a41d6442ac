"""A drive kept in the compact store with all that the bridge sent, and its replay bit for bit.

Four channels: what the bridge received on either bus, and what the readable engine sent there in
answer. A frame at time t belongs to tick t / tick; received ones come before the tick, sent ones
are that tick's. The inputs stand still. Kept beside the frames: the number of ticks, the digest of
the state after the last tick, and a CRC over everything else the ticks put out when it changed.
"""

import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from hil.vectors import driving
from hil.vectors.names import names_of
from tools.logs.store import BLOCK_ROWS, Store, StoreWriter
from tools.logs.table import Array, FrameTable, joined, zeros
from xlate_core.bridge import Bridge, Inputs, Outputs
from xlate_core.compiled import CompiledBridge, engine_of
from xlate_core.errors import InputError
from xlate_core.frames import Frame, show_identifier
from xlate_core.pairing import Pairing

CHANNELS = ("body", "engine", "body_sent", "engine_sent")
FIRST_SENT = 2
new_frame: Callable[..., Frame] = partial(tuple.__new__, Frame)


@dataclass(frozen=True, slots=True)
class Replayed:
    """What a replay saw; `difference` is empty when every bit agreed."""

    ticks: int
    frames_in: int
    frames_out: int
    difference: str = ""


class _Rest:
    """A CRC over commands, pins and power hold, with the ticks at which one of them changed."""

    def __init__(self) -> None:
        self.crc = 0
        self.last: tuple[object, ...] = ()

    def see(self, tick: int, rest: tuple[object, ...]) -> None:
        """Take what a tick put out besides frames, if it is new."""
        self.last = rest
        self.crc = zlib.crc32(repr((tick, rest)).encode("ascii"), self.crc)


def keep(pairing: Pairing, seed: int, ticks: int, path: Path) -> None:
    """Drive the readable engine and keep everything; raises InputError when it cannot be written.

    The tick of the pairing has to be a whole number of milliseconds.
    """
    bridge = Bridge(pairing.spec)
    inputs = driving.driving_inputs(names_of(pairing))
    tick_us = pairing.spec.tick_ms * 1000
    rest = _Rest()
    rows: list[tuple[int, int, Frame]] = []
    with StoreWriter(path, CHANNELS) as store:
        for tick, frames in enumerate(driving.frames(pairing, seed, ticks)):
            rows += [(tick * tick_us, frame.bus, frame) for frame in frames]
            bridge.receive_all(frames)
            outputs = bridge.tick(inputs)
            for sent in outputs.frames:
                rows += [(tick * tick_us, FIRST_SENT + frame.bus, frame) for frame in sent]
            if outputs[1:] != rest.last:
                rest.see(tick, outputs[1:])
            if len(rows) >= BLOCK_ROWS:
                store.add(_table(rows))
                rows.clear()
        store.add(_table(rows))
        store.facts = {
            "pairing": pairing.name,
            "pairing_digest": pairing.digest,
            "ticks": ticks,
            "rest_crc": rest.crc,
            "state_digest": bridge.digest(),
        }


def _table(rows: list[tuple[int, int, Frame]]) -> FrameTable:
    table = zeros(len(rows), CHANNELS)
    for place, (time_us, channel, frame) in enumerate(rows):
        table.time_us[place], table.bus[place] = time_us, channel
        table.identifier[place], table.extended[place] = frame.identifier, frame.extended
        table.length[place] = len(frame.data)
        table.data[place, : len(frame.data)] = list(frame.data)
    return table


def replay_kept(pairing: Pairing, path: Path, plain: bool = False) -> Replayed:
    """Run a kept drive through the engine and compare every bit; stops at the first difference.

    Raises InputError for a store that holds no drive of this pairing.
    """
    store = Store(path)
    facts = store.facts
    if store.channels != CHANNELS or facts.get("pairing_digest") != pairing.digest:
        raise InputError(f"{path}: is no kept drive of {pairing.name}")
    bridge = engine_of(pairing.spec, plain=plain)
    inputs = driving.driving_inputs(names_of(pairing))
    rest = _Rest()
    tick = frames_in = frames_out = 0
    for end, received, sent in _pieces(store, pairing.spec.tick_ms * 1000, facts["ticks"]):
        came, arrivals = received
        expected, bounds = sent
        got: list[Frame] = []
        counts = [0]
        _run(bridge, inputs, came, arrivals, tick, got, counts, rest)
        if got != expected or counts != bounds:
            done = Replayed(end, frames_in, frames_out)
            return _first_difference(done, tick, got, counts, expected, bounds)
        frames_in += len(came)
        frames_out += len(got)
        tick = end
    difference = ""
    if bridge.digest() != facts["state_digest"]:
        difference = f"tick {tick - 1}: all frames agree, the digest of the state does not"
    elif rest.crc != facts["rest_crc"]:
        difference = "all frames and the state agree, pins or commands do not"
    return Replayed(tick, frames_in, frames_out, difference)


def _run(
    bridge: Bridge | CompiledBridge,
    inputs: Inputs,
    came: list[Frame],
    arrivals: list[int],
    tick: int,
    got: list[Frame],
    counts: list[int],
    rest: _Rest,
) -> None:
    """Run the ticks of a piece; `arrivals` are the places in `came` at which they begin."""
    receive_all = bridge.receive_all
    idle: Outputs | None = None
    place = 0
    note = counts.append
    for following in arrivals[1:]:
        if following != place:
            receive_all(came[place:following])
            place = following
        outputs = bridge.tick(inputs)
        if outputs is not idle:
            body, engine = outputs[0]
            if body:
                got += body
            if engine:
                got += engine
            if outputs[1:] != rest.last:
                rest.see(tick, outputs[1:])
            if not body and not engine:
                idle = outputs
        note(len(got))
        tick += 1


Part = tuple[list[Frame], list[int]]


def _pieces(store: Store, tick_us: int, ticks: int) -> Iterator[tuple[int, Part, Part]]:
    """Yield (end tick, received, sent) of pieces of the drive; ticks are never cut in two."""
    carried: list[FrameTable] = []
    begin = 0
    for table in store.tables():
        whole = joined([*carried, table])
        numbers = whole.time_us // tick_us
        end = int(numbers[-1])
        ready = int(np.searchsorted(numbers, end))
        carried = [whole.rows(slice(ready, None))]
        yield end, *_parts(whole.rows(slice(0, ready)), numbers[:ready], begin, end)
        begin = end
    left = joined(carried) if carried else zeros(0, CHANNELS)
    yield ticks, *_parts(left, left.time_us // tick_us, begin, ticks)


def _parts(table: FrameTable, numbers: Array, begin: int, end: int) -> tuple[Part, Part]:
    ours = table.bus >= FIRST_SENT
    parts = []
    for chosen in (~ours, ours):
        bounds = np.searchsorted(numbers[chosen], np.arange(begin, end + 1))
        parts.append((_frames(table.rows(chosen)), bounds.tolist()))
    return parts[0], parts[1]


def _frames(table: FrameTable) -> list[Frame]:
    """Return the rows as frames; the bus of a sent one is the bus it left on."""
    octets = table.data.tobytes()
    data = [octets[place : place + 8] for place in range(0, len(octets), 8)]
    for row in np.flatnonzero(table.length != 8).tolist():
        data[row] = data[row][: int(table.length[row])]
    bus = (table.bus % FIRST_SENT).tolist()
    rows = zip(bus, table.extended.tolist(), table.identifier.tolist(), data, strict=True)
    return list(map(new_frame, rows))


def _first_difference(
    done: Replayed,
    tick: int,
    got: list[Frame],
    counts: list[int],
    expected: list[Frame],
    bounds: list[int],
) -> Replayed:
    """Say at which tick what was sent is not what was kept, and what it is."""
    for offset in range(len(bounds) - 1):
        ours = got[counts[offset] : counts[offset + 1]]
        kept = expected[bounds[offset] : bounds[offset + 1]]
        if ours != kept:
            words = f"tick {tick + offset}: sent {_show(ours)}, kept {_show(kept)}"
            return Replayed(tick + offset, done.frames_in, done.frames_out, words)
    raise AssertionError  # the caller has found a difference


def _show(frames: list[Frame]) -> str:
    return ", ".join(
        f"{show_identifier(frame.identifier, frame.extended)}#{frame.data.hex().upper()}"
        for frame in frames
    ) or "nothing"  # fmt: skip
