"""Named conditions: power mode, supply window, time since reset, comparisons of quantities.

They are judged on what was committed at the end of the previous tick (rule 3). A term whose own
quantity is lost counts as true, so that loss cannot silence supervision (rule 7).
"""

from dataclasses import dataclass
from enum import Enum

from xlate_core.quantities import STALE, QuantityStore


class Operator(Enum):
    """How a quantity is compared with a constant."""

    EQUAL = "=="
    NOT_EQUAL = "!="
    LESS = "<"
    LESS_OR_EQUAL = "<="
    GREATER = ">"
    GREATER_OR_EQUAL = ">="


@dataclass(frozen=True, slots=True)
class ComparisonSpec:
    """One comparison: quantity index, operator, constant in the quantity's steps."""

    quantity: int
    operator: Operator
    value: int


@dataclass(frozen=True, slots=True)
class ConditionSpec:
    """All given terms must hold; empty tuples and None are not looked at. `after` in ticks."""

    name: str
    power_modes: tuple[int, ...]
    supply_mv: tuple[int, int] | None
    after: int
    comparisons: tuple[ComparisonSpec, ...]


def compare(left: int, operator: Operator, right: int) -> bool:
    """Return left operator right."""
    if operator is Operator.EQUAL:
        return left == right
    if operator is Operator.NOT_EQUAL:
        return left != right
    if operator is Operator.LESS:
        return left < right
    if operator is Operator.LESS_OR_EQUAL:
        return left <= right
    if operator is Operator.GREATER:
        return left > right
    return left >= right


def holds(spec: ConditionSpec, tick: int, mode: int, supply_mv: int, store: QuantityStore) -> bool:
    """Return whether the condition holds in the given tick, on committed values."""
    if tick < spec.after:
        return False
    if spec.power_modes and mode not in spec.power_modes:
        return False
    if spec.supply_mv is not None and not spec.supply_mv[0] <= supply_mv <= spec.supply_mv[1]:
        return False
    for comparison in spec.comparisons:
        state = store[comparison.quantity]
        if state.status == STALE:
            continue
        if not compare(state.value, comparison.operator, comparison.value):
            return False
    return True
