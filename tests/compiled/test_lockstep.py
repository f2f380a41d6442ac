"""The fast form is equal to the readable engine: random traffic on the project's own pairings."""

import dataclasses
import random
from collections import Counter

import pytest

from tests.compiled.lockstep import calm_stimulus, restless, run_beside
from tests.core.test_bridge import NAMES, PAIRINGS, bridge_of, random_inputs, random_stimulus
from xlate_core.bridge import Bridge, BridgeSpec, ResetCause
from xlate_core.buses import BusSpec
from xlate_core.compiled import CompiledBridge, engine_of
from xlate_core.compiled.bridge import UNTOLD, is_suited
from xlate_core.compiled.rest import Sleepers
from xlate_core.events import Event, Reason
from xlate_core.frames import Frame
from xlate_core.pairing import load
from xlate_core.protection import seal

TICKS = 4000


SUITED = [name for name in NAMES if is_suited(load(PAIRINGS / name).spec)]


def test_a_pairing_that_asks_for_more_runs_on_the_readable_engine() -> None:
    assert set(NAMES) - set(SUITED) == {"dairy_van", "long_nights"}
    assert isinstance(engine_of(load(PAIRINGS / "long_nights").spec), Bridge)
    spec = load(PAIRINGS / "long_nights").spec
    _, at_work = run_beside(spec, calm_stimulus(spec, 1, TICKS), 1)
    assert at_work == 0


def without_buses(spec: BridgeSpec) -> BridgeSpec:
    """The spec with its fault memory, without bus states and sleep."""
    power = dataclasses.replace(spec.power, sleep=None)
    faults = tuple(fault for fault in spec.faults if fault.bus < 0)
    buses = (BusSpec(), BusSpec())
    return dataclasses.replace(spec, power=power, faults=faults, buses=buses)


@pytest.mark.parametrize("seed", range(4))
def test_fault_memory(seed: int) -> None:
    spec = without_buses(load(PAIRINGS / "long_nights").spec)
    stimulus = calm_stimulus(spec, seed, TICKS, trouble=0.003)
    _, at_work = run_beside(spec, stimulus, seed, restarts=seed % 2 == 0)
    assert at_work > TICKS // 10


@pytest.mark.parametrize("name", SUITED)
@pytest.mark.parametrize("seed", range(4))
def test_ordinary_traffic_with_trouble_now_and_then(name: str, seed: int) -> None:
    spec = load(PAIRINGS / name).spec
    count, at_work = run_beside(spec, calm_stimulus(spec, seed, TICKS), seed)
    assert count == TICKS
    # Senders slower than a deadline keep the readable engine at work.
    assert at_work > TICKS // 50, "the generated text hardly ran"


@pytest.mark.parametrize("name", SUITED)
@pytest.mark.parametrize("seed", range(2))
def test_resets_and_snapshots(name: str, seed: int) -> None:
    spec = load(PAIRINGS / name).spec
    stimulus = calm_stimulus(spec, seed + 50, TICKS, trouble=0.001)
    _, at_work = run_beside(spec, stimulus, seed, restarts=True)
    assert at_work > 0


def test_an_observed_engine_is_the_readable_one() -> None:
    """Its observer is told of a frame when it comes; the fast form takes it in the next tick."""
    spec = load(PAIRINGS / "minimal").spec
    told: list[Event] = []
    assert isinstance(engine_of(spec, told.append), Bridge)
    assert isinstance(engine_of(spec), CompiledBridge)


@pytest.mark.parametrize("name", SUITED)
@pytest.mark.parametrize("seed", range(2))
def test_who_listens_for_a_while_is_told_what_the_readable_engine_tells(
    name: str, seed: int
) -> None:
    spec = load(PAIRINGS / name).spec
    wanted: list[Event] = []
    told: list[Event] = []
    plain, fast = Bridge(spec), CompiledBridge(spec, calm_before_first=2)
    at_work = of_events = 0
    for number, (frames, inputs) in enumerate(calm_stimulus(spec, seed + 70, TICKS, 0.01)):
        if number % 150 == 0:
            listens = number % 300 == 0
            plain.observe(wanted.append if listens else None)
            fast.observe(told.append if listens else None)
        for frame in frames:
            plain.receive(frame)
            fast.receive(frame)
            assert told == wanted
        assert fast.tick(inputs) == plain.tick(inputs)
        assert told == wanted
        assert not (fast.is_fast() and listens)
        if number % 50 == 49:
            assert fast.image() == plain.image()
        at_work += fast.is_fast()
        of_events += len(told)
        told.clear()
        wanted.clear()
    assert at_work > 0
    assert of_events > 0


@pytest.mark.parametrize("name", SUITED)
@pytest.mark.parametrize("seed", range(3))
def test_the_fast_form_tells_what_is_asked_of_it_in_its_tick(name: str, seed: int) -> None:
    spec = load(PAIRINGS / name).spec
    wanted: list[Event] = []
    told: list[Event] = []
    reasons = frozenset(Reason) - UNTOLD
    plain, fast = Bridge(spec, wanted.append), CompiledBridge(spec, calm_before_first=2)
    at_work = of_events = 0
    for number, (frames, inputs) in enumerate(calm_stimulus(spec, seed + 70, TICKS, 0.01)):
        if number % 100 == 0:
            fast.observe(told.append if number % 400 < 300 else None, reasons)
        plain.receive_all(frames)
        fast.receive_all(frames)
        assert fast.tick(inputs) == plain.tick(inputs)
        if number % 400 < 300:
            of_plain = Counter((one.reason, one.subject) for one in wanted)
            of_fast = Counter((one.reason, one.subject) for one in told)
            for reason, subject in of_plain | of_fast:
                if reason in reasons:
                    assert of_fast[reason, subject] == of_plain[reason, subject]
            at_work += fast.is_fast()
            of_events += of_fast.total() if fast.is_fast() else 0
        else:
            assert not told
        told.clear()
        wanted.clear()
    assert at_work > 0
    assert of_events > 0


def test_of_two_frames_in_a_tick_the_last_alone_is_seen() -> None:
    """A good value, and one that is none behind it: the quantity keeps the one before both."""
    spec = load(PAIRINGS / "instruments").spec
    (key,) = (one.key for one in spec.messages if one.name == "body.WHEELS")
    steps = []
    for tick, (frames, inputs) in enumerate(calm_stimulus(spec, 6, TICKS, trouble=0.0)):
        others = [one for one in frames if one[:3] != key]
        if tick % 10 == 0:
            others.append(Frame(*key, (1000 + tick).to_bytes(2, "little") * 4))
        if tick % 150 == 20:
            others.append(Frame(*key, b"\xfe" * 8))
        steps.append((others, inputs))
    _, at_work = run_beside(spec, steps, 6)
    assert at_work > TICKS // 50


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seed", range(2))
def test_hostile_traffic(name: str, seed: int) -> None:
    run_beside(load(PAIRINGS / name).spec, random_stimulus(bridge_of(name), seed, 1500), seed)


def test_traffic_that_is_never_out_of_the_ordinary_stays_in_the_generated_text() -> None:
    spec = load(PAIRINGS / "farm_pickup").spec
    _, at_work = run_beside(spec, calm_stimulus(spec, 9, TICKS, trouble=0.0), 9)
    assert at_work > TICKS // 2


@pytest.mark.parametrize("name", SUITED)
def test_pins_and_supply_that_move_and_frames_that_are_rejected(name: str) -> None:
    spec = load(PAIRINGS / name).spec
    stimulus = restless(calm_stimulus(spec, 11, TICKS // 2, trouble=0.002), 11)
    _, at_work = run_beside(spec, stimulus, 11)
    assert at_work > TICKS // 50, "the generated text hardly ran"


@pytest.mark.parametrize("missing", [1, 0], ids=["short", "wrong"])
def test_what_is_only_counted_or_read_leaves_the_generated_text_at_work(missing: int) -> None:
    spec = load(PAIRINGS / "minimal").spec
    fast = CompiledBridge(spec, calm_before_first=2)
    for frames, inputs in calm_stimulus(spec, 3, 1000, trouble=0.0):
        fast.receive_all(frames)
        fast.tick(inputs)
    assert fast.is_fast()
    message = spec.messages[0]
    fast.receive(Frame(*message.key, bytes(message.length - missing)))
    level = not inputs.levels[0]
    fast.tick(inputs._replace(levels=(level, *inputs.levels[1:]), supply_mv=inputs.supply_mv + 1))
    assert fast.is_fast()


def test_frames_that_are_rejected_wake_a_fault_that_rests() -> None:
    spec = load(PAIRINGS / "minimal").spec
    plain, fast = Bridge(spec), CompiledBridge(spec, calm_before_first=2)
    message = spec.messages[0]
    inputs = random_inputs(plain, random.Random(2))
    assert any(fault.message == 0 for fault in spec.faults)
    for tick in range(1400):
        counter = tick // 2 % 16
        payload = seal(message.counter, message.checksum, bytes(message.length), counter)
        frames = [Frame(*message.key, payload)] if tick % 2 == 0 else []
        bad = [Frame(*message.key, bytes(message.length))] if 1300 <= tick < 1330 else []
        for engine in (plain, fast):
            engine.receive_all([*frames, *bad])
        if tick == 1300:
            assert fast.is_fast()
            assert not resting_control(fast).control_awake
        assert fast.tick(inputs) == plain.tick(inputs)
        if tick == 1330:
            assert any(state.matured for state in plain.control.faults)
        if tick >= 1300:
            assert fast.image() == plain.image()


def resting_control(fast: CompiledBridge) -> Sleepers:
    """Who is at rest in the fast form."""
    assert fast._support is not None
    return fast._support.sleepers


def test_the_readable_engine_on_request() -> None:
    spec = load(PAIRINGS / "minimal").spec
    assert isinstance(engine_of(spec, plain=True), Bridge)
    assert isinstance(engine_of(spec), CompiledBridge)


def test_the_number_of_the_next_tick() -> None:
    spec = load(PAIRINGS / "farm_pickup").spec
    fast = CompiledBridge(spec, calm_before_first=2)
    for tick, (frames, inputs) in enumerate(calm_stimulus(spec, 3, 1500, trouble=0.0)):
        assert fast.now == tick
        fast.receive_all(frames)
        fast.tick(inputs)
    fast.reset(ResetCause.COMMANDED)
    assert fast.now == 0
    plain = Bridge(spec)
    plain.reset(ResetCause.COMMANDED)  # a pairing with kept memory notes the cause
    assert fast.image() == plain.image()
