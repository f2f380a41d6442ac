"""Every state of the smallest pairing with timers of at most 3 ticks."""

from dataclasses import replace

import pytest

from tools.failsafe.exhausting import PAIRING, REQUIREMENTS, Explored, explore, words
from xlate_core.functions.cooling_fan import CoolingFanSpec
from xlate_core.functions.fuel_pump import FuelPumpSpec
from xlate_core.interface import BridgeSpec
from xlate_core.pairing import load

pytestmark = [pytest.mark.slow, pytest.mark.long(20)]


@pytest.fixture(scope="module")
def spec() -> BridgeSpec:
    return load(PAIRING).spec


@pytest.fixture(scope="module")
def found(spec: BridgeSpec) -> Explored:
    return explore(spec)


def test_every_requirement_holds_in_every_state(found: Explored) -> None:
    assert found.broken == []
    assert found.states > found.images > 100
    assert found.transitions == found.states * found.letters
    assert all(found.held[one.name] > 0 for one in REQUIREMENTS)
    assert "states" in words(found)[0]


def test_states_that_fall_together_do_the_same(found: Explored) -> None:
    assert found.checked > 0
    assert found.different == 0


@pytest.mark.parametrize(
    ("kind", "changes", "requirement"),
    [
        (CoolingFanSpec, {"on_loss_stage": 0}, "FAN-ON"),
        (FuelPumpSpec, {"off_delay": 9}, "PUMP-OFF"),
    ],
)
def test_a_broken_setting_is_found_with_a_way_to_it(
    spec: BridgeSpec, kind: type, changes: dict[str, int], requirement: str
) -> None:
    functions = tuple(
        replace(one, **changes) if isinstance(one, kind) else one  # type: ignore[arg-type]
        for one in spec.functions
    )
    broken = explore(replace(spec, functions=functions), most_broken=1).broken
    assert [one.requirement for one in broken] == [requirement]
    assert broken[0].way
