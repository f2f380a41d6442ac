"""A trial of the readable engine's own control tick, without its functions, on recording copies.

Faults, fault memory and power mode are tried by the very code that defines them: a shadow of the
engine, every state record of which is a copy, runs its control tick.
"""

from copy import copy
from dataclasses import is_dataclass
from typing import Any

from xlate_core.bridge import Bridge
from xlate_core.compiled.tracing import UntraceableError
from xlate_core.compiled.trial import Opened, RecordedStore, Rest, judge, open_record

WITHOUT_STATE = {"functions", "level_inputs", "common", "intake", "sender", "spec"}


def try_control(bridge: Bridge, good: int) -> Rest | None:
    """Return what keeps faults and power mode at rest when `good` frames came, or None."""
    opened: list[Opened] = []
    store = RecordedStore(bridge.common.store)
    try:
        _shadow(bridge, store, opened, good)._control_tick()
    except (UntraceableError, AttributeError, TypeError):
        return None
    return judge(opened, store)


def _shadow(bridge: Bridge, store: RecordedStore, opened: list[Opened], good: int) -> Bridge:
    """Return a copy of the engine whose control tick touches nothing of the original."""
    shadow = copy(bridge)
    shadow.common = copy(bridge.common)
    shadow.common.store = store  # type: ignore[assignment]
    shadow.common.observer = None
    shadow.common.lines = _opened(bridge.common.lines, opened)
    shadow.intake = copy(bridge.intake)
    shadow.intake.messages = [copy(message) for message in bridge.intake.messages]
    for index in bridge.common.judged:
        shadow.intake.messages[index].good = good
    shadow._functions = ()
    shadow.functions = []
    shadow._moved = set()
    for name in Bridge.__slots__:
        if name not in WITHOUT_STATE and not name.startswith("_"):
            value = getattr(bridge, name)
            setattr(shadow, name, _opened(value, opened))
    return shadow


def _opened(value: Any, opened: list[Opened]) -> Any:
    """Return recording copies of state records, alone or in lists; anything else as it is."""
    if isinstance(value, list):
        return [_opened(one, opened) for one in value]
    if is_dataclass(value) and hasattr(value, "FIELDS"):
        return open_record(value, opened)
    return value
