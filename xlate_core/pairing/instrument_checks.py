"""Checks of lamps, gauges, counters and the vehicle speed that are no matter of shape."""

from xlate_core.pairing.context import Context
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.layouts import plain_unit
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema_instruments import (
    ConsumptionCounterTable,
    EngineSpeedGaugeTable,
    FuelLevelTable,
    LampPanelTable,
    PulseOutputTable,
    VehicleSpeedTable,
)

LONGEST_FILTER = 32768  # control ticks: a filter comes to rest within a quarter of a step
UNITS = {
    "pulses_per_revolution": ("rpm", "1/min"),
    "pulses_per_km": ("km/h",),
    "flow": ("l/h",),
    "count": ("ul", "ml", "l"),
}


def check_lamp_panel(context: Context, path: KeyPath, panel: LampPanelTable) -> None:
    """Collect causes without hysteresis and lamps that stay dark on loss without a reason."""
    for number, lamp in enumerate(panel.lamps):
        where = (*path, "lamps", number)
        for index, cause in enumerate(lamp.causes):
            if cause.on == cause.off:
                found = f"{show_ratio(cause.off)}, the same as on"
                expected = "less than on for a cause that rises, more for one that falls"
                context.collector.add((*where, "causes", index, "off"), found, expected)
        if lamp.on_loss == "dark" and not lamp.reason.strip():
            expected = "reason: why the lamp may stay dark when its data is lost"
            context.collector.add((*where, "reason"), "no such key", expected)
        if lamp.on_loss == "lit" and lamp.reason:
            found = "a reason with a lamp that is lit on loss"
            context.collector.add((*where, "reason"), found, 'it only with on_loss = "dark"')


def check_engine_speed_gauge(context: Context, path: KeyPath, table: EngineSpeedGaugeTable) -> None:
    """Collect a gauge whose ends do not step alike."""
    _step_alike(context, (*path, "output"), table.input, table.output)


def check_pulse_output(context: Context, path: KeyPath, table: PulseOutputTable) -> None:
    """Collect pulses that fit neither input nor output, and limits upside down."""
    collector = context.collector
    keys = ("pulses_per_revolution", "pulses_per_km")
    given = [key for key in keys if getattr(table, key) is not None]
    if len(given) != 1:
        found = "both" if given else "neither"
        collector.add(path, found, "either pulses_per_revolution or pulses_per_km")
    for key in given:
        _unit(context, (*path, "input"), table.input, UNITS[key])
    output = context.file.quantity.get(table.output)
    if output is not None and (plain_unit(output.unit) != "mHz" or output.resolution != 1):
        found = (
            f'"{table.output}", unit "{output.unit}", resolution {show_ratio(output.resolution)}'
        )
        collector.add((*path, "output"), found, 'a quantity in "mHz", resolution 1')
    if table.lowest_mhz > table.highest_mhz:
        where = (*path, "lowest_mhz")
        collector.add(where, str(table.lowest_mhz), f"at most {table.highest_mhz}, the highest")


def check_fuel_level(context: Context, path: KeyPath, table: FuelLevelTable) -> None:
    """Collect a filter too slow to come to rest, and ends that do not step alike."""
    _step_alike(context, (*path, "output"), table.input, table.output)
    longest = LONGEST_FILTER * context.file.clock.control_ms
    for key in ("standing_filter_ms", "moving_filter_ms"):
        value = getattr(table, key)
        if value > longest:
            context.collector.add((*path, key), str(value), f"at most {longest} ms")
    if table.road_speed is None:
        for key in ("moving_above", "standing_filter_ms"):
            if key in table.model_fields_set:
                context.collector.add((*path, key), f"{key} without road_speed", "it with one")


def check_consumption_counter(
    context: Context, path: KeyPath, table: ConsumptionCounterTable
) -> None:
    """Collect units that make no sum."""
    _unit(context, (*path, "input"), table.input, UNITS["flow"])
    _unit(context, (*path, "output"), table.output, UNITS["count"])


def check_vehicle_speed(context: Context, path: KeyPath, table: VehicleSpeedTable) -> None:
    """Collect wheels that cannot be compared, and what could make the shown speed too low."""
    collector = context.collector
    for index, wheel in enumerate(table.wheels):
        where = (*path, "wheels", index)
        _step_alike(context, where, table.output, wheel)
        if wheel in table.wheels[:index]:
            collector.add(where, f'"{wheel}" again', "each wheel once")
    for key, name in (("output", table.output), ("shown", table.shown)):
        quantity = context.file.quantity.get(name or "")
        if quantity is not None and quantity.range[0] < 0:
            found = f'"{name}", which can be below 0'
            collector.add((*path, key), found, "a range from 0 upwards")
    if table.least_wheels > len(table.wheels):
        expected = f"at most {len(table.wheels)}, the number of wheels"
        collector.add((*path, "least_wheels"), str(table.least_wheels), expected)
    if table.shown is None:
        for key in ("shown_on_loss", "lead", "lead_percent"):
            if key in table.model_fields_set:
                collector.add((*path, key), f"{key} without shown", "it with shown")
        return
    own = context.file.quantity.get(table.output)
    if own is not None:
        _unit(context, (*path, "shown"), table.shown, (plain_unit(own.unit),))
    _check_rounding(context, table.shown)


def _check_rounding(context: Context, shown: str) -> None:
    """A sent signal coarser than the shown speed would round it down, under the true speed."""
    quantity = context.file.quantity.get(shown)
    for path, bus, message in context.sent():
        for name, sent in context.file.transmit[bus][message.name].signals.items():  # type: ignore[index]
            signal = message.signal(name)
            if sent.quantity != shown or signal is None or quantity is None:
                continue
            factor = sent.factor or signal.factor
            if (quantity.resolution * factor.denominator) % factor.numerator:
                found = f"a factor of {show_ratio(factor)} for steps of "
                found += f"{show_ratio(quantity.resolution)}, which may round the speed down"
                expected = f"a resolution of {shown} that is a multiple of the factor"
                context.collector.add((*path, "signals", name), found, expected)


def _step_alike(context: Context, path: KeyPath, one: str, other: str) -> None:
    """Collect two quantities of different unit or resolution."""
    left, right = context.file.quantity.get(one), context.file.quantity.get(other)
    if left is None or right is None:
        return
    if plain_unit(left.unit) != plain_unit(right.unit) or left.resolution != right.resolution:
        found = f'"{other}", unit "{right.unit}", resolution {show_ratio(right.resolution)}'
        expected = f'unit "{left.unit}" and resolution {show_ratio(left.resolution)} of {one}'
        context.collector.add(path, found, expected)


def _unit(context: Context, path: KeyPath, name: str, units: tuple[str, ...]) -> None:
    quantity = context.file.quantity.get(name)
    if quantity is not None and plain_unit(quantity.unit) not in units:
        found = f'"{name}", unit "{quantity.unit}"'
        context.collector.add(path, found, f'a quantity in "{" or ".join(units)}"')
