"""Curves against numpy.interp: straight between the points, clamped at both ends.

Source: numpy (`numpy.interp`), called as an independent oracle; it works in binary floating point,
so exact fractions arbitrate wherever its result lies close to a half.
"""

import math
import random
from fractions import Fraction
from itertools import pairwise

import numpy
import pytest

from xlate_core.arithmetic import interpolate

POINTS = ((0, 0), (10, 100), (20, 50))

# x and y as numpy.interp 2.4.6 gives them for POINTS.
TABLE = [
    (Fraction(-50), 0),
    (Fraction(-10), 0),
    (Fraction(5, 2), 25),
    (Fraction(5), 50),
    (Fraction(10), 100),
    (Fraction(15), 75),
    (Fraction(20), 50),
    (Fraction(100), 50),
]


@pytest.mark.parametrize(("x", "y"), TABLE)
def test_table_of_a_rising_and_falling_curve(x: Fraction, y: int) -> None:
    halves = tuple((2 * point_x, point_y) for point_x, point_y in POINTS)  # x counted in halves
    assert interpolate(halves, int(2 * x)) == y
    assert numpy.interp(float(x), *zip(*POINTS, strict=True)) == y


def exact(points: list[tuple[int, int]], x: int) -> Fraction:
    """The curve as a fraction, by the two-point form weighted from both sides."""
    if x <= points[0][0]:
        return Fraction(points[0][1])
    for (x0, y0), (x1, y1) in pairwise(points):
        if x0 <= x <= x1:
            share = Fraction(x - x0, x1 - x0)
            return y0 * (1 - share) + y1 * share
    return Fraction(points[-1][1])


def half_away(value: Fraction) -> int:
    rounded = math.floor(abs(value) + Fraction(1, 2))
    return rounded if value >= 0 else -rounded


@pytest.mark.parametrize("reach", [20, 1000, 2**31 - 1])
def test_random_curves(reach: int) -> None:
    rng = random.Random(reach)
    ties = 0
    for _ in range(400):
        count = rng.randint(1, 8)
        xs = sorted(rng.sample(range(-reach, reach + 1), count))
        points = [(x, rng.randint(-reach, reach)) for x in xs]
        asked = [*xs, *(rng.randint(-reach, reach) for _ in range(20))]
        given = numpy.interp(asked, xs, [y for _, y in points])
        for x, by_numpy in zip(asked, given, strict=True):
            result = interpolate(tuple(points), x)
            assert abs(result - by_numpy) < 0.5 + 1e-5, (points, x)
            nearest = half_away(Fraction(float(by_numpy)))
            if abs(abs(by_numpy - math.trunc(by_numpy)) - 0.5) < 1e-5:
                ties += 1
                nearest = half_away(exact(points, x))
            assert result == nearest, (points, x)
    assert ties or reach > 1000  # the small reaches do meet halves
