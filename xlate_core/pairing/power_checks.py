"""Checks of bus supervision, of faults of a bus, and of sleep."""

from xlate_core.frames import BUS_NAMES
from xlate_core.pairing.context import Context


def check_power(context: Context) -> None:
    """Collect what cannot be meant in bus supervision and sleep."""
    collector = context.collector
    tables = {name: getattr(context.file.bus, name).supervision for name in BUS_NAMES}
    for name, table in tables.items():
        if table is not None and table.slow_ms < table.quick_ms:
            collector.add(
                ("bus", name, "supervision", "slow_ms"),
                str(table.slow_ms),
                f"at least quick_ms = {table.quick_ms}",
            )
    for name, fault in context.file.fault.items():
        if fault.bus is None and fault.events is not None:
            collector.add(("fault", name, "events"), "events without a bus", "events with bus")
        elif fault.bus is not None and not fault.events:
            expected = 'events: the bus events that count upwards, as ["bus_off"]'
            collector.add(("fault", name, "events"), "no such key", expected)
        if fault.bus is not None and tables[fault.bus] is None:
            found = f"a bus without supervision, {fault.bus}"
            collector.add(("fault", name, "bus"), found, f"a table [bus.{fault.bus}.supervision]")
    sleep = context.file.power.sleep
    if sleep is not None and not sleep.wake_by and not sleep.wake:
        collector.note("power.sleep: only ignition and accessory wake the module")
