"""Specs of the plain vehicle functions, one builder a kind, and what all builders need."""

from fractions import Fraction

from xlate_core.arithmetic import Points
from xlate_core.functions.gauge import GaugeSpec
from xlate_core.functions.mapping import MappingSpec
from xlate_core.pairing.context import HIGHEST_SUPPLY_MV, Context
from xlate_core.pairing.indices import Indices
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
from xlate_core.pairing.schema_functions import (
    GaugeTable,
    MappingTable,
)


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


def resolution_of(context: Context, name: str) -> Fraction:
    """Return the resolution of a quantity; 1 for those of the engine itself."""
    table = context.file.quantity.get(name)
    return table.resolution if table is not None else Fraction(1)


def range_of(context: Context, name: str) -> tuple[int, int]:
    """Return the range of a quantity in steps; the widest for those of the engine itself."""
    table = context.file.quantity.get(name)
    return limits(table) if table is not None else (0, HIGHEST_SUPPLY_MV)


def build_gauge(context: Context, indices: Indices, path: KeyPath, table: GaugeTable) -> GaugeSpec:
    """Return the spec of a needle."""
    x_resolution = resolution_of(context, table.input)
    y_resolution = resolution_of(context, table.output)
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


def build_mapping(
    context: Context,
    indices: Indices,
    path: KeyPath,
    table: MappingTable,
) -> MappingSpec:
    """Return the spec of a mapping; its straight line is proven not to overflow."""
    x_resolution = resolution_of(context, table.input)
    y_resolution = resolution_of(context, table.output)
    slope = over((table.scale or Fraction(1)) * x_resolution, y_resolution)
    scale = scale_of(slope, over(table.offset or Fraction(0), y_resolution))
    low, high = range_of(context, table.input)
    prove(context, (*path, "scale"), scale, low, high, 32)
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
