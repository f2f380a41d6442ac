"""Specs of lamps, gauges, counters and the vehicle speed, one builder a kind."""

from fractions import Fraction

from xlate_core.arithmetic import INT64_MAX
from xlate_core.functions.consumption_counter import ConsumptionCounterSpec
from xlate_core.functions.engine_speed_gauge import EngineSpeedGaugeSpec
from xlate_core.functions.fuel_level import FuelLevelSpec
from xlate_core.functions.lamps import CauseSpec, LampPanelSpec, LampSpec, Standing
from xlate_core.functions.pulse_output import PulseOutputSpec
from xlate_core.functions.vehicle_speed import VehicleSpeedSpec
from xlate_core.pairing.build_functions import range_of, resolution_of
from xlate_core.pairing.context import Context
from xlate_core.pairing.indices import Indices
from xlate_core.pairing.layouts import plain_unit
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.scaling import over, prove, rate_steps, scale_of, steps
from xlate_core.pairing.schema_instruments import (
    ConsumptionCounterTable,
    EngineSpeedGaugeTable,
    FuelLevelTable,
    Lamp,
    LampPanelTable,
    PulseOutputTable,
    VehicleSpeedTable,
)

MHZ_PER_RPM = Fraction(1000, 60)  # one pulse a revolution
MHZ_PER_KMH = Fraction(1000, 3600)  # one pulse a kilometre
LITRES = {"ul": Fraction(1, 1_000_000), "ml": Fraction(1, 1000), "l": Fraction(1)}
MS_PER_HOUR = 3_600_000


def build_lamp_panel(
    context: Context, indices: Indices, path: KeyPath, table: LampPanelTable
) -> LampPanelSpec:
    """Return the spec of a lamp panel."""
    control = context.file.clock.control_ms
    return LampPanelSpec(
        name=table.name,
        lamps=tuple(
            _lamp(context, indices, (*path, "lamps", number), lamp)
            for number, lamp in enumerate(table.lamps)
        ),
        bulb_check=table.bulb_check_ms // control,
        after_start=table.after_start_ms // control,
    )


def _lamp(context: Context, indices: Indices, path: KeyPath, lamp: Lamp) -> LampSpec:
    control = context.file.clock.control_ms
    causes = []
    for number, cause in enumerate(lamp.causes):
        where = (*path, "causes", number)
        on = steps(context, (*where, "on"), cause.on, cause.quantity, inside=True)
        off = steps(context, (*where, "off"), cause.off, cause.quantity, inside=True)
        if on == off and cause.on != cause.off:
            expected = "at least one step of the quantity between on and off"
            context.collector.add(where, "on and off that fall together", expected)
        causes.append(CauseSpec(indices.quantities[cause.quantity], on, off))
    return LampSpec(
        output=indices.quantities[lamp.output],
        causes=tuple(causes),
        on_delay=lamp.on_delay_ms // control,
        off_delay=lamp.off_delay_ms // control,
        standing=int(Standing[lamp.standing.upper()]),
        in_bulb_check=lamp.bulb_check,
        lit_on_loss=lamp.on_loss == "lit",
    )


def build_engine_speed_gauge(
    context: Context, indices: Indices, path: KeyPath, table: EngineSpeedGaugeTable
) -> EngineSpeedGaugeSpec:
    """Return the spec of an engine speed gauge."""
    clock = context.file.clock
    rates = [
        0
        if (rate := getattr(table, key)) is None
        else rate_steps(context, (*path, key), rate, resolution_of(context, table.output))
        for key in ("rise_per_s", "fall_per_s")
    ]
    return EngineSpeedGaugeSpec(
        name=table.name,
        input=indices.quantities[table.input],
        output=indices.quantities[table.output],
        rise=rates[0],
        fall=rates[1],
        hold=table.hold_ms // clock.control_ms,
        on_loss=steps(context, (*path, "on_loss"), table.on_loss, table.output, inside=True),
        control_ms=clock.control_ms,
    )


def build_pulse_output(
    context: Context, indices: Indices, path: KeyPath, table: PulseOutputTable
) -> PulseOutputSpec:
    """Return the spec of a pulse output; its ratio is exact and proven not to overflow."""
    if table.pulses_per_km is not None:
        key, factor = "pulses_per_km", table.pulses_per_km * MHZ_PER_KMH
    else:
        key, factor = "pulses_per_revolution", (table.pulses_per_revolution or 1) * MHZ_PER_RPM
    ratio = factor * resolution_of(context, table.input)
    scale = scale_of(ratio, Fraction(0))
    prove(context, (*path, key), scale, *range_of(context, table.input), 32)
    for limit in ("highest_mhz", "on_loss_mhz"):
        steps(context, (*path, limit), Fraction(getattr(table, limit)), table.output, inside=True)
    return PulseOutputSpec(
        name=table.name,
        input=indices.quantities[table.input],
        output=indices.quantities[table.output],
        a=scale.a,
        d=scale.d,
        lowest=table.lowest_mhz,
        highest=table.highest_mhz,
        on_loss=table.on_loss_mhz,
    )


def build_fuel_level(
    context: Context, indices: Indices, path: KeyPath, table: FuelLevelTable
) -> FuelLevelSpec:
    """Return the spec of a fuel level."""
    clock = context.file.clock
    moving_above = 0
    if table.road_speed is not None:
        where = (*path, "moving_above")
        moving_above = steps(context, where, table.moving_above, table.road_speed, inside=True)
    return FuelLevelSpec(
        name=table.name,
        input=indices.quantities[table.input],
        output=indices.quantities[table.output],
        road_speed=indices.quantity(table.road_speed),
        moving_above=moving_above,
        standing_ms=table.standing_filter_ms,
        moving_ms=table.moving_filter_ms,
        hold=table.hold_ms // clock.control_ms,
        on_loss=steps(context, (*path, "on_loss"), table.on_loss, table.output, inside=True),
        control_ms=clock.control_ms,
    )


def build_consumption_counter(
    context: Context, indices: Indices, path: KeyPath, table: ConsumptionCounterTable
) -> ConsumptionCounterSpec:
    """Return the spec of a consumption counter; its sum is proven not to overflow."""
    quantity = context.file.quantity.get(table.output)
    litres = LITRES[plain_unit(quantity.unit)] if quantity is not None else Fraction(1)
    hours = Fraction(context.file.clock.control_ms, MS_PER_HOUR)
    flow = resolution_of(context, table.input) * hours
    ratio = over(flow, resolution_of(context, table.output) * litres)
    highest = range_of(context, table.input)[1]
    if highest * ratio.numerator + ratio.denominator > INT64_MAX:
        expected = "resolutions whose product stays inside 64 bit: simpler numbers"
        context.collector.add(path, f"a flow of {highest} steps times {ratio}", expected)
    modulus = steps(context, (*path, "modulus"), table.modulus, table.output)
    _, high = range_of(context, table.output)
    if modulus - 1 > high:
        expected = f"at most {high + 1} steps, so that the count stays in range"
        context.collector.add((*path, "modulus"), f"{modulus} steps", expected)
    return ConsumptionCounterSpec(
        name=table.name,
        input=indices.quantities[table.input],
        output=indices.quantities[table.output],
        a=ratio.numerator,
        d=ratio.denominator,
        modulus=max(modulus, 1),
    )


def build_vehicle_speed(
    context: Context, indices: Indices, path: KeyPath, table: VehicleSpeedTable
) -> VehicleSpeedSpec:
    """Return the spec of a vehicle speed; what the driver sees is proven not to overflow."""
    control = context.file.clock.control_ms
    own = resolution_of(context, table.output)
    shown = resolution_of(context, table.shown) if table.shown is not None else own
    slope = over((1 + table.lead_percent * Fraction(1, 100)) * own, shown)
    scale = scale_of(slope, over(table.lead, shown))
    prove(context, (*path, "lead_percent"), scale, *range_of(context, table.output), 32)
    permille = table.spread_percent * 10
    if permille.denominator != 1 or permille > 1000:
        expected = "0 to 100 in steps of 0.1"
        context.collector.add((*path, "spread_percent"), str(table.spread_percent), expected)
    shown_on_loss = 0
    if table.shown is not None:
        where = (*path, "shown_on_loss")
        shown_on_loss = steps(context, where, table.shown_on_loss, table.shown, inside=True)
    return VehicleSpeedSpec(
        name=table.name,
        wheels=tuple(indices.quantities[wheel] for wheel in table.wheels),
        output=indices.quantities[table.output],
        shown=indices.quantity(table.shown),
        least=table.least_wheels,
        spread=steps(context, (*path, "spread"), table.spread, table.output, inside=True),
        spread_permille=permille.numerator,
        disagree=table.disagree_ms // control,
        hold=table.hold_ms // control,
        on_loss=steps(context, (*path, "on_loss"), table.on_loss, table.output, inside=True),
        shown_on_loss=shown_on_loss,
        a=scale.a,
        b=scale.b,
        d=scale.d,
    )
