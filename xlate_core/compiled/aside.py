"""One frame, or one deadline, by the readable engine, while the fast form goes on.

A message that comes for the first time, one that returns, one that stays away: the readable engine
takes that step on the records of the messages it touches, which are written back before and taken
up again after it. All that follows from it is found in the quantities it touched.
"""

from typing import TYPE_CHECKING

from xlate_core.compiled.handlers import choose_handler
from xlate_core.frames import Frame
from xlate_core.reception import UNIT_STALE, expires_at

if TYPE_CHECKING:
    from xlate_core.compiled.support import Support


def receive(support: "Support", frame: Frame, now: int, controls: int) -> bool:
    """Have the readable engine take a frame; True when it has to run the whole tick."""
    number, _ = support.received.get(frame[:3], (-1, 0))
    if number < 0 or support.receives[number] is None:
        return True  # not one of those the text knows
    engine, intake = support.engine, support.engine.intake
    engine.common.now = now
    support.settle_message(number)
    intake.receive(frame)
    if intake._fresh:
        intake._refresh_units(now)
    _take_up(support, number)
    if number in support.judged:
        support.sleepers.wake_control(controls)
    return False


def lose(support: "Support", now: int) -> bool:
    """Have the readable engine lose the units whose deadline is `now`; True for a whole tick."""
    if now >= support.other_expiry:
        return True
    engine, intake = support.engine, support.engine.intake
    engine.common.now = now
    support.settle_ages()
    lost = set()
    for spec, unit in zip(engine.spec.units, intake.units, strict=True):
        clock = intake.clocks[spec.clock]
        running = clock.enabled and unit.status != UNIT_STALE
        if running and now - clock.origin >= expires_at(spec, unit):
            lost.add(spec.message)
    for number in lost:
        support.settle_message(number)
    for clock in intake.clocks:
        clock.next_expiry = 0
    intake._expire_units(now)
    for number in lost:
        _take_up(support, number)
    return False


def _take_up(support: "Support", number: int) -> None:
    """Take up the live state of a message as the readable engine left it."""
    support.absorb_message(number)
    support.look_at_deadlines()
    choose_handler(support, support.engine.spec.messages[number].key.identifier)
