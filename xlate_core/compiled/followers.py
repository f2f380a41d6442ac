"""What follows a change of a quantity, as lines of the generated text."""

from dataclasses import dataclass

from xlate_core.functions import PURE
from xlate_core.interface import BridgeSpec
from xlate_core.pins import PinKind
from xlate_core.transmission import OnLoss


@dataclass(frozen=True, slots=True)
class Followers:
    """Per quantity: open bits of sent messages, functions that only follow it, driven pin kinds."""

    packs: tuple[tuple[tuple[int, int], ...], ...]  # (message, bits of its packs)
    events: tuple[tuple[int, ...], ...]  # messages sent on change
    stops: tuple[tuple[int, ...], ...]  # messages that stop on loss
    pure: tuple[int, ...]  # bits of functions
    pins: tuple[tuple[PinKind, ...], ...]


def followers_of(spec: BridgeSpec) -> Followers:
    """Return what follows each quantity of a pairing."""
    packs, events, stops, pure, pins = [], [], [], [], []
    for index, quantity in enumerate(spec.quantities):
        bits = []
        for message in quantity.senders:
            entries = enumerate(spec.transmits[message].packs)
            bits.append((message, sum(1 << n for n, pack in entries if pack.quantity == index)))
        packs.append(tuple((message, mask) for message, mask in bits if mask))
        sent = [(message, spec.transmits[message]) for message in quantity.senders]
        events.append(tuple(message for message, one in sent if one.on_change))
        stops.append(tuple(message for message, one in sent if one.on_loss is OnLoss.STOP))
        pure.append(
            sum(
                1 << number
                for number, function in enumerate(spec.functions)
                if isinstance(function, PURE) and function.input == index
            )
        )
        pins.append(tuple(sorted({p.kind for p in spec.pins.outputs if p.quantity == index})))
    return Followers(tuple(packs), tuple(events), tuple(stops), tuple(pure), tuple(pins))


def mark_lines(followers: Followers, quantity: int) -> list[str]:
    """Return the lines that note a new value of a quantity."""
    lines = [f"d{message} |= {mask}" for message, mask in followers.packs[quantity]]
    lines += [f"eager.add({message})" for message in followers.events[quantity]]
    if followers.pure[quantity]:
        lines.append(f"moved |= {followers.pure[quantity]}")
    lines += [f"pins_{kind.name.lower()} = True" for kind in followers.pins[quantity]]
    return lines


def mark_names(followers: Followers, quantity: int) -> list[str]:
    """Return the names those lines change."""
    names = [f"d{message}" for message, _ in followers.packs[quantity]]
    names += ["moved"] if followers.pure[quantity] else []
    return names + [f"pins_{kind.name.lower()}" for kind in followers.pins[quantity]]
