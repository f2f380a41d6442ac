"""The integer arithmetic both sides share: one division, saturation, rates, interpolation.

Python floors and the firmware's language truncates, Python never overflows and the firmware does.
So no other module of the core divides a value that may be negative, and everything that is stored
passes through one of the functions below (rule 4).
"""

from collections.abc import Sequence
from itertools import pairwise

INT32_MIN = -(1 << 31)
INT32_MAX = (1 << 31) - 1
INT64_MIN = -(1 << 63)
INT64_MAX = (1 << 63) - 1
UINT8_MAX = (1 << 8) - 1
UINT16_MAX = (1 << 16) - 1
UINT32_MAX = (1 << 32) - 1

Points = tuple[tuple[int, int], ...]
"""A curve: points (x, y) with x strictly rising, at least one point."""


def divide(numerator: int, denominator: int) -> int:
    """Return numerator / denominator to the nearest integer, halves away from zero (rule 4).

    The denominator is positive; a signed 64-bit numerator of a validated pairing never overflows.
    """
    if denominator == 1:
        return numerator
    if numerator >= 0:
        return (numerator + denominator // 2) // denominator
    return -((denominator // 2 - numerator) // denominator)


def divide_up(numerator: int, denominator: int) -> int:
    """Return numerator / denominator rounded up: for what must never be shown too low.

    The denominator is positive.
    """
    return -(-numerator // denominator)


def saturate(value: int, low: int, high: int) -> int:
    """Return the value limited to low..high."""
    if value < low:
        return low
    if value > high:
        return high
    return value


def wrap(value: int, modulus: int) -> int:
    """Return a counter value wrapped to 0..modulus - 1; the modulus is positive."""
    return value % modulus


def rate_step(remainder: int, rate_per_s: int, elapsed_ms: int) -> tuple[int, int]:
    """Return (step, new remainder) of a rate accumulated over elapsed_ms (rule 4).

    The remainder, 0..999 thousandths of a step, is state: no part of a rate is lost to rounding.
    The rate is not negative.
    """
    accumulated = remainder + rate_per_s * elapsed_ms
    return accumulated // 1000, accumulated % 1000


def approach(value: int, target: int, step: int) -> int:
    """Return the value moved towards the target by at most step (step >= 0)."""
    if value < target:
        return min(value + step, target)
    return max(value - step, target)


def interpolate(points: Points, x: int) -> int:
    """Return the curve at x: clamped at both ends, straight between points (rule 4).

    One division: `(y0*dx + (x - x0)*dy) / dx`, halves away from zero.
    """
    x0, y0 = points[0]
    if x <= x0:
        return y0
    for x1, y1 in points:
        if x <= x1:
            dx = x1 - x0
            return divide(y0 * dx + (x - x0) * (y1 - y0), dx)
        x0, y0 = x1, y1
    return y0


def worst_product(low: int, high: int, factor: int, addend: int) -> int:
    """Return the largest magnitude of x*factor + addend for x in low..high (overflow proof)."""
    return max(abs(low * factor + addend), abs(high * factor + addend))


def rises(points: Sequence[tuple[int, int]]) -> bool:
    """Return whether the x of the points rise strictly, as `interpolate` demands."""
    return all(left[0] < right[0] for left, right in pairwise(points))
