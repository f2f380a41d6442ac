"""Steps written down as text do what the readable steps do, whatever they are given."""

import random
from types import SimpleNamespace
from typing import Any

import pytest

from tests.compiled.lockstep import calm_stimulus, run_beside
from tests.core.test_bridge import NAMES, PAIRINGS
from xlate_core.bridge import Bridge
from xlate_core.compiled import following
from xlate_core.compiled.following import Mover, Tree
from xlate_core.compiled.program import functions_of
from xlate_core.compiled.text import Text
from xlate_core.compiled.tracing import UntraceableError
from xlate_core.compiled.written import Condition, Notes, Written
from xlate_core.functions import FUNCTIONS
from xlate_core.pairing import load
from xlate_core.power import PowerMode
from xlate_core.quantities import ORIGIN_HELD, ORIGIN_PRODUCED, Status

ORIGINS = (0, 1, ORIGIN_PRODUCED, ORIGIN_HELD)


@pytest.fixture
def eager(monkeypatch: pytest.MonkeyPatch) -> None:
    """Write every way the first time it is gone."""
    monkeypatch.setattr(following, "RUNS_BEFORE", 0)
    monkeypatch.setattr(following, "RUNS_BETWEEN", 0)
    monkeypatch.setattr(following, "MOST_WAYS", 64)


def move(bridges: tuple[Bridge, Bridge], source: random.Random) -> None:
    """Change a few quantities and now and then the power mode, in both engines alike."""
    specs = bridges[0].spec.quantities
    wild = source.random() < 0.1
    for _ in range(source.randrange(4)):
        index = source.randrange(len(specs))
        spec, state = specs[index], bridges[0].common.store.states[index]
        span = spec.high - spec.low
        near = state.value + source.randint(-span // 100 - 1, span // 100 + 1)
        value = source.randint(spec.low, spec.high) if wild else near
        value = min(max(value, spec.low), spec.high)
        status, origin = state.status, state.origin
        if wild or not source.randrange(20):
            status, origin = int(source.choice(tuple(Status))), source.choice(ORIGINS)
        elif not source.randrange(3):
            status, origin = int(Status.VALID), 0
        for bridge in bridges:
            told = bridge.common.store.states[index]
            told.value, told.status, told.origin = value, status, origin
    if not source.randrange(50):
        mode = int(source.choice(tuple(PowerMode)))
        for bridge in bridges:
            bridge.control.power.mode = mode


@pytest.mark.parametrize("name", NAMES)
def test_every_function_goes_its_ways(name: str, eager: None) -> None:
    spec = load(PAIRINGS / name).spec
    source = random.Random(name)
    ours, plain = bridges = (Bridge(spec), Bridge(spec))
    movers = [Mover(ours, number) for number in range(len(spec.functions))]
    for run in range(600):
        move(bridges, source)
        for number, mover in enumerate(movers):
            step: Any = FUNCTIONS[type(spec.functions[number])][1]
            state = plain.control.functions[number]
            expected = step(spec.functions[number], state, plain.common.store, plain.control.power)
            assert bool(mover.run()) == bool(expected), (run, spec.functions[number].name)
            assert ours.control.functions[number] == state, (run, spec.functions[number].name)
            assert ours.common.store.states == plain.common.store.states, (run, number)
            assert ours.common.store.changed == plain.common.store.changed, (run, number)
        for bridge in bridges:
            bridge.common.store.changed.clear()
    if name == "farm_pickup":
        assert any(mover.tree.condition or mover.tree.lines for mover in movers)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("name", ["farm_pickup", "orchard_hauler"])
def test_the_whole_engine_with_every_way_written(name: str, seed: int, eager: None) -> None:
    spec = load(PAIRINGS / name).spec
    run_beside(spec, calm_stimulus(spec, seed, 3000, trouble=0.0005), seed, restarts=True)


def test_a_function_of_too_many_ways_runs_as_it_stands(
    eager: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(following, "MOST_WAYS", 2)
    spec = load(PAIRINGS / "farm_pickup").spec
    ours, plain = bridges = (Bridge(spec), Bridge(spec))
    movers = [Mover(ours, number) for number in range(len(spec.functions))]
    source = random.Random(1)
    for _ in range(200):
        move(bridges, source)
        for number, mover in enumerate(movers):
            one: Any = spec.functions[number]
            state, power = plain.control.functions[number], plain.control.power
            FUNCTIONS[type(one)][1](one, state, plain.common.store, power)
            mover.run()
            assert ours.control.functions[number] == state
    assert any(mover.written == 3 and mover.ways() is None for mover in movers)


def test_what_is_done_with_a_number_is_noted() -> None:
    notes = Notes()
    number = notes.work_out("q.value", -7)
    assert 0 <= (3 - number) * 2 // 4 <= 9
    assert notes.lines == [
        "v0 = q.value",
        "v1 = 3 - v0",
        "v2 = v1 * 2",
        "v3 = v2 // 4",
        Condition("v3 >= 0", True),
        Condition("v3 <= 9", True),
    ]


def test_a_table_pins_a_number_and_a_stranger_is_not_followed() -> None:
    notes = Notes()
    number = notes.work_out("q.value", 2)
    assert (10, 20, 30)[number] == 30
    assert notes.lines[-1] == Condition("v0 == 2", True)
    with pytest.raises(UntraceableError):
        _ = number + 0.5  # type: ignore[operator]
    assert isinstance(abs(notes.work_out("q.other", -2)), Written)


def test_ways_share_their_beginning() -> None:
    tree = Tree()
    low, high = Condition("v0 < 5", True), Condition("v0 < 5", False)
    assert tree.add(["v0 = a", low], ("return True",))
    text = Text()
    tree.write(text)
    assert text.lines == ["v0 = a", "if not v0 < 5: return None", "return True"]
    assert tree.add(["v0 = a", high, "v1 = v0 + 1"], ("return False",))
    text = Text()
    assert tree.write(text) == 1
    assert text.whole() == ("v0 = a\nif v0 < 5:\n    return True\nv1 = v0 + 1\nreturn False\n")
    assert not tree.add(["v0 = b", high], ("return False",))


def test_ways_of_one_value_each_stand_one_behind_the_other() -> None:
    tree = Tree()
    for value in (0, 2, 1):
        assert tree.add([Condition(f"q.status == {value}", True)], (f"return {value > 0}",))
    assert not tree.add([Condition("q.origin == 0", True)], ("return True",))
    text = Text()
    tree.write(text)
    ways = functions_of(_defined(text))["ways"]
    for status, expected in ((0, False), (1, True), (2, True), (3, None)):
        assert ways(SimpleNamespace(status=status)) is expected


def _defined(body: Text) -> Text:
    text = Text()
    with text.block("def ways(q):"):
        text.add(*body.lines)
    return text
