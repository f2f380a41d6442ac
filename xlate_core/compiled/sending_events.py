"""Sending when something changed: routed frames, event messages, messages that stop on loss."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from xlate_core.events import Reason
from xlate_core.frames import Frame
from xlate_core.signals import WORD_OCTETS, insert, intel_word
from xlate_core.transmission import OnLoss, TransmitState, clear_slot

if TYPE_CHECKING:
    from xlate_core.compiled.support import Support

ROUTES = -1  # noted beside the messages to look at: routed frames wait
Frames = tuple[tuple[Frame, ...], tuple[Frame, ...]]


def send_events(
    support: "Support", now: int, body: Iterable[Any], engine_bus: Iterable[Any]
) -> Frames:
    """Send what is due and what changed, in the listed order (rule 12)."""
    due = {support.numbers[send] for send in (*body, *engine_bus)}
    noted = set(support.eager) | support.looks.pop(now, set())
    support.eager.clear()
    frames: tuple[list[Frame], list[Frame]] = ([], [])
    if ROUTES in noted:
        noted.discard(ROUTES)
        support.engine.sender._routing = False
        for route in support.engine.sender.routes:
            for waiting in route.waiting:
                frames[waiting.bus].append(waiting)
            route.waiting.clear()
    specs = support.engine.spec.transmits
    for number in sorted(noted):
        if specs[number].on_loss is OnLoss.STOP:
            _stop_or_resume(support, number)
    for number in sorted(due | noted):
        spec = specs[number]
        if number not in support.active:
            if spec.on_change:
                support.packs[number]()
            continue
        goes = number in due
        if spec.on_change and support.packs[number]() and not goes:
            last = support.sent_at(number)
            goes = last is None or now - last >= spec.min_gap
        if goes:
            frame = support.sends[number]()
            if frame is not None:
                frames[spec.key.bus].append(frame)
        if spec.on_change and support.packs[number]():
            last = support.sent_at(number)
            if last is not None:
                at = max(last + spec.min_gap, now + 1)
                support.looks.setdefault(at, set()).add(number)
    return tuple(frames[0]), tuple(frames[1])


def _stop_or_resume(support: "Support", number: int) -> None:
    """Work out whether a message has to be silent; tell when that changed."""
    slot = support.engine.sender.transmits[number]
    before = slot.stopped
    support.stop(number)
    if slot.stopped != before:
        reason = Reason.SENDING_STOPPED if slot.stopped else Reason.SENDING_RESUMED
        support.engine.common.tell(reason, support.engine.spec.transmits[number].name, 0)


def unsealed(support: "Support", number: int, data: bytes) -> bytes:
    """Return the payload before counter and checksum of a frame that was handed over."""
    keep, base, _, length = support.slots[number]
    return (intel_word(data) & keep | base).to_bytes(WORD_OCTETS, "little")[:length]


def slot_facts(support: "Support", number: int) -> tuple[int, int, tuple[int, int], int]:
    """Return which bits a payload keeps, the others' values, and the words of an empty slot."""
    spec = support.engine.spec.transmits[number]
    sealed = bytes(len(spec.base))
    ones = (1 << 8 * len(spec.base)) - 1
    for one in (spec.counter, spec.checksum):
        if one is not None:
            sealed = insert(one.signal, sealed, -1)
    empty = TransmitState()
    clear_slot(spec, empty)
    away = intel_word(sealed)
    base = spec.base
    for entry in spec.packs:
        base = insert(entry.signal, base, 0)
    return (
        ones & ~away,
        intel_word(base) & away,
        (empty.intel, empty.motorola),
        len(spec.base),
    )
