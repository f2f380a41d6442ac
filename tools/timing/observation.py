"""Every way observed: first from plain rest, then from other situations in which its input matters.

A way whose target shows no change of its source from plain rest is sought in other situations by
`situations.py` and observed in the one it was found in. What shows nothing anywhere keeps a reason.
The trials are made in `trial_making.py`. Processes share the sources; every source has random
numbers of its own, so the samples stay the same.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path as FolderPath
from random import Random

from hil import parallel
from tools.timing.bounds import Bound, Bounds
from tools.timing.changes import LOSSES, Effect, effects
from tools.timing.paths import Path, PathKind, paths
from tools.timing.rig import Rig
from tools.timing.situations import Found, explore, groups
from tools.timing.trial_making import Aim, directed_trials, random_trial, worst_arrivals
from tools.timing.trial_run import run_trial
from tools.timing.trials import Change, Seen, Stage, Trial
from xlate_core.pairing import Pairing, load
from xlate_core.pairing.traffic import Traffic

NOTHING = Change("")
MOST_RIGS = 3  # kept by a process


@dataclass(slots=True)
class Observed:
    """One way, bound and seen. Samples in ns; `worst` is the trial with the largest reaction.

    `resting` are the stages the rig was brought to rest with, so that a trial can be run again.
    `reason` says why nothing was seen.
    """

    path: Path
    bound: Bound | None
    age_bound: Bound | None
    own: int
    effect: Effect | None
    resting: tuple[Stage, ...] = ()
    reactions: list[int] = field(default_factory=list)
    ages: list[int] = field(default_factory=list)
    worst: Trial | None = None
    reason: str = ""

    def add(self, ns: int, trial: Trial) -> None:
        """Take a sample."""
        if not self.reactions or ns > max(self.reactions):
            self.worst = trial
        self.reactions.append(ns)


@dataclass(frozen=True, slots=True)
class Place:
    """A pairing as a process can take it up, with the traffic assumed; `plain`: readable engine."""

    digest: str
    directory: FolderPath
    traffic: Traffic
    plain: bool


@dataclass(frozen=True, slots=True)
class Share:
    """One source's ways in one situation: what a process works on by itself.

    `found` are the effects on the ways' targets where they are known already.
    """

    place: Place
    ways: tuple[Path, ...]
    samples: int
    seed: int
    resting: tuple[Stage, ...] = ()
    found: tuple[tuple[str, Effect], ...] = ()


@dataclass(frozen=True, slots=True)
class Search:
    """Ways to be sought in other situations together, and every way of the pairing."""

    place: Place
    ways: tuple[Path, ...]
    every: tuple[Path, ...]
    seed: int


def observe(
    pairing: Pairing,
    samples: int,
    seed: int,
    said: Callable[[int, int, str], None],
    only: Callable[[Path], bool] = lambda path: True,
    jobs: int = 1,
    plain: bool = False,
) -> Iterator[Observed]:
    """Yield every way with its samples; `said(done, all, source)` is told.

    Those that show from plain rest come first, source by source. `jobs` processes share the
    sources; the samples do not depend on how many they are, nor on whether the engine is the
    `plain` readable one.
    """
    every = paths(pairing)
    _pairings[pairing.digest] = pairing
    place = Place(pairing.digest, pairing.directory, pairing.traffic, plain)
    shares = [Share(place, ways, samples, seed) for ways in by_source(filter(only, every))]
    open_ways: list[Observed] = []
    for number, seen in enumerate(parallel.in_order(observed, shares, jobs), start=1):
        said(number, len(shares), shares[number - 1].ways[0].source)
        yield from (one for one in seen if one.effect is not None)
        open_ways += [one for one in seen if one.effect is None]
    if not open_ways:
        return
    missing = [one.path for one in open_ways]
    searches = [Search(place, ways, tuple(every), seed) for ways in groups(missing)]
    found: list[Found] = []
    said(0, len(searches), "other situations")
    sought = parallel.in_order(shown_elsewhere, searches, jobs, few=2)
    for number, some in enumerate(sought, start=1):
        said(number, len(searches), f"other situations: {len(found)} more ways")
        found += some
    shares = _shares_of(found, place, samples, seed)
    for number, seen in enumerate(parallel.in_order(observed, shares, jobs), start=1):
        said(number, len(shares), shares[number - 1].ways[0].source)
        yield from seen
    shown = {one.way for one in found}
    for one in open_ways:
        if one.path not in shown:
            one.reason = _reason(one.path)
            yield one


def by_source(ways: Iterable[Path]) -> list[tuple[Path, ...]]:
    """Return ways grouped by source and kind."""
    groups: dict[tuple[str, PathKind], list[Path]] = {}
    for way in ways:
        groups.setdefault((way.source, way.kind), []).append(way)
    return [tuple(group) for group in groups.values()]


def _shares_of(found: list[Found], place: Place, samples: int, seed: int) -> list[Share]:
    """Return the ways found in situations as shares, those of one situation together."""
    places: dict[tuple[Stage, ...], dict[Path, Effect]] = {}
    for one in found:
        places.setdefault(one.resting, {})[one.way] = one.effect
    return [
        Share(place, ways, samples, seed, resting, tuple((way.target, mine[way]) for way in ways))
        for resting, mine in places.items()
        for ways in by_source(mine)
    ]


def _reason(way: Path) -> str:
    """Return why nothing is seen of a way that was sought in other situations."""
    through = f" through {', '.join(way.functions)}" if way.functions else ""
    return f"no one change of its source moved its output{through} in any situation that was found"


_pairings: dict[str, Pairing] = {}
"""The pairings of this process by digest; another process loads its own."""
_rigs: dict[tuple[str, str, bool, tuple[Stage, ...]], Rig] = {}
"""This process's rigs by digest, traffic, engine and stages."""


def _rig(place: Place, resting: tuple[Stage, ...]) -> Rig:
    """Return a rig, kept for the next share that needs it."""
    if place.digest not in _pairings:
        _pairings[place.digest] = load(place.directory)
    pairing = replace(_pairings[place.digest], traffic=place.traffic)
    key = (place.digest, repr(place.traffic), place.plain, resting)
    if key not in _rigs:
        others = [one for one in _rigs if one[3]]
        if len(others) >= MOST_RIGS:
            del _rigs[others[0]]
        rig = Rig(pairing, plain=place.plain) if not resting else _rig(place, ())
        for stage in resting:
            rig = rig.onward(stage)
        _rigs[key] = rig
    return _rigs[key]


def shown_elsewhere(search: Search) -> list[Found]:
    """Return the ways that show in other situations."""
    return explore(_rig(search.place, ()), search.ways, search.every, search.seed)


def observed(share: Share) -> list[Observed]:
    """Return all ways of a share with their samples."""
    rig = _rig(share.place, share.resting)
    bounds = Bounds(rig.pairing, rig.starts)
    source, kind = share.ways[0].source, share.ways[0].kind
    chance = Random(f"{share.seed} {source} {kind.value} {len(share.resting)}")
    return list(_group(rig, bounds, share, chance))


def _group(rig: Rig, bounds: Bounds, share: Share, chance: Random) -> Iterator[Observed]:
    """Yield all ways from one source."""
    ways = share.ways
    if ways[0].kind is PathKind.ROUTE:
        found = {way.target: Effect(NOTHING, 0) for way in ways}
    else:
        found = dict(share.found) or effects(rig, bounds, ways[0].source, list(ways))
    seen = {
        way: Observed(
            way,
            bounds.reaction(way, found[way.target].own if way.target in found else 0),
            bounds.age(way) if way.kind is not PathKind.ROUTE else None,
            found[way.target].own if way.target in found else 0,
            found.get(way.target),
            rig.resting,
        )
        for way in ways
    }
    for change in dict.fromkeys(one.change for one in found.values()):
        mine = [one for one in seen.values() if one.effect and one.effect.change == change]
        _try_all(rig, bounds, change, mine, share.samples, chance)
    yield from seen.values()


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
        aim = Aim(way.path, change, way.own)
        for arrival in worst_arrivals(bounds, way.path, way.own):
            key = (way.path.target_message or "", len(way.path.functions), arrival)
            if key in tried:
                continue
            tried.add(key)
            for trial, seen in directed_trials(rig, bounds, aim, arrival, longest):
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
