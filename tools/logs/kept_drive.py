"""A drive kept in the compact store with all that the bridge sent, and its replay bit for bit.

Four channels: what the bridge received on either bus, and what the readable engine sent there in
answer. A frame at time t belongs to tick t / tick; received ones come before the tick, sent ones
are that tick's. The inputs stand still. Kept beside the frames: the number of ticks, the digest of
the state after the last tick, and a CRC over everything else the ticks put out when it changed.
"""

import zlib
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from hil.vectors import driving
from hil.vectors.names import names_of
from tools.logs.columns import Columns, frames_of
from tools.logs.store import BLOCK_ROWS, Store, StoreWriter
from tools.logs.table import Array, FrameTable, joined, zeros
from xlate_core.bridge import Bridge, Inputs, Outputs
from xlate_core.compiled import CompiledBridge, engine_of
from xlate_core.compiled.columns import Besides, Sent
from xlate_core.errors import InputError
from xlate_core.frames import Frame, show_identifier
from xlate_core.pairing import Pairing

CHANNELS = ("body", "engine", "body_sent", "engine_sent")
FIRST_SENT = 2
PIECE = 4000  # ticks whose columns are in memory at a time: they fit into a cache


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

    def see(self, tick: int, rest: Besides) -> None:
        """Take what a tick put out besides frames, if it is new."""
        self.last = rest
        commands, levels, duty, frequency, power_hold = rest
        numbers = array("q", (tick, *commands, *levels, *duty, *frequency, power_hold))
        self.crc = zlib.crc32(numbers, self.crc)


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
    engine = engine_of(pairing.spec, plain=plain)
    inputs = driving.driving_inputs(names_of(pairing))
    columns = Columns(pairing.spec)
    rest = _Rest()
    tick = frames_in = frames_out = 0
    for end, received, expected in _pieces(store, pairing.spec.tick_ms * 1000, facts["ticks"]):
        if isinstance(engine, CompiledBridge) and engine.has_spans():
            sent = _by_spans(engine, inputs, columns, received, tick, rest)
            agree = columns.agree(sent, expected.table, expected.bounds)
            got, counts = [] if agree else sent.frames(), sent.bounds
        else:
            got, counts = _by_ticks(engine, inputs, received, tick, rest)
            agree = counts == expected.bounds.tolist() and got == frames_of(expected.table)
        if not agree:
            done = Replayed(end, frames_in, frames_out)
            return _first_difference(done, tick, got, counts, expected)
        frames_in += len(received.table)
        frames_out += len(expected.table)
        tick = end
    difference = ""
    if engine.digest() != facts["state_digest"]:
        difference = f"tick {tick - 1}: all frames agree, the digest of the state does not"
    elif rest.crc != facts["rest_crc"]:
        difference = "all frames and the state agree, pins or commands do not"
    return Replayed(tick, frames_in, frames_out, difference)


@dataclass(frozen=True, slots=True)
class _Part:
    """The rows of one direction in a piece of the drive, and where in them each tick begins."""

    table: FrameTable
    bounds: Array


def _by_spans(
    engine: CompiledBridge,
    inputs: Inputs,
    columns: Columns,
    received: _Part,
    tick: int,
    rest: _Rest,
) -> Sent:
    """Run the ticks of a piece with frames in columns."""
    sent = Sent(columns.sent_keys, last=rest.last)
    engine.run(columns.arrivals(received.table, received.bounds), inputs, sent)
    for offset, seen in sent.rest:
        rest.see(tick + offset, seen)
    return sent


def _by_ticks(
    engine: Bridge | CompiledBridge, inputs: Inputs, received: _Part, tick: int, rest: _Rest
) -> tuple[list[Frame], list[int]]:
    """Run the ticks of a piece frame by frame; return what was sent, and how much by each tick."""
    receive_all = engine.receive_all
    came, arrivals = frames_of(received.table), received.bounds.tolist()
    got: list[Frame] = []
    counts = [0]
    idle: Outputs | None = None
    place = 0
    note = counts.append
    for following in arrivals[1:]:
        if following != place:
            receive_all(came[place:following])
            place = following
        outputs = engine.tick(inputs)
        if outputs is not idle:
            body, engine_bus = outputs[0]
            if body:
                got += body
            if engine_bus:
                got += engine_bus
            if outputs[1:] != rest.last:
                rest.see(tick, outputs[1:])
            if not body and not engine_bus:
                idle = outputs
        note(len(got))
        tick += 1
    return got, counts


def _pieces(store: Store, tick_us: int, ticks: int) -> Iterator[tuple[int, _Part, _Part]]:
    """Yield (end tick, received, sent) of pieces of the drive; ticks are never cut in two."""
    carried: list[FrameTable] = []
    begin = 0
    for table in store.tables():
        whole = joined([*carried, table])
        numbers = whole.time_us // tick_us
        end = int(numbers[-1])
        ready = int(np.searchsorted(numbers, end))
        carried = [whole.rows(slice(ready, None))]
        for piece_end in [*range(begin + PIECE, end, PIECE), end]:
            first, last = np.searchsorted(numbers, [begin, piece_end]).tolist()
            rows = slice(first, last)
            yield piece_end, *_parts(whole.rows(rows), numbers[rows], begin, piece_end)
            begin = piece_end
    left = joined(carried) if carried else zeros(0, CHANNELS)
    yield ticks, *_parts(left, left.time_us // tick_us, begin, ticks)


def _parts(table: FrameTable, numbers: Array, begin: int, end: int) -> tuple[_Part, _Part]:
    """Return what was received and what was sent; the bus of a sent one is where it left."""
    ours = table.bus >= FIRST_SENT
    parts = []
    for chosen in (~ours, ours):
        bounds = np.searchsorted(numbers[chosen], np.arange(begin, end + 1))
        rows = table.rows(chosen)
        parts.append(_Part(replace(rows, bus=rows.bus % FIRST_SENT), bounds))
    return parts[0], parts[1]


def _first_difference(
    done: Replayed, tick: int, got: list[Frame], counts: list[int], expected: _Part
) -> Replayed:
    """Say at which tick what was sent is not what was kept, and what it is."""
    kept, bounds = frames_of(expected.table), expected.bounds.tolist()
    for offset in range(len(bounds) - 1):
        one = got[counts[offset] : counts[offset + 1]]
        other = kept[bounds[offset] : bounds[offset + 1]]
        if one != other:
            words = f"tick {tick + offset}: sent {_show(one)}, kept {_show(other)}"
            return Replayed(tick + offset, done.frames_in, done.frames_out, words)
    raise AssertionError  # the caller has found a difference


def _show(frames: list[Frame]) -> str:
    return ", ".join(
        f"{show_identifier(frame.identifier, frame.extended)}#{frame.data.hex().upper()}"
        for frame in frames
    ) or "nothing"  # fmt: skip
