"""The fast form beside the readable engine: outputs every tick, digests often."""

import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from tests.core.test_bridge import random_inputs
from xlate_core.bridge import Bridge, Inputs, ResetCause
from xlate_core.compiled import CompiledBridge
from xlate_core.frames import Bus, Frame
from xlate_core.interface import BridgeSpec
from xlate_core.protection import seal
from xlate_core.signals import insert

Step = tuple[list[Frame], Inputs]
PERIODS = (2, 5, 10, 10, 20, 50)


@dataclass(slots=True)
class Sender:
    """A sender of one received message: period, next tick, payload, counter, silence."""

    message: int
    period: int
    due: int
    payload: bytes
    counter: int = 0
    silent_until: int = 0


def calm_stimulus(
    spec: BridgeSpec, seed: int, ticks: int, trouble: float = 0.002
) -> Iterator[Step]:
    """Yield cyclic traffic as it should be, signals moving, with trouble now and then.

    Trouble is everything that sends the fast form back to the readable one, and everything it has
    to bear itself: wrong checksums and counters, short and foreign frames, the same frame twice in
    a tick, silence beyond every deadline, extreme signal values, moving switches and supply.
    """
    source = random.Random(seed)
    inputs = random_inputs(Bridge(spec), source)._replace(supply_mv=13000)
    senders = [
        Sender(i, source.choice(PERIODS), source.randrange(20), source.randbytes(message.length))
        for i, message in enumerate(spec.messages)
    ]
    for tick in range(ticks):
        frames: list[Frame] = []
        if source.random() < trouble / 4:
            inputs = random_inputs(Bridge(spec), source)
        elif source.random() < trouble:
            inputs = Inputs(*inputs)  # an equal object that is not the same one
        for sender in senders:
            if tick < sender.due:
                continue
            sender.due = tick + sender.period
            if tick < sender.silent_until:
                continue
            frames += frames_of(spec, sender, source, tick, trouble)
        while source.random() < 0.3:
            frames.append(Frame(source.randrange(2), False, 0x7F3, b"\x01"))
        if source.random() < trouble and spec.transmits:
            frames.append(Frame(*source.choice(spec.transmits).key, bytes(8)))
        if source.random() < trouble and spec.messages:
            known = source.choice(spec.messages).key
            other = Bus.BODY if known.bus else Bus.ENGINE
            frames.append(Frame(other, known.extended, known.identifier, bytes(8)))
        if source.random() < 0.1:
            source.shuffle(frames)
        yield frames, inputs


def restless(steps: Iterable[Step], seed: int) -> Iterator[Step]:
    """Yield traffic in which switches, analogue inputs and the supply move all the time."""
    source = random.Random(seed)
    given = None
    for frames, inputs in steps:
        if inputs is not given:
            given = moved = inputs
        if moved.levels and source.random() < 0.02:
            place = source.randrange(len(moved.levels))
            levels = list(moved.levels)
            levels[place] = not levels[place]
            moved = moved._replace(levels=tuple(levels))
        if moved.counts and source.random() < 0.02:
            place = source.randrange(len(moved.counts))
            counts = list(moved.counts)
            counts[place] = min(max(counts[place] + source.randrange(-40, 41), 0), 65535)
            moved = moved._replace(counts=tuple(counts))
        if source.random() < 0.01:
            supply = source.choice((moved.supply_mv + 100, 6000, 9000, 13000, 15500, 17000))
            moved = moved._replace(supply_mv=supply)
        yield frames, moved


def frames_of(
    spec: BridgeSpec, sender: Sender, source: random.Random, tick: int, trouble: float
) -> list[Frame]:
    """Return what a sender puts on the bus: one frame, rarely none or several."""
    message = spec.messages[sender.message]
    signals = [
        signal
        for unit in message.units
        for number in spec.units[unit].sources
        if (signal := spec.sources[number].signal) is not None
    ]
    if signals and source.random() < 0.4:
        signal = source.choice(signals)
        raw = source.getrandbits(signal.length)
        if source.random() < 0.2:
            raw = source.choice((0, signal.mask, signal.mask - 1, signal.mask >> 1))
        sender.payload = insert(signal, sender.payload, raw)
    if message.selector is not None:
        choices = [low for unit in message.units for low, _ in spec.units[unit].selectors] or [0]
        raw = source.choice(choices)
        if source.random() < trouble:
            raw = source.getrandbits(message.selector.length)
        sender.payload = insert(message.selector, sender.payload, raw)
    if message.counter is not None:
        step = 1 if source.random() > trouble else source.randrange(4)
        sender.counter = (sender.counter + step) % message.counter.modulo
    data = seal(message.counter, message.checksum, sender.payload, sender.counter)
    if source.random() < trouble:
        kind = source.randrange(5)
        if kind == 0:
            data = data[: source.randrange(len(data) + 1)]
        elif kind == 1 and data:
            data = bytes((data[0] ^ 1,)) + data[1:]
        elif kind == 2:
            data = (data + bytes(8))[:8]
        elif kind == 3:
            sender.silent_until = tick + source.choice((30, 100, 400, 1200))
        else:
            return [Frame(*message.key, data)] * 2
    return [Frame(*message.key, data)]


def differences(plain: Bridge, fast: CompiledBridge) -> list[str]:
    """Return every state field that differs."""
    return [
        f"{path} is {actual}, expected {value}"
        for (path, _, value), (_, _, actual) in zip(plain.dump(), fast.dump(), strict=True)
        if value != actual
    ]


def run_beside(
    spec: BridgeSpec, steps: Iterable[Step], seed: int, restarts: bool = False
) -> tuple[int, int]:
    """Run both forms; return the ticks run and how many of them the generated text was at work.

    With `restarts` both are reset, or the fast form is put into the other's snapshot, now and then.
    """
    source = random.Random(seed)
    plain, fast = Bridge(spec), CompiledBridge(spec, calm_before_first=2)
    count = at_work = 0
    for tick, (frames, inputs) in enumerate(steps):
        for frame in frames:
            plain.receive(frame)
            fast.receive(frame)
        expected, actual = plain.tick(inputs), fast.tick(inputs)
        assert actual == expected, f"tick {tick}: {differences(plain, fast)}"
        at_work += fast.is_fast()
        count += 1
        if source.random() < 0.05:
            same = fast.digest() == plain.digest()
            assert same, f"tick {tick}: {differences(plain, fast)}"
        if restarts and source.random() < 0.002:
            restart(plain, fast, source)
            assert fast.image() == plain.image(), f"tick {tick}"
    assert fast.image() == plain.image(), differences(plain, fast)
    return count, at_work


def restart(plain: Bridge, fast: CompiledBridge, source: random.Random) -> None:
    """Reset both, or put both into a snapshot."""
    if source.random() < 0.3:
        cause = source.choice(tuple(ResetCause))
        kept = source.choice((None, plain.kept()))
        plain.reset(cause, kept)
        fast.reset(cause, kept)
        assert fast.now == plain.now == 0
    else:
        assert fast.kept() == plain.kept()
        image = plain.image()
        assert fast.image() == image
        plain.restore(image)
        fast.restore(image)
