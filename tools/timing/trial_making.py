"""Trials for one source: drawn ones, and directed ones that build the worst case of a way.

Drawn ones sweep the moment over the period of the source and draw phases, lateness, clock errors
and the load: from nobody else on the bus, over the listed traffic with more and more unlisted
frames in bursts, to somebody who babbles. Directed ones build the worst case the bound speaks of:
the change right after a frame was queued, the next frame under all higher priorities at once and
behind the longest unknown frame, its arrival right after the tick from which the wait is longest,
the sent frame again under all higher priorities, every clock slow. The arrival is brought to its
place by running the trial, looking when the frame came, and moving the sender. Where the pairing
allows for disturbed frames, both kinds disturb them.
"""

from collections.abc import Iterator
from random import Random
from typing import NamedTuple

from tools.timing.board_time import board_time
from tools.timing.bounds import Bounds
from tools.timing.changes import LOSSES
from tools.timing.paths import Path
from tools.timing.rig import MICRO_NS, Rig
from tools.timing.trial_run import run_trial
from tools.timing.trials import FULL_PERCENT, Change, Filling, Lateness, Seen, Trial

APPROACHES = 8  # so often a sender is moved until its frame arrives where it should
LATE_NS = 1000  # an arrival so long after a tick has just missed it
LEAD_US = 2000  # what a trial lets pass before anything happens
LONGEST_BURST = 6  # unlisted frames queued at once


def random_trial(
    rig: Rig, change: Change, longest_us: int, chance: Random, part: tuple[int, int] = (0, 1)
) -> Trial:
    """Return a trial with everything drawn: phases, lateness, clocks, load, errors, moment.

    `part` (number, of how many) is the part of the source's period the moment is drawn from.
    """
    skew = rig.pairing.traffic.skew_ppm
    lateness = {
        (name, number): chance.randrange(stream.jitter_us * MICRO_NS + 1)
        for name, (_, stream) in rig.streams.items()
        for number in range(4)
    }
    load = chance.choice((0, chance.randrange(1, FULL_PERCENT), FULL_PERCENT))
    rest = _rest_us(rig, change.source) * MICRO_NS
    at = (part[0] * rest + chance.randrange(rest)) // part[1] + LEAD_US * MICRO_NS
    if is_loss(change):
        # A loss is counted from the last frame, so there has to be one.
        at += 2 * rest
    until = at + _until(longest_us)
    return Trial(
        change=change,
        at=at,
        until=until,
        phases={
            name: chance.randrange(stream.period_us * MICRO_NS)
            for name, (_, stream) in rig.streams.items()
        },
        clocks={name: chance.randint(-skew, skew) for name in rig.streams},
        lateness=Lateness(lateness, 4),
        bridge_ppm=chance.randint(-skew, skew),
        exact=chance.randrange(2) == 0,
        alone=load == 0,
        filling=Filling(load, chance.randint(1, LONGEST_BURST)),
        errors_from=(chance.randrange(until), chance.randrange(until)),
    )


def longest_trial_us(rig: Rig, change: Change, longest_us: int) -> int:
    """Return a time no trial of a change exceeds."""
    return LEAD_US + 8 * _rest_us(rig, change.source) + _until(longest_us) // MICRO_NS


def worst_arrivals(bounds: Bounds, way: Path, own: int) -> list[int]:
    """Return the tick, in one pattern, from which the wait is longest.

    Among several the one from which a frame that answers changes waits for the gap behind a
    periodic one.
    """
    waits = {
        arrival: (
            bounds.shows(way, arrival, own) - arrival,
            bounds.shows_after_periodic(way, arrival, own) - arrival,
        )
        for arrival in range(bounds.pattern(way))
    }
    return [max(waits, key=lambda arrival: waits[arrival])]


class Aim(NamedTuple):
    """What directed trials aim at: the worst case of a way, after a change, with its own ticks."""

    way: Path
    change: Change
    own: int


def directed_trials(
    rig: Rig, bounds: Bounds, aim: Aim, arrival: int, longest_us: int
) -> Iterator[tuple[Trial, Seen]]:
    """Yield trials, and what they showed, that come nearer and nearer to the worst of a way.

    Where our own frames stand in the way of the source's, moving it moves the wait as well; smaller
    and smaller steps then find a place.
    """
    skew = rig.pairing.traffic.skew_ppm
    tick = rig.tick_ns * (1_000_000 + skew) // 1_000_000
    source = aim.way.source_message
    lead = LEAD_US * MICRO_NS
    if source is not None:
        lead += 3 * _rest_us(rig, source) * MICRO_NS
    # A loss is known a deadline after the last frame.
    later = bounds.deadline(aim.way) if aim.way.kind in LOSSES else 0
    first = -(-lead // tick)
    number = first + (arrival - rig.first_tick - first - later) % bounds.pattern(aim.way)
    arrives = (number - 1) * tick + LATE_NS
    known = rig.first_tick + number + later
    done = bounds.shows_after_periodic(aim.way, known, aim.own) - rig.first_tick
    leaves = done * tick + board_time(rig.pairing).us * MICRO_NS
    if source is None:
        trial = _directed(rig, aim, None, arrives, leaves, longest_us)
        trial.at = arrives
        yield trial, run_trial(rig, trial)
        return
    queued = arrives - 3 * MICRO_NS * MICRO_NS
    for approach in range(APPROACHES):
        trial = _directed(rig, aim, source, queued, leaves, longest_us)
        seen = run_trial(rig, trial)
        yield trial, seen
        came = [at for at in seen.arrivals.get(source, ()) if at >= queued]
        if not came or came[0] == arrives:
            return
        step = arrives - came[0]
        queued += step if approach < APPROACHES // 2 else -(-step // 2)


def _directed(
    rig: Rig, aim: Aim, source: str | None, queued: int, leaves: int, longest_us: int
) -> Trial:
    """Return a trial with the source's frame queued at one instant and our frame at another."""
    skew = rig.pairing.traffic.skew_ppm
    source_bus = rig.streams[source][0] if source in rig.streams else None
    phases: dict[str, int] = {}
    clocks: dict[str, int] = {}
    late = 0
    for name, (bus, stream) in rig.streams.items():
        period = stream.period_us * MICRO_NS
        if name == source:
            # The frame before leaves without lateness, this one with all of it.
            clocks[name] = skew
            late = stream.jitter_us * MICRO_NS
            period = period * (1_000_000 + skew) // 1_000_000
            phases[name] = (queued - late) % period
        else:
            instant = queued if bus == source_bus else leaves
            phases[name] = instant % period
    blocking = []
    if source_bus is not None:
        blocking.append((source_bus, queued - 1))
    target = aim.way.target
    if not target.startswith("output."):
        blocking.append((0 if target.startswith("body.") else 1, leaves - 1))
    # One bus for both: then the errors come when the source's frame does.
    errors_from = dict(reversed(blocking))
    at = queued
    number = 0
    if source is not None:
        stream = rig.streams[source][1]
        period = stream.period_us * MICRO_NS * (1_000_000 + skew) // 1_000_000
        number = (queued - late - phases[source]) // period
        # Right after the frame before was queued; for a loss right after this one.
        at = queued + 1 if aim.way.kind in LOSSES else queued - late - period + 1
    return Trial(
        change=aim.change,
        at=at,
        until=at + _until(longest_us) + (2 * _period(rig, source) if source else 0),
        phases=phases,
        clocks=clocks,
        lateness=Lateness({(source, number): late} if source is not None else {}),
        bridge_ppm=skew,
        blocking=tuple(blocking),
        exact=False,
        errors_from=(errors_from.get(0, 0), errors_from.get(1, 0)),
    )


def _period(rig: Rig, source: str) -> int:
    return rig.streams[source][1].period_us * MICRO_NS


def _rest_us(rig: Rig, source: str) -> int:
    """Return the period of the message of a source, or a tenth of a second for a pin."""
    name = ".".join(source.split(".")[:2])
    if name in rig.streams:
        return rig.streams[name][1].period_us
    return 100_000


def is_loss(change: Change) -> bool:
    """Return whether the change is that a sender falls silent."""
    return not change.source.startswith("input.") and change.source.count(".") == 1


def _until(longest_us: int) -> int:
    return (longest_us + longest_us // 4 + 5000) * MICRO_NS
