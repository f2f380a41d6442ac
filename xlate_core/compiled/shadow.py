"""A trial of the readable engine's own control tick, without its functions, on recording copies.

Faults, fault memory and power mode are tried by the very code that defines them: a shadow of that
part of the engine, every state record of which is a copy, runs its control tick.
"""

from copy import copy
from dataclasses import is_dataclass
from typing import Any

from xlate_core.bridge import Bridge
from xlate_core.compiled.tracing import UntraceableError
from xlate_core.compiled.trial import Opened, RecordedStore, Rest, copied, judge, open_record

RECORDS = ("faults", "operation", "entries", "snapshots", "power", "sleep")
"""What a control tick moves, functions aside."""


def try_control(bridge: Bridge, beside: Any, good: int) -> Rest | None:
    """Return what keeps faults and power mode at rest when `good` frames came, or None.

    `beside` is the interpreted engine beside the bridge, of which shadows are made.
    """
    opened: list[Opened] = []
    store = RecordedStore(bridge.common.store, beside.spec.quantities)
    try:
        _shadow(bridge, beside, store, opened, good).tick()
    except (UntraceableError, AttributeError, TypeError):
        return None
    return judge(opened, store)


def _shadow(
    bridge: Bridge, beside: Any, store: RecordedStore, opened: list[Opened], good: int
) -> Any:
    """Return a copy of the control part; its tick touches nothing of the original."""
    common = copy(beside.common)
    common.conditions = bridge.common.conditions
    common.now = bridge.common.now
    common.store = store
    common.observer = None
    common.clockwork = _opened(bridge.common.clockwork, opened)
    common.lines = _opened(bridge.common.lines, opened)
    shadow = copy(beside.control)
    shadow.common = common
    shadow.bus_watch = copy(beside.bus_watch)
    shadow.bus_watch.common = common
    shadow.messages = dict.fromkeys(range(len(bridge.intake.messages)))
    for index in common.judged:  # it looks at no others
        shadow.messages[index] = copied(bridge.intake.messages[index])
        shadow.messages[index].good = good
    shadow.power_hold = bridge.control.power_hold
    shadow._functions = ()
    shadow.functions = []
    shadow.moved = set()
    for name in RECORDS:
        setattr(shadow, name, _opened(getattr(bridge.control, name), opened))
    return shadow


def _opened(value: Any, opened: list[Opened]) -> Any:
    """Return recording copies of state records, alone or in lists; anything else as it is."""
    if isinstance(value, list):
        return [_opened(one, opened) for one in value]
    if is_dataclass(value) and hasattr(value, "FIELDS"):
        return open_record(value, opened)
    return value
