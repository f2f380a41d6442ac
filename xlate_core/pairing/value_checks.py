"""Checks of values: ranges, thresholds, raw codes, curves."""

from fractions import Fraction

from xlate_core.arithmetic import INT32_MAX, INT32_MIN
from xlate_core.pairing.context import Context
from xlate_core.pairing.exact import NOT_AVAILABLE, show_ratio
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema import QuantityTable

ONLY_RECEIVED = ("hold_ms", "substitute", "return_per_s", "frozen_after_frames", "max_change")


def check_values(context: Context) -> None:
    """Collect every number that cannot be meant."""
    for name, quantity in context.file.quantity.items():
        _check_quantity(context, ("quantity", name), quantity)
    for name, curve in context.file.curve.items():
        for index in range(1, len(curve.points)):
            before, here = curve.points[index - 1][0], curve.points[index][0]
            if here <= before:
                context.collector.add(
                    ("curve", name, "points", index),
                    f"x = {show_ratio(here)} after {show_ratio(before)}",
                    "x that rises from point to point",
                )
    for name, pin in context.file.input.items():
        if pin.kind == "analogue" and pin.valid is not None:
            check_raw_range(context, ("input", name, "valid"), pin.valid, (0, 0xFFFF))
    for name, condition in context.file.condition.items():
        if condition.supply_mv is not None:
            path: KeyPath = ("condition", name, "supply_mv")
            check_raw_range(context, path, condition.supply_mv, (0, 0xFFFF))
    _check_faults(context)
    _check_power(context)


def check_raw_range(
    context: Context, path: KeyPath, given: list[int], limits: tuple[int, int]
) -> None:
    """Collect a raw range that is upside down or reaches beyond what the signal holds."""
    low, high = given
    if low > high or low < limits[0] or high > limits[1]:
        expected = f"[lowest, highest] within {limits[0]}..{limits[1]}"
        context.collector.add(path, f"[{low}, {high}]", expected)


def _check_quantity(context: Context, path: KeyPath, quantity: QuantityTable) -> None:
    low, high = quantity.range
    collector = context.collector
    shown = f"[{show_ratio(low)}, {show_ratio(high)}]"
    if low >= high:
        collector.add((*path, "range"), shown, "[lowest, highest], the lowest first")
        return
    for end in (low, high):
        if not INT32_MIN <= _steps(end, quantity) <= INT32_MAX:
            collector.add(
                (*path, "range"),
                f"{show_ratio(end)} = {_steps(end, quantity)} steps of "
                f"{show_ratio(quantity.resolution)}",
                f"at most {INT32_MAX} steps (32 bit, signed)",
            )
    for key in ("substitute", "initial"):
        value = getattr(quantity, key)
        if isinstance(value, Fraction) and not low <= value <= high:
            collector.add((*path, key), show_ratio(value), f"a value within {shown}")
    if quantity.from_ is None:
        for key in ONLY_RECEIVED:
            if key in quantity.model_fields_set:
                collector.add(
                    (*path, key), "it in a quantity without from", "it only where data can be lost"
                )
    elif quantity.substitute == NOT_AVAILABLE and quantity.return_per_s is not None:
        collector.note(
            f'quantity {path[1]}: after "{NOT_AVAILABLE}" the value returns at once, '
            "return_per_s limits only the return from a shown value"
        )


def _steps(value: Fraction, quantity: QuantityTable) -> int:
    exact = value * quantity.resolution.denominator * Fraction(1, quantity.resolution.numerator)
    return exact.numerator // exact.denominator


def _check_faults(context: Context) -> None:
    for name, fault in context.file.fault.items():
        path: KeyPath = ("fault", name)
        given = [one for one in (fault.quantity, fault.message, fault.bus) if one is not None]
        if len(given) != 1:
            found = "neither" if not given else "both"
            context.collector.add(path, found, "either quantity or message, or bus")
        if fault.message is not None and fault.statuses is not None:
            found = "statuses with a message"
            context.collector.add((*path, "statuses"), found, "statuses only with a quantity")
        if fault.quantity is not None and fault.statuses is None:
            expected = 'statuses: the statuses that count upwards, as ["stale"]'
            context.collector.add((*path, "statuses"), "no such key", expected)


def _check_power(context: Context) -> None:
    power = context.file.power
    above, below = power.running_above, power.running_below
    if power.engine_speed is not None:
        for key in ("running_above", "running_below"):
            if getattr(power, key) is None:
                context.collector.add(("power", key), "no such key", f"{key}, with engine_speed")
    if above is not None and below is not None and below > above:
        context.collector.add(
            ("power", "running_below"), show_ratio(below), f"at most {show_ratio(above)}"
        )
