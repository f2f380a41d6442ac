"""`xlate vectors`: generate, verify, run and explain vectors."""

import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hil.verdicts import EXIT_INPUT, EXIT_MISMATCH
from tools.cli import vectors_reduce, vectors_run
from tools.cli.vectors_shared import (
    FIXTURES,
    PATH,
    input_errors,
    jobs_option,
    new_pairings,
    pairings_option,
    plain_option,
    progress,
    shown,
    vectors_option,
)
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from hil.runner import Pairings
    from hil.vectors.corpus import Batch, Outcome

Paths = tuple[Path, ...]


@click.group("vectors")
def command() -> None:
    """Scenarios to vectors, and vectors to verdicts.

    A bench result is no approval: road use needs the checks of local regulations and a licensed or
    accredited person.
    """


@command.command("generate")
@click.argument("paths", nargs=-1, type=PATH)
@pairings_option
@vectors_option
@click.option(
    "--changed",
    is_flag=True,
    help="Only where scenario, pairing, vector or reference differ from when it last agreed.",
)
@plain_option
@jobs_option
def generate_command(
    paths: Paths,
    pairings: Path | None,
    folder: Path | None,
    changed: bool,
    plain: bool,
    jobs: int | None,
) -> None:
    """Write the vectors of the scenarios PATHS (default: all under fixtures/scenarios).

    Where the reference disagrees with an `expect` line nothing is written for that scenario and
    the exit code is 1. With a faulty header nothing is played at all.
    """
    from hil.vectors import corpus
    from hil.vectors.unchanged import Unchanged

    with input_errors():
        scenarios = corpus.find_scenarios(paths, shown(FIXTURES / "scenarios"))
        target = folder or shown(FIXTURES / "vectors")
        flags = corpus.load_flags(FIXTURES / "flags.toml")
        known = Unchanged(pairings or shown(FIXTURES / "pairings"), target)
        open_ones = [path for path in scenarios if not (changed and known.holds(path))]
        found = Found(scenarios, len(scenarios) - len(open_ones))
        batches = corpus.batches(open_ones, flags)
        judged = sum(len(batch.scenarios) for batch in batches if batch.expects)
        outcomes = progress(played(batches, pairings, plain, jobs), len(open_ones))
        for number, outcome in enumerate(outcomes, 1):
            if found.is_right(outcome):
                corpus.write(outcome, target)
                known.found_right(outcome.scenario)
            if number == judged < len(open_ones):
                found.tell()
                click.echo(found.verdict(judged, len(open_ones) - judged))
        known.keep(whole=not paths)
    found.tell()
    as_before = f", {found.alike} as they were" if found.alike else ""
    click.echo(f"{found.right} of {len(scenarios)} vectors written{as_before}")
    if found.mistakes:
        sys.exit(EXIT_INPUT)
    if found.failed:
        click.echo(f"the reference disagrees with {found.unmet} expectations", err=True)
        sys.exit(EXIT_MISMATCH)


@dataclass(slots=True)
class Found:
    """What came of the scenarios so far; `alike` of them were as before and not played."""

    scenarios: Sequence[Path]
    alike: int
    mistakes: dict[Path, list[str]] = field(default_factory=dict)
    failed: dict[Path, list[str]] = field(default_factory=dict)
    told: set[str] = field(default_factory=set)
    expectations: int = 0
    right: int = 0

    @property
    def unmet(self) -> int:
        """How many expectations the reference disagrees with."""
        return sum(map(len, self.failed.values()))

    def is_right(self, outcome: "Outcome") -> bool:
        """Take an outcome; return whether it becomes a vector."""
        from hil.vectors import corpus

        disagreements = corpus.disagreement_lines(outcome)
        if outcome.generated is None:
            self.mistakes[outcome.scenario] = [outcome.problem]
        if disagreements:
            self.failed[outcome.scenario] = disagreements
        if outcome.generated is not None:
            self.expectations += outcome.generated.expectations
        right = outcome.generated is not None and not disagreements
        self.right += right
        return right

    def tell(self) -> None:
        """Say each mistake and disagreement that was not said before, in the scenarios' order."""
        for group in (self.mistakes, self.failed):
            for path in self.scenarios:
                for line in group.get(path, ()):
                    if line not in self.told:  # one cause may be many scenarios' mistake
                        click.echo(line, err=True)
                        self.told.add(line)

    def verdict(self, judged: int, others: int) -> str:
        """Return the verdict, known while the vectors of scenarios without expectation are made."""
        met = f"{self.expectations - self.unmet} of {self.expectations} expectations are met"
        alike = f", {self.alike} are as they were" if self.alike else ""
        return f"{met} in {judged} scenarios{alike}; {others} without any follow"


@command.command("verify")
@click.argument("paths", nargs=-1, type=PATH)
@pairings_option
@vectors_option
@click.option("--scenarios", "source", type=PATH, default=None, help="Folder of the scenarios.")
@plain_option
@jobs_option
def verify_command(
    paths: Paths,
    pairings: Path | None,
    folder: Path | None,
    source: Path | None,
    plain: bool,
    jobs: int | None,
) -> None:
    """Generate vectors again and compare with the stored ones byte by byte; nothing is written.

    PATHS are vectors or scenarios; without any, all are looked at, and vectors that no scenario
    yields are reported too.
    """
    from hil.vectors import corpus

    faults: list[str] = []
    with input_errors():
        scenarios = corpus.scenarios_of(paths, source or shown(FIXTURES / "scenarios"))
        target = folder or shown(FIXTURES / "vectors")
        places = {path: place for place, path in enumerate(scenarios)}
        outcomes = played(corpus.batches(scenarios), pairings, plain, jobs)
        checked = list(progress(outcomes, len(scenarios)))
        checked.sort(key=lambda outcome: places[outcome.scenario])
    mistakes = [outcome.problem for outcome in checked if outcome.generated is None]
    for outcome in checked:
        faults += corpus.disagreement_lines(outcome)
        if outcome.generated is not None:
            fault = corpus.verify_one(outcome, target)
            faults += [fault] if fault else []
    if not paths:
        faults += [
            f"{path}: no scenario yields this vector" for path in corpus.strays(checked, target)
        ]
    for line in dict.fromkeys((*mistakes, *faults)):
        click.echo(line, err=True)
    click.echo(f"{len(checked)} scenarios checked, {len(mistakes) + len(faults)} faults")
    if mistakes:
        sys.exit(EXIT_INPUT)
    if faults:
        sys.exit(EXIT_MISMATCH)


command.add_command(vectors_run.command)
command.add_command(vectors_reduce.command)


@command.command("explain")
@click.argument("path", metavar="VECTOR", type=PATH)
@click.option("--svg", "svg_file", type=PATH, default=None, help="Also draw it as an SVG file.")
@pairings_option
def explain_command(path: Path, svg_file: Path | None, pairings: Path | None) -> None:
    """Tell what happens in VECTOR: a timeline in words and a picture of inputs and outputs."""
    from hil import runner
    from hil.reports.machine import put
    from hil.vectors import picture, timeline

    with input_errors():
        vector, names = runner.load_for_run(path, new_pairings(pairings))
        tracks = timeline.collect(vector, names)
        for line in timeline.words(vector, tracks):
            click.echo(line)
        for line in picture.text(tracks):
            click.echo(line)
        if svg_file is not None:
            put(svg_file, picture.svg(tracks).encode("utf-8"))


@command.command("drive")
@click.argument("pairing")
@click.argument("out", type=PATH)
@click.option("--hours", type=click.IntRange(1, 24), default=1, help="Length in hours.")
@click.option("--seed", type=click.IntRange(0), default=1, help="Same seed, same traffic.")
@pairings_option
def drive_command(pairing: str, out: Path, hours: int, seed: int, pairings: Path | None) -> None:
    """Write a long vector of full traffic for PAIRING into the folder OUT."""
    from hil.vectors import driving

    with input_errors():
        names = new_pairings(pairings).names(pairing)
        path = driving.write(names, seed, hours * 3_600_000 // names.tick_ms, out)
    click.echo(f"{shown(path)} written")


@dataclass(frozen=True, slots=True)
class PlayWork:
    """Scenarios to play, for whichever process takes them."""

    scenarios: tuple[Path, ...]
    pairings: Path | None
    plain: bool


@cache
def pairings_here(folder: Path | None) -> "Pairings":
    """Return this process's loader of a folder: every pairing is loaded once a process."""
    return new_pairings(folder)


def play_batch(work: PlayWork) -> "list[Outcome]":
    """Play the scenarios of a batch on the reference."""
    from hil.vectors import corpus

    names_of = pairings_here(work.pairings).names
    return list(corpus.outcomes(work.scenarios, names_of, not work.plain))


def played(
    batches: "Sequence[Batch]", pairings: Path | None, plain: bool, jobs: int | None
) -> "Iterator[Outcome]":
    """Play batches of scenarios on the reference, results in their order."""
    from hil import parallel

    pairings_here.cache_clear()
    work = [PlayWork(batch.scenarios, pairings, plain) for batch in batches]
    jobs = jobs or parallel.default_jobs()
    if sum(len(batch.scenarios) for batch in batches) < parallel.FEW:
        jobs = 1
    if jobs > 1:
        load_for(batches, pairings_here(pairings))
    results = parallel.in_order(play_batch, work, jobs, may_fork=True, few=1)
    return chain.from_iterable(results)


def load_for(batches: "Sequence[Batch]", known: "Pairings") -> None:
    """Load the pairings of several judged batches, for processes that are forked.

    The others are loaded by who needs them, meanwhile. What cannot be loaded is told for each of
    its scenarios when they are played.
    """
    judged = Counter(batch.pairing for batch in batches if batch.expects)
    for name in sorted(name for name, count in judged.items() if count > 1):
        with suppress(InputError):
            known.names(name)
