"""Checks of the functions around the engine that are no matter of shape, one a kind."""

from fractions import Fraction

from xlate_core.functions.air_conditioning import AirConditioningRefusal
from xlate_core.functions.starter import StarterOutcome
from xlate_core.functions.torque_request import TorqueAnswer
from xlate_core.pairing.context import Context
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema_drive import (
    AirConditioningTable,
    EngineRunningTable,
    FuelPumpTable,
    PermissionWindow,
    PumpCommandTable,
    StarterTable,
    TorqueRequestTable,
)


def check_order(
    context: Context,
    low: tuple[KeyPath, Fraction | None],
    high: tuple[str, Fraction | None],
    equal: bool = False,
) -> None:
    """Collect a value that is not below (or not above, with `equal`) another one."""
    if low[1] is None or high[1] is None:
        return
    if low[1] > high[1] or (low[1] == high[1] and not equal):
        words = "at most" if equal else "less than"
        expected = f"{words} {high[0]} = {show_ratio(high[1])}"
        context.collector.add(low[0], show_ratio(low[1]), expected)


def check_holds(context: Context, path: KeyPath, name: str | None, highest: int) -> None:
    """Collect a written quantity that cannot hold the whole numbers 0 to `highest`."""
    quantity = context.file.quantity.get(name or "")
    if quantity is None:
        return
    low, high = quantity.range
    if quantity.resolution.numerator != 1 or low > 0 or high < highest:
        expected = f"a quantity that holds the whole numbers 0 to {highest}"
        context.collector.add(path, f'"{name}"', expected)


def check_fuel_pump(context: Context, path: KeyPath, pump: FuelPumpTable) -> None:
    """Collect a run on without its reason, a latch not kept, commands outside the bands."""
    check_holds(context, (*path, "output"), pump.output, 1)
    if pump.on_loss is not None and pump.on_loss_reason is None:
        expected = "on_loss_reason: why the pump stays on when engine data is lost"
        context.collector.add((*path, "on_loss_reason"), "no such key", expected)
    if pump.crash is not None and not context.file.power.kept:
        expected = "power.kept = true: the latch ends with an ignition cycle, which must be kept"
        context.collector.add((*path, "crash"), "crash without power.kept = true", expected)
    if pump.command is not None:
        _check_command(context, (*path, "command"), pump.command)


def _check_command(context: Context, path: KeyPath, command: PumpCommandTable) -> None:
    low, high = command.valid
    if low >= high:
        shown = f"[{show_ratio(low)}, {show_ratio(high)}]"
        context.collector.add((*path, "valid"), shown, "[lowest, highest], the lowest first")
    sent: list[tuple[KeyPath, Fraction]] = [
        ((*path, key), getattr(command, key)) for key in ("off", "prime", "base")
    ]
    for number, level in enumerate(command.levels):
        sent.append(((*path, "levels", number, "command"), level.command))
        if number and level.above <= command.levels[number - 1].above:
            before = show_ratio(command.levels[number - 1].above)
            where = (*path, "levels", number, "above")
            expected = f"more than {before} of the level below"
            context.collector.add(where, show_ratio(level.above), expected)
    for where, value in sent:
        if not low <= value <= high:
            expected = f"a command within the valid band {show_ratio(low)}..{show_ratio(high)}"
            context.collector.add(where, show_ratio(value), expected)
        for first, last in command.diagnostic:
            if first <= value <= last:
                expected = f"a command outside the band {show_ratio(first)}..{show_ratio(last)}"
                context.collector.add(where, show_ratio(value), f"{expected}, which is diagnostic")
    if command.hysteresis < 0:
        context.collector.add((*path, "hysteresis"), show_ratio(command.hysteresis), "at least 0")
    if command.answer is not None:
        check_holds(context, (*path, "answer", "output"), command.answer.output, 1)


def check_air_conditioning(context: Context, path: KeyPath, table: AirConditioningTable) -> None:
    """Collect windows that keep less than they give, and outputs that hold too little."""
    for key in ("engine_speed", "coolant", "pressure", "evaporator"):
        window = getattr(table, key)
        if window is not None:
            _check_window(context, (*path, key), window)
    if table.pedal is not None:
        below = ((*path, "pedal", "below"), table.pedal.below)
        check_order(context, below, ("full", table.pedal.full))
    check_holds(context, (*path, "idle_up"), table.idle_up, 1)
    check_holds(context, (*path, "clutch"), table.clutch, 1)
    check_holds(context, (*path, "refusal"), table.refusal, int(max(AirConditioningRefusal)))


def _check_window(context: Context, path: KeyPath, window: PermissionWindow) -> None:
    (engage_low, engage_high), (release_low, release_high) = window.engage, window.release
    check_order(context, ((*path, "engage", 0), engage_low), ("engage[1]", engage_high))
    check_order(context, ((*path, "release", 0), release_low), ("engage[0]", engage_low), True)
    check_order(context, ((*path, "engage", 1), engage_high), ("release[1]", release_high), True)


def check_starter(context: Context, path: KeyPath, table: StarterTable) -> None:
    """Collect speeds that let a turning engine be cranked, and a starter without interlock."""
    low = ((*path, "turning_above"), table.turning_above)
    check_order(context, low, ("release_above", table.release_above), equal=True)
    if not table.all_of and not table.any_of:
        expected = "all_of or any_of: clutch, park or neutral, brake"
        context.collector.add((*path, "all_of"), "no interlock", expected)
    if table.limit_rest_ms < table.rest_ms:
        where, expected = (*path, "limit_rest_ms"), f"at least rest_ms = {table.rest_ms}"
        context.collector.add(where, str(table.limit_rest_ms), expected)
    check_holds(context, (*path, "output"), table.output, 1)
    check_holds(context, (*path, "outcome"), table.outcome, int(max(StarterOutcome)))


def check_torque_request(context: Context, path: KeyPath, table: TorqueRequestTable) -> None:
    """Collect what would alter the number on its way, or make it later than its budget."""
    quantities = context.file.quantity
    request = quantities.get(table.request)
    for key in ("carried", "actual", "maximum", "friction"):
        other = quantities.get(getattr(table, key) or "")
        if request is None or other is None:
            continue
        if other.resolution != request.resolution:
            found = f"resolution {show_ratio(other.resolution)} of {getattr(table, key)}"
            expected = f"{show_ratio(request.resolution)}, as of {table.request}: carried unaltered"
            context.collector.add((*path, key), found, expected)
        elif key == "carried" and (
            other.range[0] > request.range[0] or other.range[1] < request.range[1]
        ):
            shown = f"{show_ratio(request.range[0])}..{show_ratio(request.range[1])}"
            found = f"range {show_ratio(other.range[0])}..{show_ratio(other.range[1])}"
            context.collector.add((*path, key), found, f"a range that holds {shown}")
    if table.tolerance < 0:
        context.collector.add((*path, "tolerance"), show_ratio(table.tolerance), "at least 0")
    check_holds(context, (*path, "carried_active"), table.carried_active, 1)
    check_holds(context, (*path, "answer"), table.answer, int(max(TorqueAnswer)))
    _check_latency(context, path, table)


def _check_latency(context: Context, path: KeyPath, table: TorqueRequestTable) -> None:
    """The way takes at most one control tick and the longest wait for the sent message."""
    for where, _, message in context.sent():
        sent = context.file.transmit[where[1]][message.name]  # type: ignore[index]
        if not any(one.quantity == table.carried for one in sent.signals.values()):
            continue
        period = sent.period_ms if sent.period_ms is not None else message.cycle_ms
        waits = [one for one in (period, sent.min_gap_ms if sent.on_change else None) if one]
        if sent.on_change and not sent.min_gap_ms:
            waits = [0]
        longest = context.file.clock.control_ms + min(waits, default=0)
        if longest > table.latency_budget_ms:
            expected = f"at least {longest} ms: a control tick and the wait for {message.name}"
            found = str(table.latency_budget_ms)
            context.collector.add((*path, "latency_budget_ms"), found, expected)


def check_engine_running(context: Context, path: KeyPath, table: EngineRunningTable) -> None:
    """Collect a hysteresis upside down, and outputs that hold too little."""
    low = ((*path, "running_below"), table.running_below)
    check_order(context, low, ("running_above", table.running_above), equal=True)
    for index, listener in enumerate(table.listeners):
        check_holds(context, (*path, "listeners", index, "output"), listener.output, 1)
