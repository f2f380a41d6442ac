"""Ways that matter only elsewhere than at plain rest: the functions alone, the search, the rig."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from hil.vectors.names import names_of
from tools.timing import situations
from tools.timing.bounds import Bounds
from tools.timing.carrying import Asked, carries
from tools.timing.changes import effects, moves_by_itself
from tools.timing.desk import Desk
from tools.timing.observation import Observed, observe
from tools.timing.paths import Path as Way
from tools.timing.paths import paths
from tools.timing.resting import resting_values
from tools.timing.rig import Rig
from tools.timing.situations import explore, groups
from tools.timing.trials import Change, Stage
from xlate_core.functions.air_conditioning import AirConditioningSpec
from xlate_core.functions.cooling_fan import CoolingFanSpec
from xlate_core.functions.torque_request import TorqueRequestSpec
from xlate_core.pairing import Pairing, load
from xlate_core.quantities import VALID

PAIRINGS = Path(__file__).resolve().parents[2] / "fixtures" / "pairings"
CLUTCH = "body.CABIN.ClutchPressed"
SPEED = "engine.ENGINE_STATE.Speed"
BUTTON = "input.start_button"
CRANKING = tuple(
    Stage((Change(name, value),), ms)
    for name, value, ms in ((SPEED, 0, 500), (CLUTCH, 1, 500), (BUTTON, 1, 2500))
)


@pytest.fixture(scope="module")
def wiring(tmp_path_factory: pytest.TempPathFactory) -> Pairing:
    """A pairing whose starter cranks long enough to be looked at."""
    folder = tmp_path_factory.mktemp("wiring")
    for name in ("bridge.toml", "body.dbc", "engine.dbc"):
        text = (PAIRINGS / "wiring" / name).read_text(encoding="utf-8")
        long = text.replace("max_crank_ms = 40\n", "max_crank_ms = 10000\n")
        assert (long != text) is (name == "bridge.toml")
        (folder / name).write_text(long, encoding="utf-8")
    return load(folder)


@pytest.fixture(scope="module")
def rig(wiring: Pairing) -> Rig:
    """It at plain rest."""
    return Rig(wiring)


@pytest.fixture(scope="module")
def starter_ways(wiring: Pairing) -> list[Way]:
    """The ways through its starter."""
    return [way for way in paths(wiring) if way.functions == ("starter",)]


def test_a_rig_goes_on_from_rest_and_leaves_the_first_where_it_is(rig: Rig) -> None:
    cranking = rig
    for stage in CRANKING:
        cranking = cranking.onward(stage)
    assert dict(cranking.pins)["starter_relay"] == 1
    assert dict(rig.pins)["starter_relay"] == 0
    assert cranking.resting == CRANKING
    anew = Rig(rig.pairing, CRANKING)
    assert (anew.snapshot, anew.first_tick) == (cranking.snapshot, cranking.first_tick)
    rig.at_rest()
    assert rig.bridge.image() == rig.snapshot


def test_a_sender_that_fell_silent_stays_so(rig: Rig) -> None:
    silent = rig.onward(Stage((Change("engine.ENGINE_STATE"),), 500))
    assert silent.senders()["engine.ENGINE_STATE"].silent
    assert not rig.senders()["engine.ENGINE_STATE"].silent


def test_the_functions_alone_do_what_they_do_in_the_rig(rig: Rig) -> None:
    desk = Desk(rig, {"starter"}, ())
    now, there = desk.plain, rig
    for stage in CRANKING:
        now, there = desk.after(now, stage), there.onward(stage)
    index = next(i for i, one in enumerate(rig.pairing.spec.functions) if one.name == "starter")
    there.at_rest()
    inside = there.readable.control.functions[index]
    alone = now.functions[index]
    assert (alone.cranking, alone.outcome) == (inside.cranking, inside.outcome) == (True, 1)
    assert desk.standing(now) != desk.standing(desk.plain)
    assert not desk.plain.functions[index].cranking


def test_the_functions_alone_see_a_loss(rig: Rig) -> None:
    desk = Desk(rig, {"starter"}, ())
    lost = desk.after(desk.plain, Stage((Change("engine.ENGINE_STATE"),), 500))
    speed = rig.pairing.spec.power.engine_speed
    assert lost.store.states[speed].status != VALID
    again = desk.after(lost, Stage((Change(SPEED, 0),), 500))
    assert again.store.states[speed] == lost.store.states[speed]


def test_what_moves_by_itself_is_told_with_its_time(rig: Rig) -> None:
    cranking = rig
    for stage in CRANKING:
        cranking = cranking.onward(stage)
    assert not moves_by_itself(cranking, 5000)
    moved = moves_by_itself(cranking, 9000)
    assert 7000 < moved["output.starter_relay"] < 8000


def test_all_ways_of_the_starter_are_found_and_the_same_again(
    rig: Rig, starter_ways: list[Way]
) -> None:
    (group,) = groups(starter_ways)
    assert set(group) == set(starter_ways)
    bounds = Bounds(rig.pairing, rig.starts)
    for way in starter_ways:
        assert not effects(rig, bounds, way.source, [way]), way.name
    found = explore(rig, group, paths(rig.pairing), 1)
    assert {one.way for one in found} == set(starter_ways)
    assert all(one.resting for one in found)
    assert explore(rig, group, paths(rig.pairing), 1) == found


@pytest.fixture(scope="module")
def seen(wiring: Pairing, starter_ways: list[Way]) -> dict[str, Observed]:
    """The ways of the starter, observed."""
    said: list[str] = []
    wanted = set(starter_ways).__contains__
    found = list(observe(wiring, 2, 1, lambda *words: said.append(words[2]), wanted))
    assert any("other situations" in line for line in said)
    return {one.path.name: one for one in found}


def test_ways_found_elsewhere_are_observed_there_within_their_bounds(
    seen: dict[str, Observed], starter_ways: list[Way]
) -> None:
    assert seen.keys() == {way.name for way in starter_ways}
    for one in seen.values():
        assert one.bound is not None
        assert one.resting, one.path.name
        assert one.reactions, one.path.name
        share = Fraction(max(one.reactions), 1000) / one.bound.us
        assert Fraction(4, 5) <= share <= 1, one.path.name


def test_a_way_that_shows_nowhere_keeps_a_reason(
    wiring: Pairing, starter_ways: list[Way], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(situations, "TRIES", 1)
    way = starter_ways[0]
    (one,) = observe(wiring, 1, 1, lambda *_: None, lambda other: other == way)
    assert not one.reactions
    assert "moved its output through starter in any situation" in one.reason


def test_a_part_of_the_data_id_rests_at_what_it_has_to_be() -> None:
    pairing = load(PAIRINGS / "dairy_van")
    values = resting_values(pairing, names_of(pairing).received["engine.GEAR"])
    assert values["IdHigh"] == 0x5
    assert values["Engaged"] == 3  # a quarter of 0..15


def only(kind: type) -> Any:
    """Return the only function of a kind in the farm pickup."""
    (spec,) = (
        one for one in load(PAIRINGS / "farm_pickup").spec.functions if isinstance(one, kind)
    )
    return spec


def test_what_a_torque_request_carries() -> None:
    spec = only(TorqueRequestSpec)
    assert not carries(spec, Asked(spec.request, spec.carried_active, by_value=True))
    assert carries(spec, Asked(spec.request, spec.carried_active))
    assert carries(spec, Asked(spec.request, spec.carried, by_value=True))
    assert not carries(spec, Asked(spec.actual, spec.carried))
    assert carries(spec, Asked(spec.friction, spec.answer))
    assert not carries(spec, Asked(spec.maximum, spec.answer))
    other = replace(spec, increase=True)
    assert carries(other, Asked(spec.maximum, spec.answer))
    assert not carries(other, Asked(spec.friction, spec.answer))


def test_a_fan_stage_depends_on_the_wishes_that_reach_it() -> None:
    spec = only(CoolingFanSpec)
    demand = spec.demand
    first, second = (one.output for one in spec.stages)
    assert carries(spec, Asked(demand.road_speed, first))
    assert not carries(spec, Asked(demand.road_speed, second))
    assert carries(spec, Asked(spec.coolant, second))
    assert carries(spec, Asked(demand.pressures[0].quantity, second))
    assert carries(spec, Asked(demand.inhibit_supply, second))


def test_a_compressor_that_stops_without_the_pressure_asks_for_its_own_stage_alone() -> None:
    spec, cooler = only(CoolingFanSpec), only(AirConditioningSpec)
    compressor = spec.demand.compressor
    first, second = (one.output for one in spec.stages)
    assert carries(spec, Asked(compressor, second))
    assert carries(spec, Asked(compressor, first, before=(cooler,)))
    assert not carries(spec, Asked(compressor, second, before=(cooler,)))
    blind = replace(cooler, windows=())
    assert carries(spec, Asked(compressor, second, before=(blind,)))


def way_of(pairing: Pairing, name: str) -> Way:
    """The way of a name."""
    return next(one for one in paths(pairing) if one.name == name)


def test_a_debounce_is_told_in_control_ticks_where_nothing_is_refused() -> None:
    """The cruise buttons are debounced for 20 ms; the stalk sends every 50 ms."""
    pairing = load(PAIRINGS / "farm_pickup")
    plain = Rig(pairing)
    way = way_of(pairing, "body.STALK.CruiseMain -> engine.DRIVER_WISH.CruiseCondition")
    bounds = Bounds(pairing, plain.starts)
    found = effects(plain, bounds, way.source, [way], [Change(way.source, 1)])
    assert found[way.target].own == 20


def test_the_time_of_a_function_is_told_though_source_and_sent_message_keep_step() -> None:
    """The oil lamp waits 6 ms; its pressure comes every 4 ms, the lamps are sent every 4 ms."""
    pairing = load(PAIRINGS / "instruments")
    plain = Rig(pairing)
    way = way_of(pairing, "engine.WARMTH.OilPressure -> body.LAMPS.OilPressure")
    bounds = Bounds(pairing, plain.starts)
    assert bounds.pattern(way) == bounds.period_ticks("engine.WARMTH") == 4
    found = effects(plain, bounds, way.source, [way], [Change(way.source, 0)])
    assert found[way.target].own == 6
