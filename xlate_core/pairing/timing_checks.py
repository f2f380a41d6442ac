"""Checks of durations: every one is a multiple of the tick it is counted in (rule 2)."""

from collections.abc import Iterator

from pydantic import BaseModel

from xlate_core.pairing.context import Context
from xlate_core.pairing.positions import KeyPath, show_path

CLOCK_KEYS = ("tick_ms", "control_ms")
ON_CONTROL_TICKS = ("fault", "power", "function")  # the tables whose times are control ticks


def check_timing(context: Context) -> None:
    """Collect every duration that its tick does not divide, and impossible sending tables."""
    clock, collector = context.file.clock, context.collector
    if clock.control_ms % clock.tick_ms:
        _not_a_multiple(context, ("clock", "control_ms"), clock.control_ms, clock.tick_ms)
    for path, value in durations(context.file, ()):
        control = path[0] in ON_CONTROL_TICKS
        tick = clock.control_ms if control else clock.tick_ms
        if value % tick:
            _not_a_multiple(context, path, value, tick)
    for path, bus, message in context.received():
        deadline = context.file.receive[bus][message.name].deadline_ms  # type: ignore[index]
        if message.cycle_ms and 0 < deadline <= message.cycle_ms:
            collector.note(
                f"{show_path(path)}: deadline {deadline} ms is not longer than the cycle time "
                f"{message.cycle_ms} ms in the DBC, so good frames come too late"
            )
    for path, bus, message in context.sent():
        table = context.file.transmit[bus][message.name]  # type: ignore[index]
        period = table.period_ms if table.period_ms is not None else message.cycle_ms
        where = (*path, "period_ms")
        if period is None and not table.on_change:
            expected = f"period_ms, on_change = true, or a cycle time of {message.name} in the DBC"
            collector.add(where, "no such key", expected)
        elif not period and not table.on_change:
            collector.add(where, "0", "a period above 0, or on_change = true")
        elif period and table.period_ms is None and period % clock.tick_ms:
            _not_a_multiple(context, where, period, clock.tick_ms, "the DBC's cycle time ")
        if period and table.offset_ms >= period:
            collector.add(
                (*path, "offset_ms"), str(table.offset_ms), f"less than the period {period}"
            )


def _not_a_multiple(
    context: Context, path: KeyPath, value: int, tick: int, source: str = ""
) -> None:
    lower = value // tick * tick
    expected = f"a multiple of {tick} ms: {lower} or {lower + tick}"
    context.collector.add(path, f"{source}{value}", expected)


def durations(model: BaseModel, path: KeyPath) -> Iterator[tuple[KeyPath, int]]:
    """Yield every key that ends in `_ms` with its value, except the two ticks themselves."""
    for name, field in type(model).model_fields.items():
        value = getattr(model, name)
        here = (*path, field.alias or name)
        if name.endswith("_ms") and isinstance(value, int) and name not in CLOCK_KEYS:
            yield here, value
        else:
            yield from _inside(value, here)


def _inside(value: object, path: KeyPath) -> Iterator[tuple[KeyPath, int]]:
    if isinstance(value, BaseModel):
        yield from durations(value, path)
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from _inside(item, (*path, key))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _inside(item, (*path, index))
