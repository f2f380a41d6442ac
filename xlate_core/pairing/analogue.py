"""Laws of analogue sensors compiled to curves of integers, and ladders to bands of counts.

The laws are evaluated with decimal numbers of a fixed precision, whose logarithm is correctly
rounded: the same pairing gives the same curve on every machine. A curve is checked at every valid
count, so its deviation from the law is stated, not estimated.
"""

from collections.abc import Callable, Sequence
from decimal import Decimal, localcontext
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from xlate_core.arithmetic import Points, divide, interpolate
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.schema_inputs import ContactTable, ThermistorTable

DIGITS = 28
KELVIN = Decimal("273.15")
FINE = 1000  # the law is compared in thousandths of a step of the quantity


def exact(value: Fraction) -> Decimal:
    """Return a ratio as a decimal number of the current precision."""
    return Decimal(value.numerator) / Decimal(value.denominator)


def steinhart_hart_through(points: Sequence[Sequence[Fraction]]) -> tuple[Decimal, ...]:
    """Return A, B, C of 1/T = A + B ln R + C (ln R)^3 through three points (degC, ohm)."""
    (y1, l1), (y2, l2), (y3, l3) = (
        (1 / (exact(celsius) + KELVIN), exact(ohm).ln()) for celsius, ohm in points
    )
    second, third = (y2 - y1) / (l2 - l1), (y3 - y1) / (l3 - l1)
    c = (third - second) / (l3 - l2) / (l1 + l2 + l3)
    b = second - c * (l1 * l1 + l1 * l2 + l2 * l2)
    return y1 - (b + l1 * l1 * c) * l1, b, c


class Thermistor(NamedTuple):
    """A thermistor in its divider; `numbers` belong to the law, see `law_of`."""

    pull_up_ohm: Fraction
    at_ground: bool
    law: str
    numbers: tuple[Fraction, ...]


def thermistor_of(table: ThermistorTable) -> Thermistor:
    """Return what a table with exactly one law says."""
    if table.beta is not None:
        law, numbers = "beta", [table.beta.ohm, table.beta.at, table.beta.beta]
    elif table.through is not None:
        law, numbers = "through", [number for point in table.through for number in point]
    else:
        law, numbers = "steinhart_hart", table.steinhart_hart or []
    return Thermistor(table.pull_up_ohm, table.sensor_at == "ground", law, tuple(numbers))


def law_of(thermistor: Thermistor) -> Callable[[Decimal], Decimal]:
    """Return the thermistor's law, ohm -> degC; raises ArithmeticError for impossible numbers."""
    numbers = thermistor.numbers
    if thermistor.law == "beta":
        ohm, at, beta = (exact(number) for number in numbers)
        return lambda resistance: 1 / (1 / (at + KELVIN) + (resistance / ohm).ln() / beta) - KELVIN
    if thermistor.law == "through":
        a, b, c = steinhart_hart_through([numbers[0:2], numbers[2:4], numbers[4:6]])
    else:
        a, b, c = (exact(number) for number in numbers)

    def law(resistance: Decimal) -> Decimal:
        logarithm = resistance.ln()
        return 1 / (a + b * logarithm + c * logarithm**3) - KELVIN

    return law


def resistance(thermistor: Thermistor, counts: int, full_scale: int) -> Decimal:
    """Return the thermistor's resistance at counts strictly between 0 and full scale."""
    above, below = Decimal(full_scale - counts), Decimal(counts)
    share = below / above if thermistor.at_ground else above / below
    return exact(thermistor.pull_up_ohm) * share


class TooManyPointsError(Exception):
    """No curve of the allowed number of points stays that close to the law."""


def fit(law: Sequence[int], first: int, bound: int, most: int) -> tuple[Points, int]:
    """Return a curve through whole steps and its worst deviation, both in thousandths of a step.

    `law` holds the exact values from count `first` on. Each stretch reaches as far as every count
    in it stays within `bound`; raises TooManyPointsError beyond `most` points.
    """
    rounded = [divide(value, FINE) for value in law]
    ends = [0]
    worst = abs(rounded[0] * FINE - law[0])

    def deviation(start: int, end: int) -> int:
        line = ((start, rounded[start]), (end, rounded[end]))
        return max(
            abs(interpolate(line, here) * FINE - law[here]) for here in range(start, end + 1)
        )

    while ends[-1] < len(law) - 1:
        start = ends[-1]
        reach, beyond = start + 1, len(law)
        stride = 1
        while start + stride < len(law) and deviation(start, start + stride) <= bound:
            reach = start + stride
            stride *= 2
        beyond = min(start + stride, len(law))
        while beyond - reach > 1:
            middle = (reach + beyond) // 2
            if deviation(start, middle) <= bound:
                reach = middle
            else:
                beyond = middle
        worst = max(worst, deviation(start, reach))
        ends.append(reach)
        if worst > bound or len(ends) > most:
            raise TooManyPointsError
    return tuple((first + end, rounded[end]) for end in ends), worst


@lru_cache(maxsize=64)
def law_in_steps(
    thermistor: Thermistor, full_scale: int, valid: tuple[int, int], resolution: Fraction
) -> tuple[int, ...]:
    """Return the law at every valid count, in thousandths of a step of the quantity.

    Raises ArithmeticError for a law that has no temperature there.
    """
    with localcontext() as context:
        context.prec = DIGITS
        law = law_of(thermistor)
        fine = FINE / exact(resolution)
        return tuple(
            int((law(resistance(thermistor, counts, full_scale)) * fine).to_integral_value())
            for counts in range(valid[0], valid[1] + 1)
        )


def thermistor_curve(
    table: ThermistorTable, full_scale: int, valid: tuple[int, int], resolution: Fraction, most: int
) -> tuple[Points, Fraction]:
    """Return the curve counts -> steps of a thermistor and its worst deviation from the law, degC.

    `valid` lies strictly between 0 and full scale. Raises TooManyPointsError, ArithmeticError.
    """
    law = law_in_steps(thermistor_of(table), full_scale, valid, resolution)
    bound = table.max_error * FINE * Fraction(resolution.denominator, resolution.numerator)
    points, worst = fit(law, valid[0], bound.numerator // bound.denominator - 1, most)
    return points, Fraction(worst + 1, FINE) * resolution


def ratiometric_line(
    percent: Sequence[Fraction],
    value: Sequence[Fraction],
    full_scale: int,
    valid: tuple[int, int],
    resolution: Fraction,
) -> Points:
    """Return the line through both ends of the valid counts, rounded to whole steps."""
    slope = (value[1] - value[0]) * Fraction(
        (percent[1] - percent[0]).denominator, (percent[1] - percent[0]).numerator
    )
    points = []
    for counts in valid:
        share = Fraction(100 * counts, full_scale) - percent[0]
        steps = (value[0] + slope * share) * Fraction(resolution.denominator, resolution.numerator)
        points.append((counts, divide(steps.numerator, steps.denominator)))
    return tuple(points)


def contact_counts(
    contact: ContactTable, pull_up_ohm: Fraction | None, full_scale: int, widen: int
) -> tuple[int, int]:
    """Return lowest and highest counts of a contact, to the nearest count, then widened."""
    if contact.counts is not None:
        low, high = contact.counts
    else:
        ends = [_divider(ohm, pull_up_ohm or Fraction(1), full_scale) for ohm in contact.ohm or ()]
        low, high = ends[0], ends[1] if len(ends) > 1 else full_scale
    return max(low - widen, 0), min(high + widen, full_scale)


def _divider(ohm: Fraction, pull_up_ohm: Fraction, full_scale: int) -> int:
    share = full_scale * ohm
    total = ohm + pull_up_ohm
    return divide(share.numerator * total.denominator, share.denominator * total.numerator)


def show_contact(contact: ContactTable, low: int, high: int) -> str:
    """Return a contact in words."""
    return f"contact {show_ratio(contact.value)} at counts {low}..{high}"
