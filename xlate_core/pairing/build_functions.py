"""Specs of the vehicle functions, one builder a kind."""

from fractions import Fraction

from xlate_core.arithmetic import Points
from xlate_core.functions import FunctionSpec
from xlate_core.functions.cooling_fan import CoolingFanSpec, FanRequestSpec, StageSpec
from xlate_core.functions.fuel_pump import FuelPumpSpec
from xlate_core.functions.gauge import GaugeSpec
from xlate_core.functions.mapping import MappingSpec
from xlate_core.pairing.context import AnyFunction, Context
from xlate_core.pairing.indices import Indices
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.scaling import (
    nearest_step,
    over,
    prove,
    prove_curve,
    scale_of,
    steps,
)
from xlate_core.pairing.schema_functions import (
    CoolingFanTable,
    FuelPumpTable,
    GaugeTable,
    MappingTable,
)
from xlate_core.quantities import QuantitySpec


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
