"""Specs of the cooling fans, in relay stages or by duty."""

from collections.abc import Callable
from fractions import Fraction
from typing import Any

from xlate_core.functions.cooling_fan import CoolingFanSpec, FanRequestSpec, StageSpec
from xlate_core.functions.cooling_fan_duty import CoolingFanDutySpec
from xlate_core.functions.fan_demand import FanDemandSpec, FanPressureSpec
from xlate_core.pairing.build_drive import control_ticks
from xlate_core.pairing.build_functions import curve_points, range_of, resolution_of
from xlate_core.pairing.context import Context
from xlate_core.pairing.indices import NONE, Indices
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.scaling import rate_steps, steps
from xlate_core.pairing.schema_fans import CoolingFanDutyTable, CoolingFanTable

Level = Callable[[KeyPath, Any], int]
FURTHER = ("stage_delay_ms", "air_conditioning", "pressures", "over_voltage", "after_run")


def build_cooling_fan(
    context: Context, indices: Indices, path: KeyPath, table: CoolingFanTable
) -> CoolingFanSpec:
    """Return the spec of cooling fans in stages; further wishes only where the pairing has any."""
    stages = []
    for number, stage in enumerate(table.stages):
        where = (*path, "stages", number)
        on = steps(context, (*where, "on"), stage.on, table.coolant, inside=True)
        off = steps(context, (*where, "off"), stage.off, table.coolant, inside=True)
        stages.append(StageSpec(indices.quantities[stage.output], on, off))

    def level(where: KeyPath, one: Any) -> int:
        del where
        return int(one.stage)

    demand = None
    if any(getattr(table, key) for key in FURTHER):
        demand = _demand(context, indices, path, table, level)
    return CoolingFanSpec(
        name=table.name,
        coolant=indices.quantities[table.coolant],
        stages=tuple(stages),
        requests=tuple(
            FanRequestSpec(indices.quantities[one.quantity], one.stage) for one in table.requests
        ),
        min_on=control_ticks(context, table.min_on_ms),
        min_off=control_ticks(context, table.min_off_ms),
        on_loss_stage=table.on_loss_stage,
        demand=demand,
    )


def build_cooling_fan_duty(
    context: Context, indices: Indices, path: KeyPath, table: CoolingFanDutyTable
) -> CoolingFanDutySpec:
    """Return the spec of a cooling fan by duty."""

    def duty(where: KeyPath, value: Fraction) -> int:
        return steps(context, where, value, table.output, inside=True)

    def level(where: KeyPath, one: Any) -> int:
        return duty((*where, "duty"), one.duty)

    def rate(key: str) -> int:
        value = getattr(table, key)
        y_resolution = resolution_of(context, table.output)
        return 0 if value is None else rate_steps(context, (*path, key), value, y_resolution)

    x_resolution = resolution_of(context, table.coolant)
    y_resolution = resolution_of(context, table.output)
    return CoolingFanDutySpec(
        name=table.name,
        coolant=indices.quantities[table.coolant],
        output=indices.quantities[table.output],
        points=curve_points(context, (*path, "curve"), table.curve, x_resolution, y_resolution),
        requests=tuple(
            FanRequestSpec(
                indices.quantities[one.quantity], level((*path, "requests", number), one)
            )
            for number, one in enumerate(table.requests)
        ),
        follow=indices.quantity(table.follow),
        minimum=duty((*path, "minimum"), table.minimum),
        full=range_of(context, table.output)[1],
        inverted=table.inverted,
        soft_start=control_ticks(context, table.soft_start_ms),
        rise=rate("rise_per_s"),
        fall=rate("fall_per_s"),
        min_on=control_ticks(context, table.min_on_ms),
        min_off=control_ticks(context, table.min_off_ms),
        on_loss=duty((*path, "on_loss"), table.on_loss),
        control_ms=context.file.clock.control_ms,
        demand=_demand(context, indices, path, table, level),
    )


def _demand(
    context: Context,
    indices: Indices,
    path: KeyPath,
    table: CoolingFanTable | CoolingFanDutyTable,
    level: Level,
) -> FanDemandSpec:
    """Return the further wishes and limits; `level` gives the stage or the duty of a table."""

    def number(where: KeyPath, value: Fraction | None, quantity: str | None) -> int:
        if value is None or quantity is None:
            return 0
        return steps(context, (*path, *where), value, quantity)

    floor, over, after = table.air_conditioning, table.over_voltage, table.after_run
    speed = floor.road_speed if floor else None
    of_floor: KeyPath = ("air_conditioning",)
    return FanDemandSpec(
        compressor=indices.quantities[floor.compressor] if floor else NONE,
        compressor_level=level((*path, *of_floor), floor) if floor else 0,
        road_speed=indices.quantity(speed),
        drop_above=number((*of_floor, "drop_above"), floor.drop_above, speed) if floor else 0,
        restore_below=(
            number((*of_floor, "restore_below"), floor.restore_below, speed) if floor else 0
        ),
        pressures=tuple(
            FanPressureSpec(
                quantity=indices.quantities[one.quantity],
                on=number(("pressures", index, "on"), one.on, one.quantity),
                off=number(("pressures", index, "off"), one.off, one.quantity),
                level=level((*path, "pressures", index), one),
            )
            for index, one in enumerate(table.pressures)
        ),
        inhibit_supply=indices.quantities[over.supply] if over else NONE,
        inhibit_above=number(("over_voltage", "above"), over.above, over.supply) if over else 0,
        inhibit_below=number(("over_voltage", "below"), over.below, over.supply) if over else 0,
        inhibit_on_loss=over.beats_loss if over else False,
        after_run=control_ticks(context, after.longest_ms) if after else 0,
        after_run_level=level((*path, "after_run"), after) if after else 0,
        after_run_above=number(("after_run", "above"), after.above, table.coolant) if after else 0,
        after_run_below=number(("after_run", "below"), after.below, table.coolant) if after else 0,
        after_run_supply=indices.quantities[after.supply] if after else NONE,
        after_run_least_mv=(
            number(("after_run", "least_supply"), after.least_supply, after.supply) if after else 0
        ),
        stage_delay=control_ticks(context, getattr(table, "stage_delay_ms", 0)),
    )
