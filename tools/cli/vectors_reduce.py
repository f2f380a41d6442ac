"""`xlate vectors reduce`: a failing vector, cut to what is needed, as a scenario to keep."""

import sys
from itertools import islice
from pathlib import Path

import click

from hil.verdicts import EXIT_BENCH, EXIT_INPUT
from tools.cli.outputs import OUT_FILE
from tools.cli.vectors_shared import PATH, input_errors, new_pairings, pairings_option
from xlate_core.errors import InputError


@click.command("reduce")
@click.argument("path", metavar="VECTOR", type=PATH)
@click.option("--board", required=True, help="The board it fails on; names as for `run`.")
@click.option(
    "--out",
    type=OUT_FILE,
    default=None,
    help="Scenario to write; default reduced_NAME.scenario in the current folder.",
)
@pairings_option
def command(path: Path, board: str, out: Path | None, pairings: Path | None) -> None:
    """Cut a VECTOR that fails on a board to a minimal one, and write it as a scenario.

    Exit code: 0 written, 2 input (also when the vector does not fail), 3 bench.
    """
    from hil.boards.interface import BoardError
    from hil.boards.options import BoardOptions
    from hil.boards.registry import check_name, close_board, open_board
    from hil.comparison import compare
    from hil.reduced_scenario import scenario_text
    from hil.reduction import events_of, reduce_events
    from hil.repetition import stimulus
    from hil.runner import check_board, load_for_run, told_in_full
    from hil.vectors.files import write_whole

    with input_errors():
        check_name(board)
        vector, names = load_for_run(path, new_pairings(pairings))
        target = out or Path(f"reduced_{vector.header.identity}.scenario")
        if target.suffix != ".scenario":
            raise InputError(f"--out: found {target.name}, expected a name that ends in .scenario")
    try:
        opened = open_board(board, names.pairing, BoardOptions())
        try:
            check_board(opened, names)
            difference = compare(vector, names, opened).difference
            if difference is None:
                click.echo(f"{path}: passes on {board}, so there is nothing to reduce", err=True)
                sys.exit(EXIT_INPUT)
            with told_in_full(vector, names, opened, difference) as (whole, difference):
                ticks = difference.tick + 1
                events = events_of(islice(stimulus(whole, names), ticks), names, ticks)
            click.echo(f"{len(events)} events up to the difference at tick {ticks - 1}", err=True)
            reduced = reduce_events(events, names, opened, difference.kind, ticks - 1, _said)
        finally:
            close_board(opened)
    except BoardError as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_BENCH)
    if reduced is None:
        click.echo(
            f"{path}: fails as a vector, but board and today's reference agree: the vector is at "
            "odds with the reference; `xlate vectors verify` says where",
            err=True,
        )
        sys.exit(EXIT_INPUT)
    text = scenario_text(target.stem, path.name, board, reduced, names)
    with input_errors():
        write_whole(target, text.encode("utf-8"))
    click.echo(
        f"{target.as_posix()}: {len(reduced.events)} of {reduced.of} events, "
        f"{reduced.tries} tries, differs at tick {reduced.failure.tick} ({reduced.failure.kind})"
    )


def _said(tries: int, events: int) -> None:
    """Keep one line of progress on a terminal."""
    if sys.stderr.isatty():
        click.echo(f"\rtry {tries}: {events} events still fail   ", nl=False, err=True)
