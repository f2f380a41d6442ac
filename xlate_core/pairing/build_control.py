"""Specs of conditions, pins, faults, the power mode and the vehicle functions."""

from fractions import Fraction

from xlate_core.arithmetic import Points, interpolate, rises
from xlate_core.conditions import ComparisonSpec, ConditionSpec, Operator
from xlate_core.faults import FaultSpec
from xlate_core.functions import FunctionSpec
from xlate_core.functions.cooling_fan import CoolingFanSpec, FanRequestSpec, StageSpec
from xlate_core.functions.fuel_pump import FuelPumpSpec
from xlate_core.functions.gauge import GaugeSpec
from xlate_core.functions.mapping import MappingSpec
from xlate_core.pairing.context import POWER_MODE, AnyFunction, Context
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.indices import NONE, Indices
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.scaling import (
    limits,
    nearest_step,
    over,
    prove,
    prove_curve,
    scale_of,
    steps,
)
from xlate_core.pairing.schema import LevelInput
from xlate_core.pairing.schema_functions import (
    CoolingFanTable,
    FuelPumpTable,
    GaugeTable,
    MappingTable,
)
from xlate_core.pins import (
    AnalogueInputSpec,
    LevelInputSpec,
    OutputPinSpec,
    PinKind,
    PinsSpec,
)
from xlate_core.power import PowerMode, PowerSpec
from xlate_core.quantities import QuantitySpec, SourceSpec, Status

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


def curve_points(
    context: Context, path: KeyPath, curve: str, x_resolution: Fraction, y_resolution: Fraction
) -> Points:
    """Return a curve in steps, proven to rise and not to overflow."""
    points = tuple(
        (nearest_step(x, x_resolution), nearest_step(y, y_resolution))
        for x, y in context.file.curve[curve].points
    )
    prove_curve(context, path, points)
    return points


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
    )


def build_functions(
    context: Context, indices: Indices, quantities: list[QuantitySpec]
) -> tuple[FunctionSpec, ...]:
    """Return the functions in the order they run."""
    return tuple(
        _build_function(context, indices, quantities, ("function", index), table)
        for index, table in enumerate(context.file.function)
    )


def _build_function(
    context: Context,
    indices: Indices,
    quantities: list[QuantitySpec],
    path: KeyPath,
    table: AnyFunction,
) -> FunctionSpec:
    if isinstance(table, CoolingFanTable):
        return _cooling_fan(context, indices, path, table)
    if isinstance(table, FuelPumpTable):
        return _fuel_pump(context, indices, path, table)
    if isinstance(table, GaugeTable):
        return _gauge(context, indices, path, table)
    return _mapping(context, indices, quantities, path, table)


def _cooling_fan(
    context: Context, indices: Indices, path: KeyPath, table: CoolingFanTable
) -> CoolingFanSpec:
    stages = []
    for number, stage in enumerate(table.stages):
        where = (*path, "stages", number)
        on = steps(context, (*where, "on"), stage.on, table.coolant, inside=True)
        off = steps(context, (*where, "off"), stage.off, table.coolant, inside=True)
        stages.append(StageSpec(indices.quantities[stage.output], on, off))
    control = context.file.clock.control_ms
    return CoolingFanSpec(
        name=table.name,
        coolant=indices.quantities[table.coolant],
        stages=tuple(stages),
        requests=tuple(
            FanRequestSpec(indices.quantities[one.quantity], one.stage) for one in table.requests
        ),
        min_on=table.min_on_ms // control,
        min_off=table.min_off_ms // control,
        on_loss_stage=table.on_loss_stage,
    )


def _fuel_pump(
    context: Context, indices: Indices, path: KeyPath, table: FuelPumpTable
) -> FuelPumpSpec:
    where = (*path, "rotation_above")
    control = context.file.clock.control_ms
    return FuelPumpSpec(
        name=table.name,
        output=indices.quantities[table.output],
        engine_speed=indices.quantities[table.engine_speed],
        prime=table.prime_ms // control,
        rotation_above=steps(context, where, table.rotation_above, table.engine_speed, inside=True),
        off_delay=table.off_delay_ms // control,
    )


def _resolution(context: Context, name: str) -> Fraction:
    table = context.file.quantity.get(name)
    return table.resolution if table is not None else Fraction(1)


def _gauge(context: Context, indices: Indices, path: KeyPath, table: GaugeTable) -> GaugeSpec:
    x_resolution = _resolution(context, table.input)
    y_resolution = _resolution(context, table.output)
    where = (*path, "curve")
    on_loss = steps(context, (*path, "on_loss"), table.on_loss, table.output, inside=True)
    hysteresis = steps(context, (*path, "hysteresis"), table.hysteresis, table.input)
    if table.hysteresis < 0:
        context.collector.add((*path, "hysteresis"), str(table.hysteresis), "at least 0")
    return GaugeSpec(
        name=table.name,
        input=indices.quantities[table.input],
        output=indices.quantities[table.output],
        points=curve_points(context, where, table.curve, x_resolution, y_resolution),
        hysteresis=hysteresis,
        on_loss=on_loss,
    )


def _mapping(
    context: Context,
    indices: Indices,
    quantities: list[QuantitySpec],
    path: KeyPath,
    table: MappingTable,
) -> MappingSpec:
    x_resolution = _resolution(context, table.input)
    y_resolution = _resolution(context, table.output)
    slope = over((table.scale or Fraction(1)) * x_resolution, y_resolution)
    scale = scale_of(slope, over(table.offset or Fraction(0), y_resolution))
    source = quantities[indices.quantities[table.input]]
    prove(context, (*path, "scale"), scale, source.low, source.high, 32)
    pairs = []
    for number, (given, mapped) in enumerate(table.table or ()):
        where = (*path, "table", number)
        left = steps(context, where, given, table.input, inside=True)
        pairs.append((left, steps(context, where, mapped, table.output, inside=True)))
    on_loss = steps(context, (*path, "on_loss"), table.on_loss, table.output, inside=True)
    otherwise = on_loss
    if table.otherwise is not None:
        where = (*path, "otherwise")
        otherwise = steps(context, where, table.otherwise, table.output, inside=True)
    return MappingSpec(
        name=table.name,
        input=indices.quantities[table.input],
        output=indices.quantities[table.output],
        table=tuple(pairs),
        otherwise=otherwise,
        a=scale.a,
        b=scale.b,
        d=scale.d,
        on_loss=on_loss,
    )
