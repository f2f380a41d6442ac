"""Physical numbers to steps and raw values to ratios, with the proof of no overflow (rule 4).

decode: value = divide(raw*A + B, D) with A/D = factor/resolution and B/D = offset/resolution;
encode: raw = divide(value*A + B, D) with A/D = resolution/factor and B/D = -offset/factor.
"""

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import lcm

from xlate_core.arithmetic import INT32_MAX, INT32_MIN, INT64_MAX, divide, worst_product
from xlate_core.pairing.context import Context
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.positions import KeyPath, show_path
from xlate_core.pairing.schema import QuantityTable


@dataclass(frozen=True, slots=True)
class Scale:
    """y = divide(x*a + b, d), d positive."""

    a: int
    b: int
    d: int


def scale_of(slope: Fraction, intercept: Fraction) -> Scale:
    """Return slope and intercept over their one common denominator."""
    denominator = lcm(slope.denominator, intercept.denominator)
    return Scale(
        slope.numerator * (denominator // slope.denominator),
        intercept.numerator * (denominator // intercept.denominator),
        denominator,
    )


def over(value: Fraction, divisor: Fraction) -> Fraction:
    """Return the exact quotient of two exact numbers."""
    return value * Fraction(divisor.denominator, divisor.numerator)


def decoding(factor: Fraction, offset: Fraction, resolution: Fraction) -> Scale:
    """Return the scale raw -> steps."""
    return scale_of(over(factor, resolution), over(offset, resolution))


def encoding(factor: Fraction, offset: Fraction, resolution: Fraction) -> Scale:
    """Return the scale steps -> raw."""
    return scale_of(over(resolution, factor), -over(offset, factor))


def prove(context: Context, path: KeyPath, scale: Scale, low: int, high: int, length: int) -> None:
    """Collect a problem unless x*a + b with rounding stays inside 64 bit for x in low..high."""
    worst = worst_product(low, high, scale.a, scale.b) + scale.d // 2
    if max(worst, abs(scale.a), abs(scale.b), scale.d) <= INT64_MAX:
        return
    if length > 32:
        expected = "a valid raw range that proves the product, a coarser resolution, or a route"
        found = f"a signal of {length} bit scaled without proof: "
    else:
        expected = "numbers whose product stays inside 64 bit: simpler factors or resolution"
        found = ""
    found += f"raw * {scale.a} + {scale.b} up to {worst:.2e}".replace("+ -", "- ")
    context.collector.add(path, found, expected)


def prove_curve(context: Context, path: KeyPath, points: tuple[tuple[int, int], ...]) -> None:
    """Collect a problem unless interpolation stays inside 64 bit and x still rises in steps."""
    for x, y in points:
        _fits_32_bit(context, path, x)
        _fits_32_bit(context, path, y)
    for (x0, y0), (x1, y1) in pairwise(points):
        if x1 <= x0:
            found = f"points that fall together at {x0} steps"
            context.collector.add(path, found, "x at least one step of the resolution apart")
        elif worst_product(0, x1 - x0, y1 - y0, y0 * (x1 - x0)) + (x1 - x0) // 2 > INT64_MAX:
            found = f"a stretch of {x1 - x0} by {abs(y1 - y0)} steps"
            context.collector.add(path, found, "stretches whose product stays inside 64 bit")


def nearest_step(value: Fraction, resolution: Fraction) -> int:
    """Return a physical number in steps, halves away from zero."""
    exact = over(value, resolution)
    return divide(exact.numerator, exact.denominator)


def rate_steps(context: Context, path: KeyPath, value: Fraction, resolution: Fraction) -> int:
    """Return a positive rate or jump in steps: at least one step, at most what 32 bit hold."""
    number = max(1, nearest_step(value, resolution))
    _fits_32_bit(context, path, number)
    return number


def _fits_32_bit(context: Context, path: KeyPath, number: int) -> None:
    if not INT32_MIN <= number <= INT32_MAX:
        found = f"{number} steps"
        context.collector.add(path, found, f"at most {INT32_MAX} steps (32 bit, signed)")


def limits(quantity: QuantityTable) -> tuple[int, int]:
    """Return the range in steps; ends between two steps move inwards."""
    low, high = (over(end, quantity.resolution) for end in quantity.range)
    return -(-low.numerator // low.denominator), high.numerator // high.denominator


def steps(
    context: Context, path: KeyPath, value: Fraction, name: str, *, inside: bool = False
) -> int:
    """Return a physical number in steps of a quantity; a rounded one is noted.

    With `inside` the number must lie in the quantity's range.
    """
    quantity = context.file.quantity.get(name)
    if quantity is None:
        return nearest_step(value, Fraction(1))  # the power mode: a plain number
    number = nearest_step(value, quantity.resolution)
    _fits_32_bit(context, path, number)
    low, high = quantity.range
    if inside and not low <= value <= high:
        expected = f"a value of {name} within [{show_ratio(low)}, {show_ratio(high)}]"
        context.collector.add(path, show_ratio(value), expected)
    if number * quantity.resolution != value:
        context.collector.note(
            f"{show_path(path)}: {show_ratio(value)} is rounded to "
            f"{show_ratio(number * quantity.resolution)}, the nearest step of {name}"
        )
    return number
