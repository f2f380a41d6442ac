"""Specs of conditions, pins, faults and the power mode."""

from fractions import Fraction

from xlate_core.arithmetic import Points, interpolate, rises
from xlate_core.conditions import ComparisonSpec, ConditionSpec, Operator
from xlate_core.faults import FaultSpec
from xlate_core.pairing.build_functions import curve_points
from xlate_core.pairing.build_memory import build_entry
from xlate_core.pairing.context import POWER_MODE, SUPPLY, Context
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.indices import NONE, Indices
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.scaling import (
    limits,
    nearest_step,
    steps,
)
from xlate_core.pairing.schema import LevelInput
from xlate_core.pins import (
    AnalogueInputSpec,
    LevelInputSpec,
    OutputPinSpec,
    PinKind,
    PinsSpec,
)
from xlate_core.power import PowerMode, PowerSpec
from xlate_core.quantities import SourceSpec, Status

MAX_COUNTS = 0xFFFF


def build_conditions(context: Context, indices: Indices) -> tuple[ConditionSpec, ...]:
    """Return the conditions in their listed order."""
    specs = []
    for name, table in context.file.condition.items():
        comparisons = []
        for index, term in enumerate(table.quantities):
            path: KeyPath = ("condition", name, "quantities", index, "value")
            value = steps(context, path, term.value, term.quantity)
            number = indices.quantities[term.quantity]
            comparisons.append(ComparisonSpec(number, Operator(term.is_), value))
        specs.append(
            ConditionSpec(
                name=name,
                power_modes=tuple(int(PowerMode[mode.upper()]) for mode in table.power_modes or ()),
                supply_mv=(table.supply_mv[0], table.supply_mv[1]) if table.supply_mv else None,
                after=table.after_ms // context.file.clock.tick_ms,
                comparisons=tuple(comparisons),
            )
        )
    return tuple(specs)


def build_pins(
    context: Context, indices: Indices, pin_sources: dict[str, int], sources: list[SourceSpec]
) -> PinsSpec:
    """Return all pins; the order in each kind is the order in the file."""
    levels, analogues = [], []
    for name, pin in context.file.input.items():
        source = pin_sources.get(name, NONE)
        if isinstance(pin, LevelInput):
            debounce = pin.debounce_ms // context.file.clock.tick_ms
            levels.append(LevelInputSpec(name, pin.active == "high", debounce, source))
            continue
        valid = (pin.valid[0], pin.valid[1]) if pin.valid else (0, MAX_COUNTS)
        quantity = list(context.file.quantity)[sources[source].quantity] if source >= 0 else None
        path: KeyPath = ("input", name, "curve")
        points = _counts_curve(context, path, pin.curve, quantity)
        _check_measured(context, path, points, valid, quantity)
        analogues.append(AnalogueInputSpec(name, points, valid, source))
    outputs = []
    for name, output in context.file.output.items():
        path = ("output", name, "reset")
        reset = steps(context, path, output.reset, output.quantity, inside=True)
        outputs.append(
            OutputPinSpec(
                name=name,
                kind=PinKind[output.kind.upper()],
                active_high=output.active == "high",
                quantity=indices.quantities[output.quantity],
                reset_value=reset,
                unpowered=output.unpowered,
            )
        )
    return PinsSpec(tuple(levels), tuple(analogues), tuple(outputs))


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
    table = context.file.quantity.get(quantity or "")
    resolution = table.resolution if table is not None else Fraction(1)
    if curve is None:
        return ((0, 0), (MAX_COUNTS, nearest_step(Fraction(MAX_COUNTS), resolution)))
    return curve_points(context, path, curve, Fraction(1), resolution)


def build_faults(context: Context, indices: Indices) -> tuple[FaultSpec, ...]:
    """Return the faults in their listed order."""
    specs = []
    for name, table in context.file.fault.items():
        message = NONE
        if table.message is not None and (found := context.named_message(table.message)):
            message = indices.messages[found[1].key]
        specs.append(
            FaultSpec(
                name=name,
                quantity=indices.quantity(table.quantity),
                statuses=tuple(int(Status[one.upper()]) for one in table.statuses or ()),
                message=message,
                up=table.up,
                down=table.down,
                limit=table.limit,
                latch=table.latch,
                condition=indices.condition(table.when),
                output=indices.quantities[table.output],
                memory=build_entry(indices, table.memory),
            )
        )
    return tuple(specs)


def build_power(context: Context, indices: Indices) -> PowerSpec:
    """Return the power mode's spec; thresholds are 0 without an engine speed."""
    table = context.file.power
    above = below = 0
    if table.engine_speed is not None:
        if table.running_above is not None:
            path: KeyPath = ("power", "running_above")
            above = steps(context, path, table.running_above, table.engine_speed)
        if table.running_below is not None:
            path = ("power", "running_below")
            below = steps(context, path, table.running_below, table.engine_speed)
    control = context.file.clock.control_ms
    return PowerSpec(
        ignition=indices.quantities[table.ignition],
        accessory=indices.quantity(table.accessory),
        crank=indices.quantity(table.crank),
        engine_speed=indices.quantity(table.engine_speed),
        running_above=above,
        running_below=below,
        cycle_off=table.cycle_off_ms // control,
        after_run=table.after_run_ms // control,
        mode_quantity=indices.quantities.get(POWER_MODE, NONE),
        supply_quantity=indices.quantities.get(SUPPLY, NONE),
        kept=table.kept,
    )
