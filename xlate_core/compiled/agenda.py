"""What is due in which tick: control ticks and cyclic messages, from the tick of taking over on."""

from collections.abc import Callable, Iterator
from itertools import cycle
from math import lcm
from typing import TYPE_CHECKING

from xlate_core.frames import Frame
from xlate_core.reception import NO_CONDITION

if TYPE_CHECKING:
    from xlate_core.compiled.support import Support

LONGEST_AGENDA = 4096  # ticks after which everything repeats; longer ones are worked out on the way
Sends = tuple[Callable[[], Frame | None], ...]
Numbers = tuple[int, ...]
Due = tuple[bool, Sends, Sends, Numbers, Numbers]
"""Whether a control tick is due, what is sent on either bus, and the numbers of those messages."""


def agenda_of(support: "Support", now: int) -> Callable[[], Due | None] | None:
    """Return what says, tick by tick from `now`, whether a control tick and sends are due."""
    engine = support.engine
    support.active = set()
    places: list[tuple[int, int, int]] = []
    for number, (spec, slot) in enumerate(
        zip(engine.spec.transmits, engine.sender.transmits, strict=True)
    ):
        if spec.condition != NO_CONDITION and not engine.common.holds(spec.condition):
            continue
        support.active.add(number)
        if spec.period:
            if not slot.started or not 0 <= slot.due_at - now < spec.period:
                return None
            places.append((number, slot.due_at - now, spec.period))
    control = engine.spec.control_ticks
    length = lcm(control, *(period for _, _, period in places))
    ahead = -engine.common.clockwork.phase % control
    support.entries = []
    if length > LONGEST_AGENDA:
        return _endless(support, places, ahead, control).__next__
    # The same however often it is begun, as long as the phases stand: kept as seen from tick 0.
    grid = [(number, (now + first) % period, period) for number, first, period in places]
    key = (tuple(grid), (now + ahead) % control)
    entries = support.agendas.get(key)
    if entries is None:
        entries = [_due(support, tick, grid, key[1], control) for tick in range(length)]
        support.agendas.clear()
        support.agendas[key] = entries
    begin = now % length
    support.entries, support.turn = entries, begin
    return cycle(entries[begin:] + entries[:begin]).__next__


def _endless(
    support: "Support", places: list[tuple[int, int, int]], ahead: int, control: int
) -> Iterator[Due | None]:
    offset = 0
    while True:
        yield _due(support, offset, places, ahead, control)
        offset += 1


def _due(
    support: "Support", offset: int, places: list[tuple[int, int, int]], ahead: int, control: int
) -> Due | None:
    """Return what is due `offset` ticks from the beginning, None for nothing."""
    transmits = support.engine.spec.transmits
    due = [n for n, first, period in places if offset % period == first]
    is_control = offset % control == ahead
    if not due and not is_control:
        return None
    body, engine = [tuple(n for n in due if transmits[n].key.bus == bus) for bus in (0, 1)]
    sends = support.sends
    return is_control, tuple(sends[n] for n in body), tuple(sends[n] for n in engine), body, engine
