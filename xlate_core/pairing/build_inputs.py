"""Specs of analogue inputs: curve, thermistor, potentiometer or ladder, with wiring bands."""

import itertools
from fractions import Fraction

from xlate_core.arithmetic import Points, interpolate, rises
from xlate_core.pairing.analogue import (
    TooManyPointsError,
    contact_counts,
    ratiometric_line,
    show_contact,
    thermistor_curve,
)
from xlate_core.pairing.build_functions import curve_points
from xlate_core.pairing.context import Context
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.indices import Indices
from xlate_core.pairing.layouts import plain_unit
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.scaling import limits, nearest_step, steps
from xlate_core.pairing.schema_inputs import AnalogueInput, LadderTable, ThermistorTable
from xlate_core.pins import AnalogueInputSpec, BandSpec

MAX_COUNTS = 0xFFFF
MOST_POINTS = 64
LAWS = ("curve", "thermistor", "ratiometric", "ladder")
THERMISTOR_LAWS = ("steinhart_hart", "through", "beta")


def build_analogue(
    context: Context,
    indices: Indices,
    name: str,
    pin: AnalogueInput,
    quantity: str | None,
    source: int,
) -> AnalogueInputSpec:
    """Return the spec of an analogue input; `quantity` is the one that comes from it."""
    path: KeyPath = ("input", name)
    valid = (pin.valid[0], pin.valid[1]) if pin.valid else (0, MAX_COUNTS)
    points: Points = ((0, 0),)
    bands: tuple[BandSpec, ...] = ()
    given = [law for law in LAWS if getattr(pin, law) is not None]
    if len(given) > 1:
        context.collector.add((*path, given[1]), f"{given[0]} and {given[1]}", "one of them")
    elif pin.ladder is not None:
        bands = _ladder(context, (*path, "ladder"), pin.ladder, pin.full_scale, quantity)
        _check_bands(context, path, bands, valid)
    elif pin.thermistor is not None or pin.ratiometric is not None:
        points = _by_law(context, path, pin, quantity)
        _check_measured(context, (*path, given[0]), points, valid, quantity)
    else:
        points = _counts_curve(context, (*path, "curve"), pin.curve, quantity)
        _check_measured(context, (*path, "curve"), points, valid, quantity)
    wiring = indices.quantity(pin.wiring)
    return AnalogueInputSpec(name, points, valid, source, bands, wiring)


def _resolution(context: Context, quantity: str | None) -> Fraction:
    table = context.file.quantity.get(quantity or "")
    return table.resolution if table is not None else Fraction(1)


def _by_law(context: Context, path: KeyPath, pin: AnalogueInput, quantity: str | None) -> Points:
    """Return the curve of a thermistor or a potentiometer over its valid counts."""
    edge = 1 if pin.thermistor is not None else 0
    low, high = edge, pin.full_scale - edge
    if pin.valid is None or not low <= pin.valid[0] < pin.valid[1] <= high:
        found = "no such key" if pin.valid is None else str(pin.valid)
        expected = f"valid: [lowest, highest] counts within {low}..{high}, beyond them the "
        context.collector.add((*path, "valid"), found, f"{expected}wire is open or shorted")
        return ((0, 0),)
    valid, resolution = (pin.valid[0], pin.valid[1]), _resolution(context, quantity)
    if pin.thermistor is not None:
        where = (*path, "thermistor")
        return _thermistor(context, where, pin.thermistor, pin.full_scale, valid, quantity)
    line = pin.ratiometric
    assert line is not None
    if line.percent[0] == line.percent[1]:
        where = (*path, "ratiometric", "percent")
        context.collector.add(where, show_ratio(line.percent[0]) + " twice", "two different ends")
        return ((0, 0),)
    return ratiometric_line(line.percent, line.value, pin.full_scale, valid, resolution)


def _thermistor(
    context: Context,
    path: KeyPath,
    table: ThermistorTable,
    full_scale: int,
    valid: tuple[int, int],
    quantity: str | None,
) -> Points:
    laws = [law for law in THERMISTOR_LAWS if getattr(table, law) is not None]
    if len(laws) != 1:
        found = " and ".join(laws) or "no law"
        context.collector.add(path, found, f"exactly one of {', '.join(THERMISTOR_LAWS)}")
        return ((0, 0),)
    measured = context.file.quantity.get(quantity or "")
    if measured is not None and plain_unit(measured.unit) != "degC":
        context.collector.add(path, f'a thermistor for "{measured.unit}"', 'a quantity in "degC"')
    resolution = _resolution(context, quantity)
    try:
        points, worst = thermistor_curve(table, full_scale, valid, resolution, MOST_POINTS)
    except ArithmeticError:
        expected = "numbers that give a temperature at every valid count"
        context.collector.add((*path, laws[0]), "a law without a temperature", expected)
        return ((0, 0),)
    except TooManyPointsError:
        found = f"{show_ratio(table.max_error)} with steps of {show_ratio(resolution)} degC"
        expected = f"an error that {MOST_POINTS} points keep, above half a step"
        context.collector.add((*path, "max_error"), found, expected)
        return ((0, 0),)
    thousandths = -(-worst.numerator * 1000 // worst.denominator)
    context.collector.note(
        f"input {path[1]}: {len(points)} points, within "
        f"{show_ratio(Fraction(thousandths, 1000))} degC of the law at every valid count"
    )
    return points


def _ladder(
    context: Context, path: KeyPath, table: LadderTable, full_scale: int, quantity: str | None
) -> tuple[BandSpec, ...]:
    """Return the contacts by rising counts; they leave gaps between them."""
    found = []
    for index, contact in enumerate(table.contacts):
        where: KeyPath = (*path, "contacts", index)
        if (contact.ohm is None) == (contact.counts is None):
            shown = "neither" if contact.ohm is None else "both"
            context.collector.add(where, shown, "either ohm or counts")
            continue
        if contact.ohm is not None and table.pull_up_ohm is None:
            expected = "pull_up_ohm, with contacts by resistance"
            context.collector.add((*path, "pull_up_ohm"), "no such key", expected)
            return ()
        low, high = contact_counts(contact, table.pull_up_ohm, full_scale, table.widen_counts)
        if low > high or min(contact.ohm or [Fraction(0)]) < 0:
            context.collector.add(where, show_contact(contact, low, high), "[lowest, highest]")
            continue
        value = nearest_step(contact.value, _resolution(context, quantity))
        if quantity is not None:
            value = steps(context, (*where, "value"), contact.value, quantity, inside=True)
        found.append((BandSpec(low, high, value), contact, where))
    found.sort(key=lambda entry: entry[0].low)
    for (left, before, _), (right, contact, where) in itertools.pairwise(found):
        if right.low - left.high - 1 < table.gap_counts:
            expected = f"{table.gap_counts} counts or more between it and "
            expected += show_contact(before, left.low, left.high)
            context.collector.add(where, show_contact(contact, right.low, right.high), expected)
    return tuple(band for band, _, _ in found)


def _check_bands(
    context: Context, path: KeyPath, bands: tuple[BandSpec, ...], valid: tuple[int, int]
) -> None:
    """A contact beyond the valid counts could never be seen."""
    for band in bands:
        if band.low < valid[0] or band.high > valid[1]:
            found = f"a contact at counts {band.low}..{band.high}"
            expected = f"contacts within the valid counts {valid[0]}..{valid[1]}"
            context.collector.add((*path, "valid"), found, expected)


def _check_measured(
    context: Context,
    path: KeyPath,
    points: Points,
    valid: tuple[int, int],
    quantity: str | None,
) -> None:
    """What valid counts yield must lie in the range of the quantity: pins do not saturate."""
    table = context.file.quantity.get(quantity or "")
    if table is None or not rises(points):
        return
    low, high = limits(table)
    inside = [y for x, y in points if valid[0] < x < valid[1]]
    reached = [interpolate(points, valid[0]), *inside, interpolate(points, valid[1])]
    if min(reached) < low or max(reached) > high:
        shown = [show_ratio(end * table.resolution) for end in (min(reached), max(reached))]
        expected = f"values within the range {show_ratio(low * table.resolution)}.."
        expected += f"{show_ratio(high * table.resolution)} of {quantity}"
        context.collector.add(path, f"valid counts that mean {shown[0]}..{shown[1]}", expected)


def _counts_curve(
    context: Context, path: KeyPath, curve: str | None, quantity: str | None
) -> Points:
    """Return the curve from counts to steps of the quantity; without a curve counts are values."""
    resolution = _resolution(context, quantity)
    if curve is None:
        return ((0, 0), (MAX_COUNTS, nearest_step(Fraction(MAX_COUNTS), resolution)))
    return curve_points(context, path, curve, Fraction(1), resolution)
