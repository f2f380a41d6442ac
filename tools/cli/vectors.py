"""`xlate vectors`: generate, verify, run and explain vectors."""

import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from hil.verdicts import (
    EXIT_INPUT,
    EXIT_MISMATCH,
    Verdict,
    exit_code,
)
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from hil.boards.interface import Board
    from hil.runner import Pairings, Result
    from hil.vectors.corpus import Outcome
    from xlate_core.pairing.model import Pairing

ROOT = Path(__file__).resolve().parents[2]
FIXTURES = ROOT / "fixtures"
BOARDS = ("reference",)

Item = TypeVar("Item")
Paths = tuple[Path, ...]
PATH = click.Path(path_type=Path)

pairings_option = click.option(
    "--pairings",
    type=PATH,
    default=None,
    help="Folder with the pairings; default fixtures/pairings.",
)
vectors_option = click.option(
    "--vectors",
    "folder",
    type=PATH,
    default=None,
    help="Folder of the vectors; default fixtures/vectors.",
)


jobs_option = click.option(
    "--jobs",
    type=click.IntRange(1, 64),
    default=None,
    help="Processes to share the work over; default one a processor.",
)


@contextmanager
def input_errors() -> Iterator[None]:
    """Turn what a person did wrong into one message on standard error and exit code 2."""
    try:
        yield
    except InputError as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_INPUT)


def shown(path: Path) -> Path:
    """Return a path as a person in the current folder writes it."""
    try:
        return path.resolve().relative_to(Path.cwd())
    except ValueError:
        return path


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
@jobs_option
def generate_command(
    paths: Paths, pairings: Path | None, folder: Path | None, jobs: int | None
) -> None:
    """Write the vectors of the scenarios PATHS (default: all under fixtures/scenarios).

    Where the reference disagrees with an `expect` line nothing is written for that scenario and
    the exit code is 1.
    """
    from hil.vectors import corpus

    failed: list[str] = []
    mistakes: list[str] = []
    written = 0
    with input_errors():
        scenarios = corpus.find_scenarios(paths, shown(FIXTURES / "scenarios"))
        target = folder or shown(FIXTURES / "vectors")
        flags = corpus.load_flags(FIXTURES / "flags.toml")
        for outcome in progress(played(scenarios, pairings, jobs), len(scenarios)):
            if outcome.generated is None:
                mistakes.append(outcome.problem)
                continue
            unknown = corpus.unknown_flags(outcome, outcome.generated.hunts, flags)
            mistakes += unknown
            disagreements = corpus.disagreement_lines(outcome)
            failed += disagreements
            if not unknown and not disagreements:
                corpus.write(outcome, target)
                written += 1
    for line in (*mistakes, *failed):
        click.echo(line, err=True)
    click.echo(f"{written} of {len(scenarios)} vectors written")
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
@jobs_option
def verify_command(
    paths: Paths,
    pairings: Path | None,
    folder: Path | None,
    source: Path | None,
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
        checked = list(progress(played(scenarios, pairings, jobs), len(scenarios)))
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
    for line in (*mistakes, *faults):
        click.echo(line, err=True)
    click.echo(f"{len(checked)} scenarios checked, {len(mistakes) + len(faults)} faults")
    if mistakes:
        sys.exit(EXIT_INPUT)
    if faults:
        sys.exit(EXIT_MISMATCH)


@command.command("run")
@click.argument("paths", nargs=-1, type=PATH)
@click.option(
    "--board", type=click.Choice(BOARDS), default="reference", help="What runs the vectors."
)
@click.option("--json", "json_file", type=PATH, default=None, help="Write a JSON report.")
@click.option("--junit", "junit_file", type=PATH, default=None, help="Write a JUnit report.")
@pairings_option
@jobs_option
def run_command(
    paths: Paths,
    board: str,
    json_file: Path | None,
    junit_file: Path | None,
    pairings: Path | None,
    jobs: int | None,
) -> None:
    """Run vectors PATHS (default: all under fixtures/vectors) on a board and compare every tick.

    Exit code: 0 pass, 1 mismatch, 2 input, 3 bench, 4 incomplete.
    """
    from hil import parallel, runner
    from hil.reports import machine
    from hil.vectors.errors import VectorError

    results: list[runner.Result] = []
    mistakes: list[str] = []
    with input_errors():
        files = runner.find_vectors(paths, shown(FIXTURES / "vectors"))
        pairings_here.cache_clear()
        known = pairings_here(pairings)
        # Everything is looked at first: a bad file stops the run before it starts.
        for path in files:
            try:
                runner.load_for_run(path, known)
            except VectorError as error:
                mistakes.append(str(error))
        if mistakes:
            raise InputError("\n".join(mistakes))
        try:
            work = [RunWork(path, board, pairings) for path in files]
            done = parallel.in_order(run_one, work, jobs or parallel.default_jobs())
            for result in progress(done, len(files)):
                results.append(result)
        except KeyboardInterrupt:
            click.echo("stopped by Ctrl-C", err=True)
            results += [runner.not_run(path, known) for path in files[len(results) :]]
        if json_file is not None:
            machine.write_json(json_file, board, results)
        if junit_file is not None:
            machine.write_junit(junit_file, board, results)
    report(results)
    sys.exit(exit_code(result.verdict for result in results))


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


def new_pairings(folder: Path | None) -> "Pairings":
    """Return the loader of pairings out of a folder."""
    from hil.runner import Pairings
    from xlate_core.pairing import load

    return Pairings(folder or shown(FIXTURES / "pairings"), load, {})


@dataclass(frozen=True, slots=True)
class PlayWork:
    """One scenario to play, for whichever process takes it."""

    scenario: Path
    pairings: Path | None


@dataclass(frozen=True, slots=True)
class RunWork:
    """One vector to run, for whichever process takes it."""

    vector: Path
    board: str
    pairings: Path | None


@cache
def pairings_here(folder: Path | None) -> "Pairings":
    """Return this process's loader of a folder: every pairing is loaded once a process."""
    return new_pairings(folder)


def play_one(work: PlayWork) -> "Outcome":
    """Play one scenario on the reference."""
    from hil.vectors import corpus

    return next(corpus.outcomes([work.scenario], pairings_here(work.pairings).names))


def run_one(work: RunWork) -> "Result":
    """Run one vector on a board."""
    from hil import runner

    vector, names = runner.load_for_run(work.vector, pairings_here(work.pairings))
    again = runner.rerun_command(work.board, work.vector, work.pairings)
    return runner.run_vector(vector, names, make_board(work.board, names.pairing), again)


def played(
    scenarios: Sequence[Path], pairings: Path | None, jobs: int | None
) -> "Iterator[Outcome]":
    """Play scenarios on the reference, results in their order."""
    from hil import parallel

    pairings_here.cache_clear()
    work = [PlayWork(path, pairings) for path in scenarios]
    return parallel.in_order(play_one, work, jobs or parallel.default_jobs())


def make_board(board: str, pairing: "Pairing") -> "Board":
    """Return a board by name."""
    from hil.boards.reference import ReferenceBoard

    if board != "reference":
        raise InputError(f"board `{board}` is not known; expected one of {', '.join(BOARDS)}")
    return ReferenceBoard(pairing)


def progress(items: Iterable[Item], total: int) -> Iterator[Item]:
    """Yield the items with a progress bar on a terminal, quietly elsewhere."""
    if not sys.stderr.isatty():
        yield from items
        return
    from rich.console import Console
    from rich.progress import track

    yield from track(
        items, description="vectors", total=total, console=Console(stderr=True), transient=True
    )


def report(results: "Sequence[Result]") -> None:
    """Print verdicts and explanations of what did not pass, then one line of summary."""
    for result in results:
        if result.verdict is not Verdict.PASS:
            click.echo(f"{result.verdict.value.upper()} {shown(result.path)}")
            for line in result.explanation:
                click.echo(line)
    counts = ", ".join(
        f"{count} {verdict.value}"
        for verdict in Verdict
        if (count := sum(result.verdict is verdict for result in results))
    )
    ticks = sum(result.ticks for result in results)
    frames_in = sum(result.frames_in for result in results)
    frames_out = sum(result.frames_out for result in results)
    checkpoints = sum(result.checkpoints for result in results)
    click.echo(
        f"{len(results)} vectors: {counts or 'nothing ran'}; {ticks} ticks, {frames_in} frames in, "
        f"{frames_out} frames out compared, {checkpoints} digests"
    )
