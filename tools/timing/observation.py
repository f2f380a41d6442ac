"""Trials of every way: phases swept, loads from idle to full, and the worst phase searched for.

Each source is changed in trials of two kinds. Random ones sweep the moment over the period of the
source and draw phases, lateness, clock errors and the load: from nobody else on the bus, over the
listed traffic with more and more unlisted frames in bursts, to somebody who babbles. Directed ones
build the worst case the bound speaks of: the change right after a frame was queued, the next frame
under all higher priorities at once and behind the longest unknown frame, its arrival right after
the tick from which the wait is longest, the sent frame again under all higher priorities, every
clock slow. The arrival is brought to its place by running the trial, looking when the frame came,
and moving the sender. Where the pairing allows for disturbed frames, both kinds disturb them.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path as FolderPath
from random import Random

from hil import parallel
from tools.timing.board_time import board_time
from tools.timing.bounds import Bound, Bounds
from tools.timing.changes import Effect, effects
from tools.timing.paths import Path, PathKind, paths
from tools.timing.rig import MICRO_NS, Rig
from tools.timing.trial_run import run_trial
from tools.timing.trials import FULL_PERCENT, Change, Filling, Lateness, Seen, Trial
from xlate_core.pairing import Pairing, load
from xlate_core.pairing.traffic import Traffic

NOTHING = Change("")
LOSSES = (PathKind.LOSS_PIN, PathKind.LOSS_SIGNAL)
APPROACHES = 8  # so often a sender is moved until its frame arrives where it should
LATE_NS = 1000  # an arrival so long after a tick has just missed it
LEAD_US = 2000  # what a trial lets pass before anything happens
LONGEST_BURST = 6  # unlisted frames queued at once


@dataclass(slots=True)
class Observed:
    """One way, bound and seen. Samples in ns; `worst` is the trial with the largest reaction.

    `resting` are the values the rig was brought to rest with, so that a trial can be run again.
    """

    path: Path
    bound: Bound | None
    age_bound: Bound | None
    own: int
    effect: Effect | None
    resting: tuple[Change, ...] = ()
    reactions: list[int] = field(default_factory=list)
    ages: list[int] = field(default_factory=list)
    worst: Trial | None = None

    def add(self, ns: int, trial: Trial) -> None:
        """Take a sample."""
        if not self.reactions or ns > max(self.reactions):
            self.worst = trial
        self.reactions.append(ns)


@dataclass(frozen=True, slots=True)
class Share:
    """One source's ways: what a process works on by itself, with random numbers of its own."""

    digest: str
    directory: FolderPath
    traffic: Traffic
    ways: tuple[Path, ...]
    samples: int
    seed: int
    plain: bool
    resting: tuple[Change, ...] = ()


def observe(
    pairing: Pairing,
    samples: int,
    seed: int,
    said: Callable[[int, int, str], None],
    only: Callable[[Path], bool] = lambda path: True,
    jobs: int = 1,
    plain: bool = False,
) -> Iterator[Observed]:
    """Yield every way with its samples, source by source; `said(done, all, source)` is told.

    `jobs` processes share the sources; the samples do not depend on how many they are, nor on
    whether the engine is the `plain` readable one.
    """
    groups: dict[tuple[str, PathKind], list[Path]] = {}
    for path in paths(pairing):
        if only(path):
            groups.setdefault((path.source, path.kind), []).append(path)
    _pairings[pairing.digest] = pairing
    place = (pairing.digest, pairing.directory, pairing.traffic)
    shares = [Share(*place, tuple(ways), samples, seed, plain) for ways in groups.values()]
    signals = [one for one in shares if one.ways[0].kind not in LOSSES]
    losses = [one for one in shares if one.ways[0].kind in LOSSES]
    other_values: dict[str, Change] = {}
    done = 0
    for share, seen in zip(signals, parallel.in_order(observed, signals, jobs), strict=True):
        done += 1
        said(done, len(groups), share.ways[0].source)
        for one in seen:
            if one.effect is not None and share.ways[0].source.count(".") == 2:
                other_values.setdefault(one.path.target, one.effect.change)
        yield from seen
    # A loss whose safe value is the value at rest shows only from another value.
    again: list[Share] = []
    changes = {change.source: change for change in other_values.values()}
    for share, seen in zip(losses, parallel.in_order(observed, losses, jobs), strict=True):
        done += 1
        said(done, len(groups), share.ways[0].source)
        for one in seen:
            if one.effect is not None or one.path.target not in other_values:
                yield one
            else:
                other = tuple(changes.values())
                again.append(Share(*place, (one.path,), samples, seed, plain, other))
    for seen in parallel.in_order(observed, again, jobs):
        yield from seen


_pairings: dict[str, Pairing] = {}
"""The pairings of this process by digest; another process loads its own."""
_rigs: dict[tuple[str, str, bool, tuple[Change, ...]], tuple[Rig, dict[str, int]]] = {}
"""This process's rigs, and due ticks at plain rest, by digest, traffic, engine, values at rest."""


def observed(share: Share) -> list[Observed]:
    """Return all ways of a share with their samples."""
    if share.digest not in _pairings:
        _pairings[share.digest] = load(share.directory)
    pairing = replace(_pairings[share.digest], traffic=share.traffic)
    key = (share.digest, repr(share.traffic), share.plain, share.resting)
    if key not in _rigs:
        rig = Rig(pairing, share.resting, share.plain)
        at_rest = rig if not share.resting else Rig(pairing, plain=share.plain)
        _rigs[key] = rig, at_rest.starts
    rig, starts = _rigs[key]
    bounds = Bounds(pairing, starts)
    source, kind = share.ways[0].source, share.ways[0].kind
    chance = Random(f"{share.seed} {source} {kind.value} {len(share.resting)}")
    return list(_group(rig, bounds, source, share.ways, share.samples, chance))


def _group(
    rig: Rig, bounds: Bounds, source: str, ways: Sequence[Path], samples: int, chance: Random
) -> Iterator[Observed]:
    """Yield all ways from one source."""
    if ways[0].kind is PathKind.ROUTE:
        observed = [
            Observed(way, bounds.reaction(way, 0), None, 0, Effect(NOTHING, 0), rig.resting)
            for way in ways
        ]
        _try_all(rig, bounds, NOTHING, observed, samples, chance)
        yield from observed
        return
    found = effects(rig, bounds, source, list(ways))
    for change in dict.fromkeys(one.change for one in found.values()):
        mine = [way for way in ways if way.target in found and found[way.target].change == change]
        observed = []
        for way in mine:
            own = found[way.target].own
            observed.append(
                Observed(
                    way,
                    bounds.reaction(way, own),
                    bounds.age(way),
                    own,
                    found[way.target],
                    rig.resting,
                )
            )
        _try_all(rig, bounds, change, observed, samples, chance)
        yield from observed
    for way in ways:
        if way.target not in found:
            yield Observed(way, bounds.reaction(way, 0), bounds.age(way), 0, None, rig.resting)


def _try_all(
    rig: Rig, bounds: Bounds, change: Change, ways: list[Observed], samples: int, chance: Random
) -> None:
    """Run the random trials once for all ways, the directed ones for each that differs."""
    longest = max(int(way.bound.us) if way.bound is not None else 0 for way in ways)
    for number in range(samples):
        trial = random_trial(rig, change, longest, chance, (number, samples))
        _note(run_trial(rig, trial), trial, ways)
    tried: set[tuple[str, int, int]] = set()
    for way in ways:
        for arrival in worst_arrivals(bounds, way):
            key = (way.path.target_message or "", len(way.path.functions), arrival)
            if key in tried:
                continue
            tried.add(key)
            for trial, seen in directed_trials(rig, bounds, way, arrival, longest):
                _note(seen, trial, ways)


def _note(seen: Seen, trial: Trial, ways: list[Observed]) -> None:
    """Take what a trial showed."""
    for way in ways:
        if way.path.kind is PathKind.ROUTE:
            for ns in seen.routed.get((way.path.source, way.path.target), ()):
                way.add(ns, trial)
            continue
        ended = seen.effects.get(way.path.target)
        began = _began(way.path, seen, trial)
        if ended is not None and began is not None and ended > began:
            way.add(ended - began, trial)
        source, target = way.path.source_message, way.path.target_message
        if source is not None and target is not None and way.age_bound is not None:
            stage = "control" if way.path.functions else "tick"
            age = seen.ages.get((f"{stage} {source}", target))
            if age is not None:
                way.ages.append(age)


def _began(path: Path, seen: Seen, trial: Trial) -> int | None:
    """Return when the reaction time starts: the change; for a loss the end of the last frame."""
    if path.kind in LOSSES:
        arrivals = seen.arrivals.get(path.source)
        return arrivals[-1] if arrivals else None
    return trial.at


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


def worst_arrivals(bounds: Bounds, way: Observed) -> list[int]:
    """Return the ticks, in one pattern, from which the wait is longest."""
    waits: dict[int, int] = {}
    for arrival in range(bounds.pattern(way.path)):
        waits[arrival] = bounds.shows(way.path, arrival, way.own) - arrival
    longest = max(waits.values())
    return [arrival for arrival, wait in waits.items() if wait == longest][:1]


def directed_trials(
    rig: Rig, bounds: Bounds, way: Observed, arrival: int, longest_us: int
) -> Iterator[tuple[Trial, Seen]]:
    """Yield trials, and what they showed, that come nearer and nearer to the worst of a way.

    Where our own frames stand in the way of the source's, moving it moves the wait as well; smaller
    and smaller steps then find a place.
    """
    skew = rig.pairing.traffic.skew_ppm
    tick = rig.tick_ns * (1_000_000 + skew) // 1_000_000
    source = way.path.source_message
    lead = LEAD_US * MICRO_NS
    if source is not None:
        lead += 3 * _rest_us(rig, source) * MICRO_NS
    first = -(-lead // tick)
    number = first + (arrival - rig.first_tick - first) % bounds.pattern(way.path)
    arrives = (number - 1) * tick + LATE_NS
    done = bounds.shows(way.path, rig.first_tick + number, way.own) - rig.first_tick
    leaves = done * tick + board_time(rig.pairing).us * MICRO_NS
    if source is None:
        trial = _directed(rig, way, None, arrives, leaves, longest_us)
        trial.at = arrives
        yield trial, run_trial(rig, trial)
        return
    queued = arrives - 3 * MICRO_NS * MICRO_NS
    for approach in range(APPROACHES):
        trial = _directed(rig, way, source, queued, leaves, longest_us)
        seen = run_trial(rig, trial)
        yield trial, seen
        came = [at for at in seen.arrivals.get(source, ()) if at >= queued]
        if not came or came[0] == arrives:
            return
        step = arrives - came[0]
        queued += step if approach < APPROACHES // 2 else -(-step // 2)


def _directed(
    rig: Rig, way: Observed, source: str | None, queued: int, leaves: int, longest_us: int
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
    target = way.path.target
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
        at = queued + 1 if way.path.kind in LOSSES else queued - late - period + 1
    return Trial(
        change=way.effect.change if way.effect is not None else Change(str(source)),
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
