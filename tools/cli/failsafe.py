"""`xlate failsafe`: the failsafe behaviour table."""

import sys
from pathlib import Path

import click

from tools.cli.failsafe_prove import prove
from tools.cli.failsafe_shared import (
    EXIT_DIFFERENCE,
    EXIT_INCOMPLETE,
    folder_of,
    out_option,
    pairing_argument,
    progress,
    required_of,
    required_option,
    write_table,
)
from tools.cli.failsafe_sign import compare, sign
from tools.cli.vectors_shared import plain_option


@click.group("failsafe")
def command() -> None:
    """What each output must do for every fault, and what it was seen to do."""


command.add_command(prove)
command.add_command(compare)
command.add_command(sign)


@command.command("build")
@pairing_argument
@required_option
@out_option
@click.option("--jobs", type=click.IntRange(1, 64), default=None, help="Processes; default all.")
@plain_option
@click.option("--brief", is_flag=True, help="Print the summary only.")
def build(
    pairing: Path,
    required_file: Path | None,
    out: Path | None,
    jobs: int | None,
    plain: bool,
    brief: bool,
) -> None:
    """Try every fault in every situation on PAIRING and hold it to the requirements.

    Writes table.json, .csv, .md and .html. Exit code 1 when a row deviates or is open, 4 when
    interrupted.
    """
    from tools.failsafe.folding import fold
    from tools.failsafe.report import summary
    from tools.failsafe.sharing import build_rows
    from tools.failsafe.stored import EVIDENCE_FILE
    from tools.failsafe.terminal import print_table

    loaded, path, required = required_of(pairing, required_file)
    try:
        rows = build_rows(pairing, path, required, jobs, progress, plain)
    except KeyboardInterrupt:
        click.echo("interrupted: nothing is written", err=True)
        sys.exit(EXIT_INCOMPLETE)
    folder = folder_of(out, loaded.name)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / EVIDENCE_FILE).unlink(missing_ok=True)
    lines = fold(rows)
    signed = write_table(folder, loaded, required, rows, lines)
    if brief:
        for sentence in summary(rows, lines):
            click.echo(sentence)
    else:
        print_table(loaded, rows, lines, signed)
    click.echo(f"the table, for a browser or a printer: {(folder / 'table.html').as_posix()}")
    if any(row.status in ("deviates", "open") for row in rows):
        sys.exit(EXIT_DIFFERENCE)


@command.command("exhaust")
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def exhaust(as_json: bool) -> None:
    """Visit every reachable state of a pairing with timers of at most 3 ticks.

    The required states hold in each of them, or the shortest way to the first one in which they do
    not is printed (exit code 1).
    """
    import json

    from tools.failsafe.exhausting import explore, words

    found = explore()
    click.echo(json.dumps(found.facts(), indent=1) if as_json else "\n".join(words(found)))
    if found.broken:
        sys.exit(EXIT_DIFFERENCE)
