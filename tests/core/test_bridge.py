"""The engine as a whole, on the minimal pairing: image, snapshot, rejection, shortcuts."""

import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from xlate_core.bridge import Bridge, Inputs, Outputs, ResetCause
from xlate_core.buses import BusInput
from xlate_core.events import Event, Reason
from xlate_core.frames import Bus, Frame
from xlate_core.pairing import load
from xlate_core.protection import ChecksumSpec, CounterSpec, seal
from xlate_core.state_image import ImageError

PAIRINGS = Path(__file__).parents[2] / "fixtures" / "pairings"
NAMES = tuple(sorted(path.parent.name for path in PAIRINGS.glob("*/bridge.toml")))


def bridge_of(name: str, events: list[Event] | None = None) -> Bridge:
    return Bridge(load(PAIRINGS / name).spec, None if events is None else events.append)


def random_inputs(bridge: Bridge, source: random.Random) -> Inputs:
    pins = bridge.spec.pins
    return Inputs(
        tuple(source.random() < 0.7 for _ in pins.levels),
        tuple(source.randrange(4096) for _ in pins.analogues),
        (),
        source.choice((8000, 12000, 14000)),
        (random_bus(bridge, source), random_bus(bridge, source)),
    )


def random_bus(bridge: Bridge, source: random.Random) -> BusInput:
    """What a bus controller tells; always good where the pairing does not look."""
    if not bridge.spec.watches_buses or source.random() < 0.6:
        return BusInput()
    counts = (source.choice((0, 0, 1)), source.choice((0, 0, 1, 3)), source.choice((0, 0, 0, 1)))
    return BusInput(source.choice((0, 0, 1, 2)), *counts)


def random_stimulus(bridge: Bridge, seed: int, ticks: int) -> Iterator[tuple[list[Frame], Inputs]]:
    """Yield frames and inputs per tick: valid, short, corrupt, repeated, foreign, own."""
    source = random.Random(seed)
    inputs = random_inputs(bridge, source)
    counters = dict.fromkeys(range(len(bridge.spec.messages)), 0)
    for _ in range(ticks):
        frames = []
        if source.random() < 0.03:
            inputs = random_inputs(bridge, source)
        elif source.random() < 0.5:
            inputs = Inputs(*inputs)  # an equal object that is not the same one
        for index, message in enumerate(bridge.spec.messages):
            if source.random() > 0.2:
                continue
            data = source.choice((source.randbytes(8), bytes(8)))[: message.length]
            if message.counter is not None:
                counters[index] = (counters[index] + source.choice((1, 1, 1, 0, 5))) % (
                    message.counter.modulo
                )
            data = seal(message.counter, message.checksum, data, counters[index])
            if source.random() < 0.1:
                data = data[: source.randrange(message.length + 1)]
            if source.random() < 0.05 and data:
                data = bytes((data[0] ^ 1,)) + data[1:]
            frames.append(Frame(*message.key, data))
        if source.random() < 0.05:
            frames.append(Frame(Bus.BODY, False, 0x7F3, b"\x01"))
        if source.random() < 0.05 and bridge.spec.transmits:
            frames.append(Frame(*source.choice(bridge.spec.transmits).key, bytes(8)))
        source.shuffle(frames)
        yield frames, inputs


def step(bridge: Bridge, frames: list[Frame], inputs: Inputs) -> Outputs:
    for frame in frames:
        bridge.receive(frame)
    return bridge.tick(inputs)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seed", range(3))
def test_shortcuts_change_speed_never_a_result(name: str, seed: int) -> None:
    quick, thorough = bridge_of(name), bridge_of(name)
    for frames, inputs in random_stimulus(quick, seed, 600):
        expected = step(quick, frames, inputs)
        for frame in frames:
            thorough.receive(frame)
        thorough.look_at_everything()
        assert thorough.tick(inputs) == expected
        assert thorough.digest() == quick.digest()


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seed", range(3))
def test_a_restored_snapshot_goes_on_like_the_original(name: str, seed: int) -> None:
    original = bridge_of(name)
    copy: Bridge | None = None
    for tick, (frames, inputs) in enumerate(random_stimulus(original, seed + 100, 600)):
        if tick % 97 == 50:
            copy = bridge_of(name)
            copy.restore(original.image())
            assert copy.image() == original.image()
        expected = step(original, frames, inputs)
        if copy is not None:
            assert step(copy, frames, inputs) == expected
            assert copy.image() == original.image()
    assert copy is not None
    assert copy.dump() == original.dump()


@pytest.mark.parametrize("name", NAMES)
def test_reset_gives_the_declared_reset_values(name: str) -> None:
    bridge = bridge_of(name)
    fresh = bridge.image()
    for path, field, value in bridge.dump():
        if field.reset is not None and not path.endswith((".started", ".stopped", ".due_in")):
            assert value == field.reset, path
    for frames, inputs in random_stimulus(bridge, 7, 300):
        step(bridge, frames, inputs)
    assert bridge.image() != fresh
    bridge.reset(ResetCause.POWER_ON)
    assert bridge.image() == fresh
    assert bridge.now == 0


def test_a_snapshot_of_another_length_is_refused() -> None:
    bridge = bridge_of("minimal")
    with pytest.raises(ImageError, match="expected"):
        bridge.restore(bridge.image() + b"\0")


def sealed(bridge: Bridge, data: bytes, counter: int) -> Frame:
    message = bridge.spec.messages[0]
    assert isinstance(message.counter, CounterSpec)
    assert isinstance(message.checksum, ChecksumSpec)
    return Frame(*message.key, seal(message.counter, message.checksum, data, counter))


@pytest.mark.parametrize(
    ("reason", "allowed"),
    [
        (Reason.FRAME_UNKNOWN, {"bus.body.unknown"}),
        (Reason.SECOND_SENDER, {"bus.body.second_sender"}),
        (Reason.FRAME_SHORT, {"message.engine.STATE.short", "message.engine.STATE.bad"}),
        (
            Reason.CHECKSUM_WRONG,
            {"message.engine.STATE.checksum_wrong", "message.engine.STATE.bad"},
        ),
        (
            Reason.COUNTER_WRONG,
            {
                "message.engine.STATE.counter_wrong",
                "message.engine.STATE.bad",
                "message.engine.STATE.reference",
            },
        ),
    ],
)
def test_a_rejected_frame_changes_its_count_only(reason: Reason, allowed: set[str]) -> None:
    events: list[Event] = []
    bridge = bridge_of("minimal", events)
    on = Inputs((True,))
    for counter in range(6):
        step(bridge, [sealed(bridge, bytes((0, 16, 120, 0, 0, 0)), counter)], on)
    good = sealed(bridge, bytes((9, 9, 9, 9, 0, 0)), 6)
    bad = {
        Reason.FRAME_UNKNOWN: Frame(Bus.BODY, True, 0x120, b""),
        Reason.SECOND_SENDER: Frame(*bridge.spec.transmits[0].key, bytes(6)),
        Reason.FRAME_SHORT: good._replace(data=good.data[:-1]),
        Reason.CHECKSUM_WRONG: good._replace(data=good.data[:-1] + b"\0"),
        Reason.COUNTER_WRONG: sealed(bridge, bytes((9, 9, 9, 9, 0, 0)), 12),
    }[reason]
    events.clear()
    before = {path: value for path, _, value in bridge.dump()}
    bridge.receive(bad)
    after = {path: value for path, _, value in bridge.dump()}
    changed = {path for path in after if after[path] != before[path]}
    assert changed == allowed
    assert [event.reason for event in events] == [reason]


def test_an_idle_tick_only_advances_ages() -> None:
    bridge = bridge_of("minimal")
    bridge.tick(Inputs((False,)))
    ages = {path: value for path, _, value in bridge.dump()}
    for elapsed in range(1, 9):
        bridge.tick(Inputs((False,)))
        for path, _, value in bridge.dump():
            if path.endswith(".age"):
                assert value == ages[path], "not supervised with the key off: frozen"
            if path.endswith("GAUGE.gap") and value != 0xFFFFFFFF:
                assert value <= elapsed


def test_an_observer_costs_nothing_when_absent_and_changes_nothing_when_present() -> None:
    events: list[Event] = []
    watched, plain = bridge_of("farm_pickup", events), bridge_of("farm_pickup")
    for frames, inputs in random_stimulus(plain, 3, 400):
        assert step(watched, frames, inputs) == step(plain, frames, inputs)
    assert watched.image() == plain.image()
    assert len({event.reason for event in events}) >= 10
