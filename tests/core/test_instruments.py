"""Vehicle speed on wheels drawn at random: never under the true speed; the one division upwards."""

import random
from fractions import Fraction
from math import ceil

from xlate_core.arithmetic import divide_up
from xlate_core.functions import vehicle_speed
from xlate_core.functions.vehicle_speed import VehicleSpeedSpec
from xlate_core.power import PowerState
from xlate_core.quantities import (
    ORIGIN_NOT_AVAILABLE,
    ORIGIN_PRODUCED,
    VALID,
    QuantitySpec,
    QuantityState,
    QuantityStore,
    Status,
    usable,
)

WHEELS = (0, 1, 2, 3)
SPEED, SHOWN = 4, 5
HIGHEST = 30_000  # hundredths of km/h


def spec(least: int = 2, spread: int = 100, permille: int = 50) -> VehicleSpeedSpec:
    """Return four wheels in 0.01 km/h, shown in 0.5 km/h, 3 % and 1 km/h ahead."""
    return VehicleSpeedSpec(
        name="speed",
        wheels=WHEELS,
        output=SPEED,
        shown=SHOWN,
        least=least,
        spread=spread,
        spread_permille=permille,
        disagree=3,
        hold=0,
        on_loss=0,
        shown_on_loss=0,
        a=103,
        b=10_000,
        d=5_000,
    )


def store_of(values: list[int | None]) -> QuantityStore:
    """Return a store with the wheels' values, None for a wheel that is not available."""
    specs = tuple(
        QuantitySpec(f"q{index}", 0, 40_000, (), 0, None, 0, 0, (), False) for index in range(6)
    )
    states = [
        QuantityState(0, int(Status.NOT_AVAILABLE), ORIGIN_NOT_AVAILABLE)
        if value is None
        else QuantityState(value, VALID, ORIGIN_PRODUCED)
        for value in values
    ]
    return QuantityStore(specs, [*states, QuantityState(), QuantityState()])


def test_two_honest_wheels_are_never_undercut() -> None:
    """Whatever the other two say: locked, spinning, gone."""
    source = random.Random(39)
    lost = over = 0
    for _ in range(20_000):
        true = source.randrange(HIGHEST)
        honest = [true, max(true - source.randrange(100), 0)]
        others = [source.choice((None, 0, source.randrange(HIGHEST), true)) for _ in range(2)]
        wheels: list[int | None] = [*honest, *others]
        source.shuffle(wheels)
        store = store_of(wheels)
        own = spec()
        vehicle_speed.step(own, vehicle_speed.initial(own), store, PowerState())
        assert usable(store[SPEED])
        assert store[SPEED].value >= true
        least_shown = Fraction(true, 100) * Fraction(103, 100) + 1 if true else 0
        assert Fraction(store[SHOWN].value, 2) >= least_shown
        lost += others.count(None)
        over += store[SPEED].value > true
    assert lost > 1000
    assert over > 100


def test_one_spinning_wheel_is_never_believed() -> None:
    source = random.Random(40)
    for _ in range(5000):
        true = source.randrange(HIGHEST // 2)
        spinning = true + 101 + true // 10 + source.randrange(HIGHEST // 3)
        wheels: list[int | None] = [true, true, true, spinning]
        source.shuffle(wheels)
        store = store_of(wheels)
        own = spec()
        vehicle_speed.step(own, vehicle_speed.initial(own), store, PowerState())
        assert store[SPEED].value == true


def test_one_wheel_is_enough_where_the_pairing_says_so() -> None:
    store = store_of([None, None, 4711, None])
    own = spec(least=1)
    assert not vehicle_speed.step(own, vehicle_speed.initial(own), store, PowerState())
    assert (store[SPEED].value, store[SPEED].status) == (4711, VALID)


def test_rounding_up_is_that_of_exact_numbers() -> None:
    source = random.Random(41)
    for _ in range(5000):
        numerator = source.randrange(-(10**12), 10**12)
        denominator = source.choice((1, 2, 3, 7, 1000, 10**9))
        assert divide_up(numerator, denominator) == ceil(Fraction(numerator, denominator))
