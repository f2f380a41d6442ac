"""Speedometer accuracy of UN Regulation No. 39, from memory: 0 <= V1 - V2 <= V2 / 10 + 4 km/h.

V1 is the speed shown, V2 the true speed; the test speeds 40, 80 and 120 km/h are those of the
regulation's test for cars (from memory). A bench result is no approval.
"""

from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest

from xlate_core.functions import vehicle_speed
from xlate_core.functions.vehicle_speed import VehicleSpeedSpec
from xlate_core.pairing import Pairing, load
from xlate_core.power import PowerState
from xlate_core.quantities import ORIGIN_PRODUCED, VALID, QuantityState, QuantityStore

PAIRING = Path(__file__).parents[2] / "fixtures" / "pairings" / "instruments"


@cache
def pairing() -> Pairing:
    return load(PAIRING)


@pytest.mark.parametrize("true", [*range(1, 251)])
def test_the_shown_speed_lies_between_the_limits(true: int) -> None:
    model = pairing().spec
    spec = next(one for one in model.functions if isinstance(one, VehicleSpeedSpec))
    states = [QuantityState(value=one.initial) for one in model.quantities]
    store = QuantityStore(model.quantities, states)
    for wheel in spec.wheels:
        store.states[wheel] = QuantityState(true * 100, VALID, ORIGIN_PRODUCED)
    vehicle_speed.step(spec, vehicle_speed.initial(spec), store, PowerState())
    shown = Fraction(store[spec.shown].value, 2)  # steps of 0.5 km/h
    assert 0 <= shown - true <= Fraction(true, 10) + 4
