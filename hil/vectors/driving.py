"""A long drive: full traffic on both buses with the ignition on and the engine running.

For measuring speed and for soaking. Slow signals mostly stand still, fast ones move, counters and
checksums are valid, and foreign identifiers fill both buses up to a real car's load. The same seed
gives the same drive on every machine.
"""

import gzip
import os
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from hil.boards.interface import Stimulus
from hil.boards.reference import ReferenceBoard
from hil.vectors.generation import is_checkpoint
from hil.vectors.names import Names, Received, names_of
from hil.vectors.records import Writer
from hil.vectors.senders import initial_raw, pack, sealed_signals, usable_range
from hil.vectors.vector import Header, render_end, render_header
from xlate_core.bridge import RULES, Inputs, ResetCause
from xlate_core.frames import Bus, Frame
from xlate_core.pairing.layouts import DbcSignal
from xlate_core.pairing.model import Pairing
from xlate_core.protection import next_counter, seal
from xlate_core.signals import insert

FRAMES_PER_S = 1500  # into the bridge, both buses together
FAST_MS = 50  # messages up to this period carry moving signals
SLOW_ONE_IN = 50  # a slow message changes one signal in so many frames
FOREIGN_PERIODS_MS = (10, 20, 50, 100)
DRIVING_SUPPLY_MV = 13800
FLAG_BITS = 3  # signals up to this width are switches and states: they stand still


@dataclass(slots=True)
class Traveller:
    """A moving signal: goes up and down between two raw values."""

    signal: DbcSignal
    low: int
    high: int
    step: int
    raw: int


@dataclass(slots=True)
class Source:
    """One control unit's message on its way."""

    period: int
    phase: int
    key: tuple[int, bool, int]
    payload: bytes
    received: Received | None = None
    fast: bool = False
    counter: int = 0
    turn: int = 0
    travellers: list[Traveller] = field(default_factory=list)
    pages: tuple[bytes, ...] = ()  # payloads of a multiplexed message, sent in turn


def ignition_sources(pairing: Pairing) -> set[str]:
    """Return the names of pins and signals that say: ignition on."""
    spec = pairing.spec
    on = {spec.power.ignition, spec.power.accessory}
    return {
        spec.sources[index].name
        for number, quantity in enumerate(spec.quantities)
        if number in on
        for index in quantity.sources
    }


def driving_inputs(names: Names) -> Inputs:
    """Return the inputs of the drive: ignition on, everything else at rest, senders half way."""
    on = ignition_sources(names.pairing)
    return Inputs(
        levels=tuple(
            active_high == (f"input.{name}" in on or name in on)
            for name, (_, active_high) in names.levels.items()
        ),
        counts=tuple(
            (pin.valid[0] + pin.valid[1]) // 2 for pin in names.pairing.spec.pins.analogues
        ),
        supply_mv=DRIVING_SUPPLY_MV,
    )


def frames(
    pairing: Pairing, seed: int, ticks: int, per_second: int = FRAMES_PER_S
) -> Iterator[tuple[Frame, ...]]:
    """Yield the frames of each tick of the drive, in order of arrival.

    Foreign identifiers fill up to `per_second` frames a second; 0 leaves them out.
    """
    names = names_of(pairing)
    chance = Random(seed)
    sources = known_sources(names, chance)
    sources += foreign_sources(names, chance, sources, per_second)
    due: dict[int, list[Source]] = {}
    for source in sources:
        due.setdefault(source.phase, []).append(source)
    for tick in range(ticks):
        leaving = due.pop(tick, None)
        if leaving is None:
            yield ()
            continue
        yield tuple([frame_of(source, chance) for source in leaving])
        for source in leaving:
            due.setdefault(tick + source.period, []).append(source)


def known_sources(names: Names, chance: Random) -> list[Source]:
    """Return a source for every received message with a cycle time."""
    on = ignition_sources(names.pairing)
    valid = {source.name: source.valid for source in names.pairing.spec.sources}
    found = []
    for index, (name, received) in enumerate(names.received.items()):
        layout = received.layout
        if not layout.cycle_ms:
            continue
        period = max(1, layout.cycle_ms // names.tick_ms)
        sealed = sealed_signals(received)
        values, travellers = {}, []
        for signal in layout.signals:
            full = f"{name}.{signal.name}"
            low, high = usable_range(signal, full, valid)
            values[signal.name] = initial_raw(signal)
            if full in on:
                values[signal.name] = max(1, low)
            elif signal.spec.length > FLAG_BITS and signal.name not in sealed:
                values[signal.name] = low + (high - low) // 4
                if not signal.is_selector and signal.selector is None:
                    travellers.append(traveller(signal, low, high, values[signal.name], chance))
        found.append(
            Source(
                period=period,
                phase=index % period,
                key=layout.key,
                payload=pack(layout, values),
                received=received,
                fast=layout.cycle_ms <= FAST_MS,
                travellers=travellers,
                pages=pages_of(names, received, values),
            )
        )
    return found


def pages_of(names: Names, received: Received, values: dict[str, int]) -> tuple[bytes, ...]:
    """Return one payload for each selector value that the module has a unit for."""
    layout = received.layout
    selector = next((s.name for s in layout.signals if s.is_selector and s.selector is None), None)
    if selector is None:
        return ()
    spec = names.pairing.spec
    message = next(one for one in spec.messages if one.name == received.name)
    chosen = sorted({low for unit in message.units for low, _ in spec.units[unit].selectors})
    return tuple(pack(layout, {**values, selector: value}) for value in chosen)


def traveller(signal: DbcSignal, low: int, high: int, start: int, chance: Random) -> Traveller:
    """Return a signal that moves between an eighth and a half of its range."""
    span = high - low
    step = max(1, span // (200 + chance.getrandbits(9)))
    return Traveller(signal, low + span // 8, low + span // 2, step, start)


def foreign_sources(
    names: Names, chance: Random, known: list[Source], wanted: int = FRAMES_PER_S
) -> list[Source]:
    """Return unknown messages that fill both buses up to so many frames a second."""
    taken: set[tuple[int, bool, int]] = {layout.key for layout in names.layouts.values()}
    per_second = sum(1000 // (source.period * names.tick_ms) for source in known)
    found: list[Source] = []
    while per_second < wanted:
        key = (len(found) % len(Bus), False, 0x100 + chance.getrandbits(10))
        if key in taken:
            continue
        taken.add(key)
        period_ms = FOREIGN_PERIODS_MS[chance.getrandbits(2)]
        period = max(1, period_ms // names.tick_ms)
        phase = chance.getrandbits(16) % period
        found.append(Source(period, phase, key, chance.getrandbits(64).to_bytes(8, "big")))
        per_second += 1000 // period_ms
    return found


def frame_of(source: Source, chance: Random) -> Frame:
    """Return the next frame of a source."""
    received = source.received
    bus, extended, identifier = source.key
    if received is None:
        if not chance.getrandbits(2):
            octet = chance.getrandbits(3)
            changed = bytes((chance.getrandbits(8),))
            source.payload = source.payload[:octet] + changed + source.payload[octet + 1 :]
        return Frame(bus, extended, identifier, source.payload)
    source.turn += 1
    if source.pages:
        source.payload = source.pages[source.turn % len(source.pages)]
    elif source.travellers and (source.fast or source.turn % SLOW_ONE_IN == 0):
        move(source)
    counter = received.counter
    if counter is None and received.checksum is None:
        return Frame(bus, extended, identifier, source.payload)
    data = seal(counter, received.checksum, source.payload, source.counter)
    if counter is not None:
        source.counter = next_counter(counter, source.counter)
    return Frame(bus, extended, identifier, data)


def move(source: Source) -> None:
    """Move one signal, each in turn; at the ends it turns round."""
    entry = source.travellers[source.turn % len(source.travellers)]
    raw = entry.raw + entry.step
    if not entry.low <= raw <= entry.high:
        raw = min(max(raw, entry.low), entry.high)
        entry.step = -entry.step
    entry.raw = raw
    source.payload = insert(entry.signal.spec, source.payload, raw)


def write(names: Names, seed: int, ticks: int, folder: Path) -> Path:
    """Run the drive on the reference and write its vector, piece by piece, whole or not at all."""
    identity = f"drive_{seed}"
    every = max(1, 60_000 // names.tick_ms)
    header = Header(
        identity=identity,
        title=f"A drive of {ticks * names.tick_ms // 1000} s in full traffic",
        pairing=names.pairing.name,
        pairing_digest=names.pairing.digest,
        rules=RULES,
        tick_ms=names.tick_ms,
        ticks=ticks,
        checkpoint_ticks=every,
        hunts=("state_divergence",),
        scenario="-",
        scenario_digest="-",
        random=None,
    )
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{identity}.vector.gz"
    temporary = folder / f".{identity}.vector.gz.part"
    try:
        with temporary.open("wb") as raw, gzip.GzipFile("", "wb", 6, raw, mtime=0) as file:
            file.write(render_header(header))
            crc = records = 0
            for record in drive_records(names, seed, ticks, every):
                line = f"{record}\n".encode("ascii")
                crc = zlib.crc32(line, crc)
                records += 1
                file.write(line)
            file.write(render_end(records, crc))
        os.replace(temporary, path)  # noqa: PTH105
    finally:
        temporary.unlink(missing_ok=True)
    return path


def drive_records(names: Names, seed: int, ticks: int, every: int) -> Iterator[str]:
    """Yield the records of the drive."""
    board = ReferenceBoard(names.pairing)
    board.reset(ResetCause.POWER_ON, False)
    writer = Writer(names.pairing)
    inputs = driving_inputs(names)
    for tick, arriving in enumerate(frames(names.pairing, seed, ticks)):
        outputs = board.step(inputs, arriving)
        digest = board.digest() if is_checkpoint(tick, every, ticks - 1) else None
        stimuli = tuple([Stimulus(frame, len(frame.data)) for frame in arriving])
        record = writer.record(tick, None, inputs, stimuli, outputs, digest)
        if record is not None:
            yield record
