"""Other situations at rest, in which an input matters that does not matter at plain rest.

At plain rest the car drives along with everything off, so what acts on the cooler, the cruise
control or the starter shows nothing. For ways that share functions an exploration grows a tree of
situations from plain rest, with the functions alone (`desk.py`): a try makes changes in a situation
that is known, lets time pass, and looks how the functions and what they make then stand. Standing
as never before, it is a situation to go on from; with a value never seen it comes first, reached
anew with as few changes as it takes. Tries are of two kinds in turn: one change of one source,
which is how a way is found; and drawn ones: several changes, buttons pressed and let go again, all
that another situation has, senders that fall silent, nothing but time. What a change moves in the
functions has to show in the rig as well, in which nothing may move by itself for as long as a trial
takes. The tries are limited in number, and the draws depend on the seed alone.
"""

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from random import Random

from tools.timing.bounds import Bounds
from tools.timing.changes import Effect, effects, moves_by_itself
from tools.timing.desk import Desk, Situation, message_of
from tools.timing.drawing import carried_by, power_sources, values_of
from tools.timing.paths import Path
from tools.timing.rig import Rig
from tools.timing.trial_making import longest_trial_us
from tools.timing.trials import Change, Stage

TRIES = 1500  # that find no way end an exploration
MOST_KNOWN = 300  # situations, but for those that show something new by itself
LOST_COST = 20  # of a sender that is silent in a situation: it never comes back
SETTLE_MS = 1000  # before the engine is looked at
PRESS_MS = 500
GAP_MS = 300  # between changes
MOST_VERIFIED = 6  # times a way is tried in a rig
CROSSED = 8  # of 20 drawn tries bring two situations together
WAIT_MS = 10_000


@dataclass(frozen=True, slots=True)
class Found:
    """A way that shows, the stages that lead to the situation in which it does, and how it does."""

    way: Path
    resting: tuple[Stage, ...]
    effect: Effect


def groups(wanted: Sequence[Path]) -> list[tuple[Path, ...]]:
    """Return the ways in groups that share functions or, without any, the target; largest first."""
    found: list[tuple[set[str], list[Path]]] = []
    for way in wanted:
        marks = set(way.functions) or {way.target}
        ways = [way]
        for one in [one for one in found if one[0] & marks]:
            found.remove(one)
            marks |= one[0]
            ways = one[1] + ways
        found.append((marks, ways))
    return sorted((tuple(ways) for _, ways in found), key=len, reverse=True)


def explore(rig: Rig, wanted: Sequence[Path], every: Sequence[Path], seed: int) -> list[Found]:
    """Return those of the ways wanted that show in some situation.

    `every` way of the pairing says which sources reach their targets.
    """
    return _Exploration(rig, wanted, every, seed).run()


@dataclass(slots=True)
class _Known:
    """A situation known; the less it has `cost`, the sooner it is gone on from.

    `untried` are single changes from it, in drawn order, those of sources of open ways last.
    """

    at: Situation
    still: Situation
    cost: int
    untried: list[Change]


class _Exploration:
    """The search for one group of ways."""

    def __init__(self, rig: Rig, wanted: Sequence[Path], every: Sequence[Path], seed: int) -> None:
        self.rig = rig
        self.bounds = Bounds(rig.pairing, rig.starts)
        self.open = dict.fromkeys(wanted, MOST_VERIFIED)
        targets = {way.target for way in wanted}
        near = [way for way in every if way.target in targets]
        self.carried = {target: carried_by(rig, target) for target in targets}
        functions = {name for way in near for name in way.functions}
        self.desk = Desk(rig, functions, set().union(*self.carried.values()))
        sources = dict.fromkeys([*(way.source for way in near), *power_sources(rig)])
        self.values = values_of(rig, sources)
        mine = set(sources)
        self.messages = [
            name
            for name in rig.senders()
            for feeding in self.desk.sources
            if not mine.isdisjoint(feeding) and name in map(message_of, feeding)
        ]
        self.messages = list(dict.fromkeys(self.messages))
        self.chance = Random(f"{seed} {wanted[0].name}")
        self.found: list[Found] = []
        self.rigs: dict[tuple[Stage, ...], Rig] = {(): rig}
        self.known: list[_Known] = []
        self.seen: set[tuple[object, ...]] = set()
        self.single: set[tuple[int, object]] = set()
        self.settle_ms = SETTLE_MS + rig.look_ms
        self._keep(self.desk.plain)

    def run(self) -> list[Found]:
        """Try until every way is found, or for long nothing more."""
        idle = 0
        while self.open and idle < TRIES:
            before = len(self.found)
            known = min(self.known, key=lambda one: one.cost)
            known.cost += 1
            if known.untried and known.cost % 2:
                self._one_change(known)
            else:
                now = known.at
                for stage in self._drawn(now):
                    now = self.desk.after(now, stage)
                self._keep(now)
            idle = idle + 1 if len(self.found) == before else 0
        return self.found

    def _keep(self, now: Situation) -> None:
        """Take note of a situation in which something stands as never before."""
        standing = self.desk.standing(now)
        new = set(enumerate(standing)) - self.single
        if standing in self.seen or (not new and len(self.known) >= MOST_KNOWN):
            return
        self.single |= new
        if new and len(now.values) > 1 and not now.silent:
            now = self._leaner(now, new)
            standing = self.desk.standing(now)
        self.seen.add(standing)
        untried = [
            Change(source, value)
            for source, values in self.values.items()
            for value in values
            if value != self._value(now, source)
        ]
        untried += [Change(one) for one in self.messages if one not in now.silent]
        self.chance.shuffle(untried)
        wanted = {way.source for way in self.open}
        untried.sort(key=lambda one: one.source in wanted)
        cost = LOST_COST * len(now.silent) - (2 * len(untried) if new else 0)
        still = self.desk.after(now, Stage((), self.settle_ms))
        self.known.append(_Known(now, still, cost, untried))

    def _leaner(self, now: Situation, new: set[tuple[int, object]]) -> Situation:
        """Return a situation with as little changed as what is new in this one needs."""

        def reached(values: dict[str, int]) -> Situation | None:
            other = self.desk.plain
            for stage in one_by_one(itertools.starmap(Change, values.items()), self.settle_ms):
                other = self.desk.after(other, stage)
            return other if new <= set(enumerate(self.desk.standing(other))) else None

        kept = dict(now.values)
        best = reached(kept)
        if best is None:
            return now
        for name in now.values:
            fewer = {other: value for other, value in kept.items() if other != name}
            found = reached(fewer)
            if found is not None:
                kept, best = fewer, found
        return best

    def _one_change(self, known: _Known) -> None:
        """Change one source; where that shows on an open way, the rig has the say."""
        change = known.untried.pop()
        later = self.desk.after(known.at, Stage((change,), self.settle_ms))
        ways = [
            way
            for way in self.open
            if way.source == change.source
            and known.still.moving.isdisjoint(self.carried[way.target])
            and self.desk.otherwise(later, known.still, self.carried[way.target])
        ]
        if ways:
            self._verify(known.at.resting, change, ways)
        self._keep(later)

    def _verify(self, resting: tuple[Stage, ...], change: Change, ways: list[Path]) -> None:
        """Try the change in a rig brought into the situation."""
        rig = self._rig(resting)
        shown = effects(rig, self.bounds, change.source, ways, [change])
        needed = {
            way: trial_ms(rig, self.bounds, way, shown[way.target])
            for way in ways
            if way.target in shown
        }
        moved = moves_by_itself(rig, max(needed.values(), default=0))
        for way in ways:
            effect = shown.get(way.target)
            if effect is not None and needed[way] < moved.get(way.target, needed[way] + 1):
                self.found.append(Found(way, resting, effect))
                del self.open[way]
            else:
                self.open[way] -= 1
                if not self.open[way]:
                    del self.open[way]

    def _rig(self, resting: tuple[Stage, ...]) -> Rig:
        if resting not in self.rigs:
            self.rigs[resting] = self._rig(resting[:-1]).onward(resting[-1])
        return self.rigs[resting]

    def _drawn(self, now: Situation) -> Iterator[Stage]:
        """Yield the stages of a drawn try."""
        chance, settle = self.chance, self.settle_ms
        sort = chance.randrange(20)
        if sort == 0:
            yield Stage((), WAIT_MS)
            return
        if sort < 3 and self.messages:
            lost = chance.sample(self.messages, min(len(self.messages), chance.choice((1, 2, 2))))
            yield from one_by_one(map(Change, lost), settle)
            return
        if sort < CROSSED:
            other = chance.choice(self.known).at
            yield from one_by_one(itertools.starmap(Change, other.values.items()), settle)
            return
        names = list(self.values)
        chosen = chance.sample(names, min(len(names), chance.choice((1, 2, 3))))
        part = chance.random()
        changes = tuple(
            Change(name, values[int(part * len(values))] if sort < 12 else chance.choice(values))
            for name in chosen
            for values in [self.values[name]]
        )
        pressed = [one.source for one in changes if one.value < len(self.values[one.source])]
        if sort % 2 and pressed:
            yield from one_by_one(changes, PRESS_MS)
            yield from one_by_one((Change(one, self._value(now, one)) for one in pressed), settle)
        else:
            yield from one_by_one(changes, settle)

    def _value(self, now: Situation, source: str) -> int:
        """Return the value of a source in a situation."""
        if source in now.values:
            return now.values[source]
        if source.startswith("input."):
            name = source.removeprefix("input.")
            if name in self.rig.names.levels:
                return int(self.rig.inputs.levels[self.rig.names.levels[name][0]])
            return self.rig.inputs.counts[self.rig.names.analogues[name]]
        bus, message, signal = source.split(".")
        return self.rig.values[f"{bus}.{message}"][signal]


def one_by_one(changes: Iterable[Change], ms: int) -> Iterator[Stage]:
    """Yield stages that make changes one after the other; the last lasts so many ms.

    At once they would not be: frames and pins take different times to the functions.
    """
    every = list(changes)
    for number, change in enumerate(every, start=1):
        yield Stage((change,), ms if number == len(every) else GAP_MS)


def trial_ms(rig: Rig, bounds: Bounds, way: Path, effect: Effect) -> int:
    """Return how long the trials of a way take at most."""
    bound = bounds.reaction(way, effect.own)
    return longest_trial_us(rig, effect.change, int(bound.us) if bound is not None else 0) // 1000
