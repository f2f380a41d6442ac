"""Checks of the cooling fans that are no matter of shape."""

from xlate_core.pairing.context import Context
from xlate_core.pairing.drive_checks import check_order
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema_fans import CoolingFanDutyTable, CoolingFanTable


def check_cooling_fan(context: Context, path: KeyPath, fan: CoolingFanTable) -> None:
    """Collect stages that do not rise, requests for none, and limits upside down."""
    count = len(fan.stages)
    for index, stage in enumerate(fan.stages):
        where = (*path, "stages", index)
        if stage.off >= stage.on:
            context.collector.add(
                (*where, "off"), show_ratio(stage.off), f"less than on = {show_ratio(stage.on)}"
            )
        if index and stage.on <= fan.stages[index - 1].on:
            before = show_ratio(fan.stages[index - 1].on)
            context.collector.add(
                (*where, "on"), show_ratio(stage.on), f"more than {before} of the stage below"
            )
    asked: list[tuple[KeyPath, int]] = [
        ((*path, "requests", index, "stage"), one.stage) for index, one in enumerate(fan.requests)
    ]
    asked += [
        ((*path, "pressures", index, "stage"), one.stage) for index, one in enumerate(fan.pressures)
    ]
    asked += [((*path, "on_loss_stage"), fan.on_loss_stage)]
    if fan.air_conditioning is not None:
        asked.append(((*path, "air_conditioning", "stage"), fan.air_conditioning.stage))
    if fan.after_run is not None:
        asked.append(((*path, "after_run", "stage"), fan.after_run.stage))
    for where, number in asked:
        if number > count:
            context.collector.add(where, str(number), f"at most {count} stage(s)")
    _check_demand(context, path, fan)


def check_cooling_fan_duty(context: Context, path: KeyPath, fan: CoolingFanDutyTable) -> None:
    """Collect duties that cannot be meant, and limits upside down."""
    output = context.file.quantity.get(fan.output)
    if output is not None and output.range[0] != 0:
        expected = "a quantity whose range begins at 0"
        context.collector.add((*path, "output"), f'"{fan.output}"', expected)
    follow = context.file.quantity.get(fan.follow or "")
    if output is not None and follow is not None and follow.resolution != output.resolution:
        found = f"resolution {show_ratio(follow.resolution)} of {fan.follow}"
        expected = f"{show_ratio(output.resolution)}, as of {fan.output}"
        context.collector.add((*path, "follow"), found, expected)
    if fan.minimum <= 0:
        context.collector.add((*path, "minimum"), show_ratio(fan.minimum), "more than 0")
    _check_demand(context, path, fan)


def _check_demand(
    context: Context, path: KeyPath, fan: CoolingFanTable | CoolingFanDutyTable
) -> None:
    floor, over, after = fan.air_conditioning, fan.over_voltage, fan.after_run
    if floor is not None:
        where = (*path, "air_conditioning")
        for key in ("drop_above", "restore_below"):
            given = getattr(floor, key) is not None
            if given != (floor.road_speed is not None):
                found = f"{key} without road_speed" if given else "no such key"
                context.collector.add((*where, key), found, f"{key} together with road_speed")
        low = ((*where, "restore_below"), floor.restore_below)
        check_order(context, low, ("drop_above", floor.drop_above))
    for index, one in enumerate(fan.pressures):
        check_order(context, ((*path, "pressures", index, "off"), one.off), ("on", one.on))
    if over is not None:
        check_order(context, ((*path, "over_voltage", "below"), over.below), ("above", over.above))
    if after is not None:
        where = (*path, "after_run")
        check_order(context, ((*where, "below"), after.below), ("above", after.above))
        longest = context.file.power.after_run_ms
        if after.longest_ms > longest:
            expected = f"at most power.after_run_ms = {longest}: the module sleeps then"
            context.collector.add((*where, "longest_ms"), str(after.longest_ms), expected)
