"""`xlate log compare`: does the module send what the factory set-up sent?"""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.cli.log_options import CAUTION, FILE, load_table, reading_options
from tools.cli.main import EXIT_DIFFERENCE
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from tools.logs.importing import ImportOptions


@click.command("compare")
@click.argument("log_a", metavar="LOG_A", type=FILE)
@click.argument("log_b", metavar="LOG_B", type=FILE)
@click.option("--bus", "buses", multiple=True, help="Compare this bus only. May be repeated.")
@click.option(
    "--only",
    "only",
    multiple=True,
    metavar="BUS:IDENTIFIER",
    help="Compare this message only. May be given several times.",
)
@reading_options
@click.option("--json", "as_json", is_flag=True, help="Print the verdicts as JSON.")
def compare_command(
    log_a: Path,
    log_b: Path,
    buses: tuple[str, ...],
    only: tuple[str, ...],
    options: "ImportOptions",
    as_json: bool,
) -> None:
    """Compare LOG_B (what the module sends) with LOG_A (what the factory set-up sent).

    Missing and extra messages, rates, lengths, counter and checksum, constant bits, ranges and
    rates of change, and the order of first frames after the start. Exit code 1 on any difference.
    """
    from tools.logs.comparing import compare

    tables = [load_table((log,), options) for log in (log_a, log_b)]
    for bus in buses:
        for log, table in zip((log_a, log_b), tables, strict=True):
            if bus not in table.channels:
                raise InputError(f"--bus {bus}: {log} has {', '.join(table.channels)}")
    wanted = {(bus, name.upper()) for bus, _, name in (wish.partition(":") for wish in only)}
    comparison = compare(tables[0], tables[1], buses, wanted)
    if not comparison.verdicts and not wanted:
        raise InputError(f"{log_a}, {log_b}: neither has a data frame to compare")
    missing = wanted - {(each.bus, each.identifier) for each in comparison.verdicts}
    if missing:
        raise InputError(f"--only {':'.join(min(missing))}: no log has such a message")
    if as_json:
        verdicts = [
            {
                "bus": verdict.bus,
                "identifier": verdict.identifier,
                "verdict": "different" if verdict.differences else "equal",
                "differences": verdict.differences,
                "notes": verdict.notes,
            }
            for verdict in comparison.verdicts
        ]
        facts = {"equal": comparison.equal, "messages": verdicts, "start_up": comparison.start_up}
        click.echo(json.dumps({**facts, "caution": CAUTION}, indent=1))
    else:
        for verdict in comparison.verdicts:
            word = "DIFFERENT" if verdict.differences else "equal"
            click.echo(f"{verdict.bus} {verdict.identifier}: {word}")
            for line in (*verdict.differences, *(f"note: {note}" for note in verdict.notes)):
                click.echo(f"  {line}")
        for line in comparison.start_up:
            click.echo(line)
        count = sum(1 for verdict in comparison.verdicts if verdict.differences)
        click.echo(f"{len(comparison.verdicts)} messages compared, {count} different")
        click.echo(CAUTION)
    if not comparison.equal:
        raise click.exceptions.Exit(EXIT_DIFFERENCE)
