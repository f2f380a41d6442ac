"""The integer arithmetic of rule 4 against exact fractions."""

import math
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from xlate_core.arithmetic import (
    INT32_MAX,
    INT32_MIN,
    INT64_MAX,
    INT64_MIN,
    approach,
    divide,
    interpolate,
    rate_step,
    rises,
    saturate,
    worst_product,
    wrap,
)

INT32 = st.integers(INT32_MIN, INT32_MAX)
INT64 = st.integers(INT64_MIN, INT64_MAX)


def half_away(value: Fraction) -> int:
    rounded = math.floor(abs(value) + Fraction(1, 2))
    return rounded if value >= 0 else -rounded


@given(INT64, st.integers(1, INT32_MAX))
def test_divide_is_the_fraction_rounded_half_away_from_zero(
    numerator: int, denominator: int
) -> None:
    assert divide(numerator, denominator) == half_away(Fraction(numerator, denominator))


@given(st.integers(-(1 << 31), 1 << 31), st.integers(1, 1 << 15))
def test_divide_takes_ties_outwards(whole: int, half: int) -> None:
    numerator = (2 * whole + 1) * half  # exactly between whole and whole + 1
    outwards = whole + 1 if whole >= 0 else whole
    assert divide(numerator, 2 * half) == outwards


def test_divide_small_table_by_three_and_by_four() -> None:
    assert [divide(n, 3) for n in range(-5, 6)] == [-2, -1, -1, -1, 0, 0, 0, 1, 1, 1, 2]
    assert [divide(n, 4) for n in range(-6, 7)] == [-2, -1, -1, -1, -1, 0, 0, 0, 1, 1, 1, 1, 2]


@given(INT64, st.integers(1, INT32_MAX))
def test_divide_is_odd(numerator: int, denominator: int) -> None:
    assert divide(-numerator, denominator) == -divide(numerator, denominator)


@given(INT64, INT32, INT32)
def test_saturate_is_the_nearest_value_of_the_range(value: int, one: int, other: int) -> None:
    low, high = sorted((one, other))
    result = saturate(value, low, high)
    assert low <= result <= high
    if low <= value <= high:
        assert result == value
    else:
        assert result == (low if value < low else high)


@pytest.mark.parametrize(
    ("value", "expected"), [(-1, 0), (0, 0), (1, 1), (9, 9), (10, 10), (11, 10)]
)
def test_saturate_at_both_ends(value: int, expected: int) -> None:
    assert saturate(value, 0, 10) == expected


@pytest.mark.parametrize(
    ("value", "modulus", "expected"),
    [(0, 15, 0), (14, 15, 14), (15, 15, 0), (16, 15, 1), (-1, 15, 14), (65536, 65536, 0)],
)
def test_wrap(value: int, modulus: int, expected: int) -> None:
    assert wrap(value, modulus) == expected


@given(
    st.integers(0, 999), st.integers(0, INT32_MAX), st.lists(st.integers(0, 10_000), max_size=30)
)
def test_a_rate_loses_nothing_over_any_partition(
    start: int, rate_per_s: int, spans_ms: list[int]
) -> None:
    remainder, moved = start, 0
    for span in spans_ms:
        step, remainder = rate_step(remainder, rate_per_s, span)
        assert 0 <= remainder <= 999
        moved += step
    assert (moved, remainder) == rate_step(start, rate_per_s, sum(spans_ms))
    assert 1000 * moved + remainder == start + rate_per_s * sum(spans_ms)


def test_a_slow_rate_moves_one_step_in_its_time() -> None:
    remainder, steps = 0, []
    for _ in range(7):
        step, remainder = rate_step(remainder, 3, 100)  # 0.3 of a step each
        steps.append(step)
    assert steps == [0, 0, 0, 1, 0, 0, 1]
    assert remainder == 100  # 2.1 steps: 2 and 100 thousandths


@given(INT32, INT32, st.integers(0, 1 << 32))
def test_approach_moves_towards_the_target_and_never_past_it(
    value: int, target: int, step: int
) -> None:
    result = approach(value, target, step)
    assert abs(result - value) == min(step, abs(target - value))
    assert min(value, target) <= result <= max(value, target)


@pytest.mark.parametrize(
    ("value", "target", "step", "expected"),
    [(0, 10, 3, 3), (9, 10, 3, 10), (10, 0, 3, 7), (1, 0, 3, 0), (5, 5, 3, 5), (0, 10, 0, 0)],
)
def test_approach_examples(value: int, target: int, step: int, expected: int) -> None:
    assert approach(value, target, step) == expected


@st.composite
def curves(draw: st.DrawFn) -> tuple[tuple[int, int], ...]:
    xs = sorted(draw(st.sets(st.integers(-1000, 1000), min_size=1, max_size=8)))
    return tuple((x, draw(INT32)) for x in xs)


@given(curves(), st.integers(-1200, 1200))
def test_interpolate_is_the_fraction_rounded_once(
    points: tuple[tuple[int, int], ...], x: int
) -> None:
    expected = Fraction(points[0][1] if x < points[0][0] else points[-1][1])
    for (x0, y0), (x1, y1) in pairwise(points):
        if x0 <= x <= x1:
            expected = y0 + Fraction((x - x0) * (y1 - y0), x1 - x0)
    assert interpolate(points, x) == half_away(expected)


@given(curves())
def test_interpolate_meets_its_points(points: tuple[tuple[int, int], ...]) -> None:
    assert [interpolate(points, x) for x, _ in points] == [y for _, y in points]


def test_interpolate_rounds_the_whole_not_the_increment() -> None:
    # Halfway down from 0 to -1 and from -1 to 0 lies -0.5: away from zero on both slopes. The
    # increment alone rounded would give -1 + divide(1, 2) = 0 on the rising one.
    assert interpolate(((0, 0), (2, -1)), 1) == -1
    assert interpolate(((0, -1), (2, 0)), 1) == -1
    assert interpolate(((0, -3), (2, 0)), 1) == -2


@given(INT32, INT32, st.integers(-(1 << 20), 1 << 20), INT32, st.integers(0, 100))
def test_no_product_is_worse_than_the_worst(
    one: int, other: int, factor: int, addend: int, share: int
) -> None:
    low, high = sorted((one, other))
    between = low + (high - low) * share // 100
    worst = worst_product(low, high, factor, addend)
    assert abs(between * factor + addend) <= worst
    assert worst in (abs(low * factor + addend), abs(high * factor + addend))


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        ([(0, 5)], True),
        ([(0, 5), (1, 5)], True),
        ([(0, 5), (0, 6)], False),
        ([(1, 5), (0, 6)], False),
        ([(0, 0), (2, 0), (1, 0)], False),
    ],
)
def test_rises(points: list[tuple[int, int]], expected: bool) -> None:
    assert rises(points) is expected
