"""Conditions at their edges (rules 3 and 7)."""

import pytest

from xlate_core.conditions import ComparisonSpec, ConditionSpec, Operator, compare, holds
from xlate_core.power import PowerMode
from xlate_core.quantities import QuantityState, QuantityStore, Status

NOTHING = ConditionSpec("nothing", (), None, 0, ())


def store(value: int, status: Status = Status.VALID) -> QuantityStore:
    return QuantityStore((), [QuantityState(value, int(status))])


@pytest.mark.parametrize(
    ("operator", "below", "equal", "above"),
    [
        (Operator.EQUAL, False, True, False),
        (Operator.NOT_EQUAL, True, False, True),
        (Operator.LESS, True, False, False),
        (Operator.LESS_OR_EQUAL, True, True, False),
        (Operator.GREATER, False, False, True),
        (Operator.GREATER_OR_EQUAL, False, True, True),
    ],
)
def test_comparison(operator: Operator, below: bool, equal: bool, above: bool) -> None:
    for limit in (-5, 0, 7):
        assert compare(limit - 1, operator, limit) is below
        assert compare(limit, operator, limit) is equal
        assert compare(limit + 1, operator, limit) is above


def test_a_condition_without_terms_holds() -> None:
    assert holds(NOTHING, 0, PowerMode.OFF, 0, store(0))


@pytest.mark.parametrize(("tick", "expected"), [(0, False), (499, False), (500, True)])
def test_start_up_time(tick: int, expected: bool) -> None:
    spec = ConditionSpec("started", (), None, 500, ())
    assert holds(spec, tick, PowerMode.OFF, 0, store(0)) is expected


@pytest.mark.parametrize(
    ("supply_mv", "expected"),
    [(8999, False), (9000, True), (16000, True), (16001, False)],
)
def test_both_ends_of_the_supply_window_belong_to_it(supply_mv: int, expected: bool) -> None:
    spec = ConditionSpec("supplied", (), (9000, 16000), 0, ())
    assert holds(spec, 0, PowerMode.OFF, supply_mv, store(0)) is expected


@pytest.mark.parametrize("mode", PowerMode)
def test_power_modes(mode: PowerMode) -> None:
    wanted = (PowerMode.IGNITION_ON, PowerMode.RUNNING)
    spec = ConditionSpec("on", tuple(map(int, wanted)), None, 0, ())
    assert holds(spec, 0, mode, 0, store(0)) is (mode in wanted)


@pytest.mark.parametrize("status", Status)
def test_only_a_lost_term_counts_as_true(status: Status) -> None:
    spec = ConditionSpec("fast", (), None, 0, (ComparisonSpec(0, Operator.GREATER, 10),))
    assert holds(spec, 0, PowerMode.OFF, 0, store(3, status)) is (status is Status.STALE)


def test_all_terms_must_hold() -> None:
    low = ComparisonSpec(0, Operator.GREATER_OR_EQUAL, 10)
    high = ComparisonSpec(0, Operator.LESS_OR_EQUAL, 20)
    spec = ConditionSpec("between", (), None, 0, (low, high))
    inside = [v for v in range(30) if holds(spec, 0, PowerMode.OFF, 0, store(v))]
    assert inside == list(range(10, 21))
