"""Checks of the values of functions that are no matter of shape, one a kind that needs it."""

from fractions import Fraction

from xlate_core.pairing.context import Context
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.schema_functions import MappingTable


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
