"""When the fast form may take over from the readable engine."""

from typing import TYPE_CHECKING

from xlate_core.quantities import Status
from xlate_core.reception import NEVER_EXPIRES, UNIT_STALE, expires_at

if TYPE_CHECKING:
    from xlate_core.compiled.support import Support


def is_calm(support: "Support") -> bool:
    """Return whether the readable engine's next tick would be an ordinary one."""
    engine = support.engine
    return not (
        engine.common.conditions_moved
        or engine.common.conditions_open
        or engine.terminals.bouncing
        or engine.common.clockwork.first
        or engine.intake._fresh
        or engine.sender.eager
        or engine.sender._routing
        or _supply_waits(support)
        or any(engine.intake.messages[number].bad for number in support.judged)
    )


def _supply_waits(support: "Support") -> bool:
    """Return whether the next control tick publishes another supply than the last one."""
    index = support.engine.spec.power.supply_quantity
    if index < 0:
        return False
    told = support.engine.common.store.states[index]
    supply = min(
        support.engine.common.clockwork.supply_mv, support.engine.spec.quantities[index].high
    )
    return told.value != supply or told.status != Status.VALID


def other_expiry(support: "Support") -> int:
    """Return when a unit without a receive function is lost, or a start-up time ends: a tick."""
    engine, intake = support.engine, support.engine.intake
    uptime = engine.common.clockwork.uptime
    ahead = [one.after - uptime for one in engine.spec.conditions if one.after > uptime]
    found = engine.common.now + min(ahead) - 1 if ahead else NEVER_EXPIRES
    for index, spec in enumerate(support.engine.spec.units):
        clock, unit = intake.clocks[spec.clock], intake.units[index]
        if support.receives[spec.message] is None and clock.enabled and unit.status != UNIT_STALE:
            found = min(found, expires_at(spec, unit) + clock.origin)
    return found
