"""Names to indices: the order in which the engine holds what bridge.toml names."""

from dataclasses import dataclass

from xlate_core.frames import FrameKey
from xlate_core.pairing.context import ENGINE_QUANTITIES, Context, uses

NONE = -1


@dataclass(frozen=True, slots=True)
class Indices:
    """Index by name; messages by what is on the wire, received ones before only routed ones."""

    quantities: dict[str, int]
    conditions: dict[str, int]
    messages: dict[FrameKey, int]

    def quantity(self, name: str | None) -> int:
        """Return the index of a quantity, -1 for None."""
        return NONE if name is None else self.quantities[name]

    def condition(self, name: str | None) -> int:
        """Return the index of a condition, -1 for None."""
        return NONE if name is None else self.conditions[name]


def number_names(context: Context) -> Indices:
    """Return the indices of a pairing whose names have been checked."""
    quantities = {name: index for index, name in enumerate(context.file.quantity)}
    used = {name for _, name in uses(context.file)}
    for name in ENGINE_QUANTITIES:
        if name in used:
            quantities[name] = len(quantities)
    messages: dict[FrameKey, int] = {}
    for _, _, message in context.received():
        messages.setdefault(message.key, len(messages))
    for route in context.file.route.values():
        if found := context.named_message(route.from_):
            messages.setdefault(found[1].key, len(messages))
    conditions = {name: index for index, name in enumerate(context.file.condition)}
    return Indices(quantities, conditions, messages)
