"""Judges many mutants and tells which survive; survivors with a written reason are told apart."""

import tomllib
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from hil.mutation.making import Mutant
from hil.mutation.trial import Fate, Range, judge

EXPLAINED = Path(__file__).with_name("survivors.toml")
NO_MUTANTS = frozenset({Fate.NOT_BUILT, Fate.EQUAL})
"""Fates of what is no mutant at all: the compiler refuses it, or sees the same program."""
KILLED = frozenset({Fate.CAUGHT, Fate.CRASHED})
"""A crash ends the run with a verdict; a hang only with a timeout, so it is no catch."""


@dataclass(slots=True)
class Survey:
    """What became of the mutants. `judged` counts those that are a different program."""

    counts: Counter[Fate] = field(default_factory=Counter)
    alive: list[tuple[Mutant, Fate]] = field(default_factory=list)

    @property
    def taken(self) -> int:
        """Return how many mutants were looked at, in their order."""
        return sum(self.counts.values())

    @property
    def judged(self) -> int:
        """Return how many mutants were run."""
        return sum(count for fate, count in self.counts.items() if fate not in NO_MUTANTS)

    @property
    def killed(self) -> int:
        """Return how many of them the corpus noticed."""
        return sum(self.counts[fate] for fate in KILLED)

    def equivalent(self, known: dict[tuple[str, str, str], "Reason"]) -> int:
        """Return how many survivors are known to do the same as the unbroken core."""
        found = (known.get((one.file, one.right, one.wrong)) for one, _ in self.alive)
        return sum(reason is not None and reason.equivalent for reason in found)

    def percent_tenths(self, equivalent: int = 0) -> int:
        """Return the killed share in tenths of a percent, without the equivalent ones."""
        return 1000 * self.killed // max(self.judged - equivalent, 1)


def survey(
    mutants: Sequence[Mutant],
    ranges: list[Range],
    count: int,
    folder: Path,
    jobs: int = 1,
    progress: Callable[[Survey], None] = lambda _: None,
) -> Survey:
    """Judge mutants in order until `count` of them were a different program.

    `progress` is told the survey so far after every mutant. An interrupt waits for the
    mutants being judged only.
    """
    found = Survey()
    queue = iter(mutants)
    pool = ThreadPoolExecutor(jobs)
    try:
        while found.judged < count:
            batch = list(islice(queue, 8 * jobs))
            if not batch:
                break
            fates = pool.map(
                lambda entry: judge(ranges, entry[1].file, entry[1].text, folder / str(entry[0])),
                enumerate(batch),
            )
            for mutant, (fate, _) in zip(batch, fates, strict=True):
                if found.judged < count:
                    found.counts[fate] += 1
                    if fate in (Fate.SURVIVED, Fate.HUNG):
                        found.alive.append((mutant, fate))
                    progress(found)
    finally:
        pool.shutdown(cancel_futures=True)
    return found


@dataclass(frozen=True, slots=True)
class Reason:
    """Why nothing notices a mutant; an equivalent one does the same as the unbroken core."""

    why: str
    equivalent: bool


def reasons(path: Path = EXPLAINED) -> dict[tuple[str, str, str], Reason]:
    """Return the written reasons: file, right line and wrong line to why nothing notices it."""
    if not path.is_file():
        return {}
    table = tomllib.loads(path.read_text(encoding="utf-8"))
    return {
        (one["file"], one["right"], one["wrong"]): Reason(one["why"], one["equivalent"])
        for one in table.get("survivor", [])
    }
