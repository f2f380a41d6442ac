"""`xlate vectors`: generate, verify, run and explain vectors."""

import sys
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
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
    from hil.vectors.corpus import Outcome

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
    the exit code is 1.
    """
    from hil.vectors import corpus
    from hil.vectors.unchanged import Unchanged

    failed: list[str] = []
    mistakes: list[str] = []
    written = 0
    with input_errors():
        scenarios = corpus.find_scenarios(paths, shown(FIXTURES / "scenarios"))
        target = folder or shown(FIXTURES / "vectors")
        flags = corpus.load_flags(FIXTURES / "flags.toml")
        known = Unchanged(pairings or shown(FIXTURES / "pairings"), target)
        open_ones = [path for path in scenarios if not (changed and known.holds(path))]
        for outcome in progress(played(open_ones, pairings, plain, jobs), len(open_ones)):
            if outcome.generated is None:
                mistakes.append(outcome.problem)
                continue
            unknown = corpus.unknown_flags(outcome, outcome.generated.hunts, flags)
            mistakes += unknown
            disagreements = corpus.disagreement_lines(outcome)
            failed += disagreements
            if not unknown and not disagreements:
                corpus.write(outcome, target)
                known.found_right(outcome.scenario)
                written += 1
        known.keep(whole=not paths)
    for line in dict.fromkeys((*mistakes, *failed)):  # one cause may be many scenarios' mistake
        click.echo(line, err=True)
    alike = len(scenarios) - len(open_ones)
    as_before = f", {alike} as they were" if alike else ""
    click.echo(f"{written} of {len(scenarios)} vectors written{as_before}")
    if mistakes:
        sys.exit(EXIT_INPUT)
    if failed:
        click.echo(f"the reference disagrees with {len(failed)} expectations", err=True)
        sys.exit(EXIT_MISMATCH)


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
        checked = list(progress(played(scenarios, pairings, plain, jobs), len(scenarios)))
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
    """One scenario to play, for whichever process takes it."""

    scenario: Path
    pairings: Path | None
    plain: bool


@cache
def pairings_here(folder: Path | None) -> "Pairings":
    """Return this process's loader of a folder: every pairing is loaded once a process."""
    return new_pairings(folder)


def play_one(work: PlayWork) -> "Outcome":
    """Play one scenario on the reference."""
    from hil.vectors import corpus

    return next(
        corpus.outcomes([work.scenario], pairings_here(work.pairings).names, not work.plain)
    )


def played(
    scenarios: Sequence[Path], pairings: Path | None, plain: bool, jobs: int | None
) -> "Iterator[Outcome]":
    """Play scenarios on the reference, results in their order."""
    from hil import parallel
    from hil.vectors import corpus

    pairings_here.cache_clear()
    work = [PlayWork(path, pairings, plain) for path in scenarios]
    jobs = jobs or parallel.default_jobs()
    if jobs > 1 and len(work) >= parallel.FEW:
        load_for(scenarios, pairings_here(pairings))
    costs = [corpus.guessed_cost(path) for path in scenarios]
    return parallel.in_order(play_one, work, jobs, costs, may_fork=True)


def load_for(scenarios: Sequence[Path], known: "Pairings") -> None:
    """Load the pairings of scenarios, for processes that are forked.

    What cannot be loaded is told for each of its scenarios when they are played.
    """
    from hil.vectors.reading import pairing_name, read_text

    wanted = set()
    for path in scenarios:
        with suppress(InputError):
            wanted.add(pairing_name(path, read_text(path)))
    for name in sorted(wanted):
        with suppress(InputError):
            known.names(name)
