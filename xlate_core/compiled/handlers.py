"""Who takes which received identifier: a receive function, a router, or the readable engine."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from xlate_core.compiled.sending_events import ROUTES
from xlate_core.frames import MAX_STANDARD_IDENTIFIER, Frame
from xlate_core.protection import NO_REFERENCE
from xlate_core.reception import UNIT_FRESH

if TYPE_CHECKING:
    from xlate_core.compiled.support import Support

NOBODY, BY_HANDLER = -1, -2  # instead of the number of the message that takes an identifier


def _router(support: "Support", number: int) -> Callable[[Frame], bool | None]:
    """Return who takes the frames of a message that is only routed, as it comes."""
    message = support.engine.spec.messages[number]
    least = 0 if message.allow_short else message.length

    def route(frame: Frame) -> bool | None:
        if number in support.judged:
            return True
        if len(frame.data) < least:
            support.reject(number, frame.data)
            return None
        support.engine.sender.route(message, frame)
        support.eager.add(ROUTES)
        return None

    return route


def by_identifier(support: "Support") -> dict[int, list[int]]:
    """Return the numbers of the received messages by identifier."""
    found: dict[int, list[int]] = {}
    for number, message in enumerate(support.engine.spec.messages):
        found.setdefault(message.key.identifier, []).append(number)
    return found


def choose_handlers(support: "Support") -> None:
    """Choose who takes which identifier: receive functions where all is ordinary."""
    support.handlers.clear()
    support.takers[:] = [NOBODY] * (MAX_STANDARD_IDENTIFIER + 1)
    for _, _, identifier in support.engine.intake._own_keys:
        support.handlers[identifier] = support.stranger
        _note_taker(support, identifier, BY_HANDLER)
    for identifier in support.keys:
        choose_handler(support, identifier)


def choose_handler(support: "Support", identifier: int) -> None:
    """Choose who takes the received messages of one identifier."""
    numbers = support.keys[identifier]
    chosen = {support.engine.spec.messages[n].key: _handler(support, n) for n in numbers}
    alone = chosen.get(support.engine.spec.messages[numbers[0]].key)
    if len(chosen) == 1 and alone is not None and alone in support.receives:
        support.handlers[identifier] = alone
        _note_taker(support, identifier, numbers[0])
    else:
        support.handlers[identifier] = _dispatcher(support, chosen)
        _note_taker(support, identifier, BY_HANDLER)
    for number in numbers:
        receive = support.receives[number]
        known = chosen[support.engine.spec.messages[number].key]
        support.ready[number] = receive is not None and known == receive


def _note_taker(support: "Support", identifier: int, taker: int) -> None:
    """Note who takes an identifier of 11 bits: a message by number, NOBODY or BY_HANDLER."""
    if identifier <= MAX_STANDARD_IDENTIFIER:
        support.takers[identifier] = taker


def _dispatcher(support: "Support", chosen: dict[Any, Any]) -> Callable[[Frame], bool | None]:
    """Return who tells frames of one identifier apart; None in `chosen` leaves a frame."""

    def dispatch(frame: Frame) -> bool | None:
        key = frame[:3]
        if key not in chosen:
            support.stranger(frame)
            return None
        handler = chosen[key]
        return True if handler is None else bool(handler(frame))

    return dispatch


def _handler(support: "Support", number: int) -> Callable[[Frame], bool | None] | None:
    """Return the receive function of a message, None unless everything about it is ordinary."""
    receive: Callable[[Frame], bool | None] | None = support.receives[number]
    message = support.engine.spec.messages[number]
    state = support.engine.intake.messages[number]
    if message.routes and not message.units and not message.guarded:
        return _router(support, number)
    if receive is None or (message.counter is not None and state.reference == NO_REFERENCE):
        return None
    if message.selector is None:
        for unit in message.units:
            ordinary = support.engine.intake.units[unit].status == UNIT_FRESH
            if not ordinary or support.words[unit].word < 0:
                return None
    return receive
