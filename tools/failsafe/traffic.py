"""The senders around a bridge: when each sends, and its next frame."""

from dataclasses import replace
from math import lcm

from hil.vectors.senders import Sender, next_frame
from tools.failsafe.names import TableNames
from xlate_core.frames import Frame
from xlate_core.protection import next_counter, seal

Sealed = dict[tuple[str, bytes, int], Frame]  # message, payload, counter -> frame


def frame_of(sender: Sender, now: int, sealed: Sealed) -> Frame | None:
    """Return the next frame of a sender; one that only counts is sealed once for each count."""
    if sender.silent:
        return None
    received = sender.received
    if sender.packed is None or sender.disturbances or sender.selecting:
        stimulus = next_frame(sender, now)
        return None if stimulus is None else stimulus.frame
    number = sender.counter
    if received.counter is not None:
        sender.counter = next_counter(received.counter, number)
    key = (received.name, sender.packed, number)
    frame = sealed.get(key)
    if frame is None:
        data = seal(received.counter, received.checksum, sender.packed, number)
        layout = received.layout
        frame = Frame(layout.bus, layout.extended, layout.identifier, data)
        sealed[key] = frame
    return frame


def calendar_of(names: TableNames, tick_ms: int) -> tuple[tuple[str, ...], ...]:
    """Return who sends in which tick; it begins again when every period has ended together."""
    periods = {
        name: max(1, received.layout.cycle_ms // tick_ms)
        for name, received in names.names.received.items()
        if received.layout.cycle_ms
    }
    return tuple(
        tuple(
            name
            for place, (name, period) in enumerate(periods.items())
            if (tick + place) % period == 0
        )
        for tick in range(lcm(*periods.values()))
    )


def copies(senders: dict[str, Sender]) -> dict[str, Sender]:
    """Return senders that can be disturbed without disturbing the others."""
    return {
        name: replace(
            sender,
            values=dict(sender.values),
            ramps=dict(sender.ramps),
            disturbances={kind: list(entry) for kind, entry in sender.disturbances.items()},
        )
        for name, sender in senders.items()
    }
