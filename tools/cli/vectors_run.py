"""`xlate vectors run`: vectors over boards to verdicts, journal and reports."""

import datetime
import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hil.verdicts import exit_code
from tools.cli.outputs import OUT_FILE
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
)
from tools.cli.vectors_told import go_on, report
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from hil.bench import BenchPlan
    from hil.journal import Journal, Past
    from hil.runner import Pairings, Result

Paths = tuple[Path, ...]
FEW = 16
"""So few vectors are run in this process: starting others takes longer."""


@click.command("run")
@click.argument("paths", nargs=-1, type=PATH)
@click.option(
    "--board",
    "boards",
    multiple=True,
    default=("reference",),
    show_default=True,
    help="What runs the vectors: reference, native, emulated, a port or URL, or a selector of "
    "`xlate board list`. Several: the vectors are shared out.",
)
@click.option("--each", is_flag=True, help="With several boards: every board runs all vectors.")
@click.option("--json", "json_file", type=OUT_FILE, default=None, help="Write a JSON report.")
@click.option("--junit", "junit_file", type=OUT_FILE, default=None, help="Write a JUnit report.")
@click.option("--html", "html_file", type=OUT_FILE, default=None, help="Write an HTML report.")
@click.option(
    "--out",
    "folder",
    type=PATH,
    default=None,
    help="Folder for journal, report and byte logs; boards with a line get one in any case.",
)
@click.option(
    "--resume",
    type=PATH,
    default=None,
    help="Journal or folder of an earlier run: what passed or differed there is not run again.",
)
@click.option(
    "--retries",
    type=click.IntRange(0, 10),
    default=1,
    show_default=True,
    help="How often a vector is run again after a bench fault; a mismatch never is.",
)
@click.option("--baud", type=click.IntRange(300, 12_000_000), default=921_600, show_default=True)
@click.option(
    "--timeout-s",
    type=click.FloatRange(0.1, 600),
    default=5.0,
    show_default=True,
    help="Longest time without progress.",
)
@click.option("--recover", default="", help="Command that revives a board which does not answer.")
@click.option("--recover-tries", type=click.IntRange(1, 10), default=2, show_default=True)
@plain_option
@pairings_option
@jobs_option
def command(
    paths: Paths,
    boards: tuple[str, ...],
    each: bool,
    json_file: Path | None,
    junit_file: Path | None,
    html_file: Path | None,
    folder: Path | None,
    resume: Path | None,
    retries: int,
    baud: int,
    timeout_s: float,
    recover: str,
    recover_tries: int,
    plain: bool,
    pairings: Path | None,
    jobs: int | None,
) -> None:
    """Run vectors PATHS (default: all under fixtures/vectors) on boards and compare every tick.

    Exit code: 0 pass, 1 mismatch, 2 input, 3 bench, 4 incomplete.
    """
    from hil import journal as journals
    from hil import lanes, runner
    from hil.bench import BenchPlan
    from hil.boards.interface import BoardError
    from hil.boards.options import BoardOptions
    from hil.boards.registry import check_name
    from hil.link.session import Timing

    results: list[Result] = []
    journal: Journal | None = None
    with input_errors():
        for board in boards:
            check_name(board)
        files = runner.find_vectors(paths, shown(FIXTURES / "vectors"))
        known = new_pairings(pairings)
        check_files(files, known)
        past = [] if resume is None else journals.read(resume)
        check_boards(past, boards)
        if folder is None and resume is not None:
            folder = resume if resume.is_dir() else resume.parent
        folder = folder or run_folder(boards)
        options = BoardOptions(
            baud=baud,
            timing=Timing(timeout_s=timeout_s),
            recover=recover,
            recover_tries=recover_tries,
            plain=plain,
        )
        plans = [
            BenchPlan(board, known.folder, pairings, options, retries)
            for board in lanes_of(boards, each, files, jobs)
        ]
        if folder is not None:
            journal = journals.Journal(folder, boards, len(files))
            plans = [with_log(plan, folder, number) for number, plan in enumerate(plans)]
        done = {
            (one.result.board, one.result.path.as_posix()): one.result
            for one in past
            if journals.still_counts(one)
        }
        kept, left = split(files, boards, each, done)
        results += kept
        interrupted = False
        try:
            for result in progress(lanes.run(plans, left, each), len(left)):
                results.append(result)
                if journal is not None:
                    journal.add(result)
        except KeyboardInterrupt:
            interrupted = True
            seen = {result.path for result in results}
            results += [runner.not_run(path, known) for path in files if path not in seen]
        except BoardError as error:
            click.echo(str(error), err=True)
            sys.exit(3)
        finally:
            if journal is not None:
                journal.close()
        order = {path: number for number, path in enumerate(files)}
        results.sort(key=lambda one: (order.get(one.path, len(order)), one.board))
        write_reports(boards, results, json_file, junit_file, html_file, folder)
    report(results)
    if folder is not None:
        click.echo(f"journal, byte logs and report.html: {shown(folder)}")
    go_on(results, interrupted, None if folder is None else shown(folder))
    sys.exit(exit_code(result.verdict for result in results))


def check_files(files: Sequence[Path], known: "Pairings") -> None:
    """Look at every file first: a bad one stops the run before it starts."""
    from hil import runner
    from hil.vectors.errors import VectorError

    mistakes: list[str] = []
    for path in files:
        try:
            runner.load_for_run(path, known)
        except VectorError as error:
            mistakes.append(str(error))
    if mistakes:
        raise InputError("\n".join(mistakes))


def check_boards(past: "Sequence[Past]", boards: Sequence[str]) -> None:
    """Refuse to go on with a run that was on other boards: all of it would be run again."""
    before = sorted({one.result.board for one in past})
    if before and not set(before) & set(boards):
        words = " ".join(f"--board {name}" for name in before)
        raise InputError(
            f"--resume: found a run on {', '.join(before)}, expected the same: {words}"
        )


def lanes_of(
    boards: Sequence[str], each: bool, files: Sequence[Path], jobs: int | None
) -> list[str]:
    """Return one name for every lane: a board that this machine makes gets one a processor."""
    from hil import parallel
    from hil.boards.registry import MADE_HERE

    if len(boards) != 1 or each or boards[0] not in MADE_HERE:
        return list(boards)
    if boards[0] == "emulated" and jobs is None:
        return list(boards)
    if len(files) < FEW:
        return list(boards)
    return [boards[0]] * max(1, jobs or parallel.default_jobs())


def run_folder(boards: Sequence[str]) -> Path | None:
    """Return a new folder for a run that was given none; the reference alone needs none."""
    if set(boards) <= {"reference"}:
        return None
    now = datetime.datetime.now(tz=datetime.UTC).strftime("%Y%m%d-%H%M%S")
    name = f"{now}-{os.getpid()}"
    return Path(tempfile.gettempdir()) / "xlate-runs" / name


def with_log(plan: "BenchPlan", folder: Path, number: int) -> "BenchPlan":
    """Return a plan whose byte log lies in the run's folder."""
    if plan.board == "reference":
        return plan
    word = "".join(sign if sign.isalnum() else "_" for sign in plan.board)
    log = folder / f"bytes-{number}-{word}.log"
    return replace(plan, options=replace(plan.options, byte_log=log))


def split(
    files: Sequence[Path],
    boards: Sequence[str],
    each: bool,
    done: dict[tuple[str, str], "Result"],
) -> "tuple[list[Result], list[Path]]":
    """Return the results that still count, and the vectors left to run.

    With `each` a vector is run again on every board unless all have a result.
    """
    kept: list[Result] = []
    left: list[Path] = []
    for path in files:
        found = [
            done[board, path.as_posix()] for board in boards if (board, path.as_posix()) in done
        ]
        if len(found) == len(boards) or (found and not each):
            kept += found
        else:
            left.append(path)
    return kept, left


def write_reports(
    boards: Sequence[str],
    results: "Sequence[Result]",
    json_file: Path | None,
    junit_file: Path | None,
    html_file: Path | None,
    folder: Path | None,
) -> None:
    """Write the reports that were asked for, and the page of a run's folder."""
    from hil.reports import machine, page

    board = ", ".join(boards)
    if json_file is not None:
        machine.write_json(json_file, board, results)
    if junit_file is not None:
        machine.write_junit(junit_file, board, results)
    pages: Iterator[Path] = (
        path for path in (html_file, folder and folder / "report.html") if path is not None
    )
    for path in pages:
        notes = [] if folder is None else [f"Journal and byte logs: {folder.as_posix()}"]
        page.write(path, f"Vectors on {board}", results, notes)
