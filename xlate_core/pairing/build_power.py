"""Specs of the power mode, of sleep and of bus supervision."""

from xlate_core.buses import BusSpec
from xlate_core.frames import BUS_NAMES
from xlate_core.pairing.context import POWER_MODE, SUPPLY, Context
from xlate_core.pairing.indices import NONE, Indices
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.scaling import steps
from xlate_core.pairing.schema_power import SupervisionTable
from xlate_core.power import PowerSpec, SleepSpec


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
        sleep=_build_sleep(context, indices),
    )


def _build_sleep(context: Context, indices: Indices) -> SleepSpec | None:
    """Return when the module sleeps; None when it never does."""
    table = context.file.power.sleep
    if table is None:
        return None
    control = context.file.clock.control_ms
    return SleepSpec(
        after=table.after_ms // control,
        quiet_after=table.quiet_after_ms // control,
        wake_buses=sum(1 << BUS_NAMES.index(name) for name in set(table.wake_by)),
        wake=tuple(indices.quantities[name] for name in table.wake),
    )


def build_buses(context: Context) -> tuple[BusSpec, BusSpec]:
    """Return the supervision of both buses."""
    tables = context.file.bus
    tick = context.file.clock.tick_ms
    return _build_bus(tables.body.supervision, tick), _build_bus(tables.engine.supervision, tick)


def _build_bus(table: SupervisionTable | None, tick_ms: int) -> BusSpec:
    """Return the supervision of one bus."""
    if table is None:
        return BusSpec()
    return BusSpec(
        supervised=True,
        quick=table.quick_ms // tick_ms,
        quick_attempts=table.quick_attempts,
        slow=table.slow_ms // tick_ms,
        no_acknowledge=table.no_acknowledge_frames,
        wrong_rate=table.wrong_rate_errors,
        listen_first=table.listen_first_ms // tick_ms,
        flood=table.flood_frames,
    )
