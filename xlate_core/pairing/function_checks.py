"""Checks of the values of functions that are no matter of shape, one a kind that needs it."""

from fractions import Fraction

from xlate_core.pairing.context import Context
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema_functions import CoolingFanTable, MappingTable


def check_cooling_fan(context: Context, path: KeyPath, fan: CoolingFanTable) -> None:
    """Collect stages that do not rise and requests for none."""
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
    for index, request in enumerate(fan.requests):
        if request.stage > count:
            where = (*path, "requests", index, "stage")
            context.collector.add(where, str(request.stage), f"at most {count} stage(s)")
    if fan.on_loss_stage > count:
        where = (*path, "on_loss_stage")
        context.collector.add(where, str(fan.on_loss_stage), f"at most {count} stage(s)")


def check_mapping(context: Context, path: KeyPath, mapping: MappingTable) -> None:
    """Collect a table that is no table, or one beside a straight line."""
    if mapping.table is None:
        if mapping.otherwise is not None:
            context.collector.add((*path, "otherwise"), "it without a table", "it with a table")
        return
    for key in ("scale", "offset"):
        if getattr(mapping, key) is not None:
            context.collector.add((*path, key), f"{key} and a table", "either of them")
    if mapping.otherwise is None:
        expected = "otherwise: the output for an input that is not in the table"
        context.collector.add((*path, "otherwise"), "no such key", expected)
    seen: set[Fraction] = set()
    for index, (given, _) in enumerate(mapping.table):
        if given in seen:
            where = (*path, "table", index)
            context.collector.add(where, f"{show_ratio(given)} again", "each input value once")
        seen.add(given)
