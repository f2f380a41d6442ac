"""`xlate board disturb`: short vectors over a line that misbehaves; every verdict must be right."""

import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hil.verdicts import EXIT_MISMATCH
from tools.cli.board_shared import told
from tools.cli.interrupted import leave
from tools.cli.vectors_shared import FIXTURES, new_pairings, progress, shown
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from hil.disturbed_runs import Tally


@click.command("disturb")
@click.option(
    "--runs", type=click.IntRange(1), default=100_000, show_default=True, help="Runs of a seed."
)
@click.option(
    "--first-run",
    type=click.IntRange(0),
    default=0,
    show_default=True,
    help="Begin there: what an interrupted command did is left out.",
)
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True)
@click.option("--pairing", "name", default="minimal", show_default=True)
def command(runs: int, first_run: int, seed: int, name: str) -> None:
    """Run short vectors over a line that drops, doubles, changes, delays and cuts octets.

    Every verdict must be right: pass or bench for a vector as it is, mismatch or bench for one with
    a changed expectation. Exit code 1 when one was wrong, 4 when interrupted.
    """
    from hil.boards.native import executable
    from hil.disturbed_runs import Tally, run_many, short_cases
    from hil.link.disturbance import Trouble

    if first_run >= runs:
        raise InputError(f"--first-run: found {first_run}, expected 0..{runs - 1}")
    tally = Tally()
    with told(), tempfile.TemporaryDirectory(prefix="xlate-disturb-") as folder:
        try:
            cases = short_cases(shown(FIXTURES / "vectors"), new_pairings(None), name, Path(folder))
            program = executable(cases[0][1].pairing)
            numbers = range(first_run, runs)
            for so_far in progress(
                run_many(program, cases, numbers, seed, Trouble()), len(numbers)
            ):
                tally = so_far
        except KeyboardInterrupt:
            _tell(tally, seed, first_run)
            leave(
                f"{tally.runs} of {runs - first_run} runs",
                *("board", "disturb", "--pairing", name, "--seed", seed, "--runs", runs),
                *("--first-run", first_run + tally.runs),
            )
    _tell(tally, seed, first_run)
    sys.exit(EXIT_MISMATCH if tally.wrong else 0)


def _tell(tally: "Tally", seed: int, first_run: int) -> None:
    """Print the wrong verdicts and what the runs gave."""
    for line in tally.wrong:
        click.echo(line)
    counts = ", ".join(f"{count} {verdict.value}" for verdict, count in tally.verdicts.items())
    click.echo(
        f"{tally.runs} disturbed runs from seed {seed}, run {first_run}: {counts or 'nothing'}; "
        f"{tally.happened.total} disturbances, {tally.repeated} requests repeated; "
        f"{len(tally.wrong)} wrong verdicts"
    )
