"""What is made once for each pairing in a process, and kept while it may be asked for again."""

from collections.abc import Callable
from functools import wraps
from typing import TypeVar

from xlate_core.interface import BridgeSpec

Made = TypeVar("Made")
MOST_KEPT = 16  # pairings


def once_for_each(make: Callable[[BridgeSpec], Made]) -> Callable[[BridgeSpec], Made]:
    """Return a function that remembers what it made of a spec, as long as it is the same object.

    To tell specs apart by what they hold would take longer than most of what is kept.
    """
    kept: dict[int, tuple[BridgeSpec, Made]] = {}

    @wraps(make)
    def made_of(spec: BridgeSpec) -> Made:
        known = kept.get(id(spec))
        if known is None or known[0] is not spec:
            if len(kept) >= MOST_KEPT:
                kept.clear()
            known = kept[id(spec)] = spec, make(spec)
        return known[1]

    return made_of
