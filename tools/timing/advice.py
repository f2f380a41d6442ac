"""What would cure a missed deadline: a bit rate, other offsets, other identifiers.

Advice only. Offsets: one of the module's own messages is moved, the rest stays (see `offsets`).
Identifiers: Audsley's assignment ("Optimal
priority assignment and feasibility of static priority tasks with arbitrary start times", University
of York YCS-164, 1991), the lowest priority first, over the places of the identifiers that are free.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tools.timing.offsets import Placed, analyse_placed
from tools.timing.response import Disturbance, Stream, analyse, load

BIT_RATES = (125_000, 250_000, 500_000, 1_000_000)


@dataclass(frozen=True, slots=True)
class OffsetChange:
    """One of our messages, moved to another offset."""

    message: str
    offset_us: int


def curing_bit_rate(
    streams: Sequence[Stream], bit_rate: int, disturbance: Disturbance
) -> int | None:
    """Return the lowest usual bit rate above this one at which all meet their deadlines."""
    for rate in BIT_RATES:
        if rate <= bit_rate or load(streams, rate) >= 1:
            continue
        if all(one.meets for one in analyse(streams, rate, disturbance)):
            return rate
    return None


def curing_offset(
    streams: Sequence[Stream],
    placed: Sequence[Placed],
    bit_rate: int,
    disturbance: Disturbance,
    step_us: int,
) -> OffsetChange | None:
    """Return the first change of one offset, in steps of a tick, after which all deadlines hold."""
    for place, one in enumerate(placed):
        for offset in range(0, one.stream.period_us, step_us):
            if offset == one.offset_us:
                continue
            tried = [*placed[:place], replace(one, offset_us=offset), *placed[place + 1 :]]
            if all(found.meets for found in analyse_placed(streams, tried, bit_rate, disturbance)):
                return OffsetChange(one.stream.name, offset)
    return None


def audsley(
    streams: Sequence[Stream], bit_rate: int, disturbance: Disturbance
) -> dict[str, int] | None:
    """Return identifiers for the free streams so that every deadline is met; None without any.

    Streams of others keep their places. A place is filled from the lowest priority up by the first
    free stream that meets its deadline there; which streams are above matters, their order does
    not, so the first that fits is as good as any.
    """
    places = sorted(streams, key=lambda one: one.priority)
    free = [one for one in places if one.free]
    result: dict[str, int] = {}
    below: list[Stream] = []
    for place in reversed(places):
        if not place.free:
            candidates = [place]
        else:
            # The stream that is there already first: a change has to have a reason.
            candidates = [place] if place in free else []
            candidates += [one for one in reversed(free) if one is not place]
        chosen = None
        for candidate in candidates:
            there = replace(candidate, identifier=place.identifier, extended=place.extended)
            above = [one for one in places if not one.free and one.priority < place.priority]
            above += [one for one in free if one is not candidate]
            if _meets(there, above, below, bit_rate, disturbance):
                chosen = there
                break
        if chosen is None:
            return None
        below.append(chosen)
        if place.free:
            free = [one for one in free if one.name != chosen.name]
            result[chosen.name] = chosen.identifier
    return result


def _meets(
    stream: Stream,
    above: Sequence[Stream],
    below: Sequence[Stream],
    bit_rate: int,
    disturbance: Disturbance,
) -> bool:
    """Return whether a stream meets its deadline under others whose order does not matter."""
    ranked = [
        replace(one, extended=True, identifier=rank)
        for rank, one in enumerate([*above, stream, *below])
    ]
    return analyse(ranked, bit_rate, disturbance)[len(above)].meets
