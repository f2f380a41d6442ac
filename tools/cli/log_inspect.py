"""`xlate log inspect`: what the messages of a log are, as guesses with evidence."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.cli.log_options import (
    CAUTION,
    FILE,
    load_table,
    progress_bar,
    reading_options,
    write_text,
)
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from tools.logs.importing import ImportOptions


@click.command("inspect")
@click.argument("logs", metavar="LOG...", type=FILE, nargs=-1, required=True)
@reading_options
@click.option("--message", "wanted", multiple=True, help="Tell everything about this identifier.")
@click.option(
    "--reference",
    "reference_files",
    type=FILE,
    multiple=True,
    help="CSV with a heading: seconds from the start of the log, then known signals.",
)
@click.option(
    "--follow",
    "followed",
    multiple=True,
    metavar="FILE.dbc:BUS.MESSAGE.SIGNAL",
    help="A known signal of the log itself to look for in other messages.",
)
@click.option("--html", "page_file", type=FILE, help="Write a self-contained page with plots.")
@click.option("--json", "as_json", is_flag=True, help="Print everything as JSON.")
def inspect_command(
    logs: tuple[Path, ...],
    options: "ImportOptions",
    wanted: tuple[str, ...],
    reference_files: tuple[Path, ...],
    followed: tuple[str, ...],
    page_file: Path | None,
    as_json: bool,
) -> None:
    """Find out what is sent in LOG (a store or any log): rates, counters, checksums, fields.

    OBD answers in the log (7E8..7EF) serve as references by themselves. Confidences were calibrated
    on invented networks: `xlate log try-inspect` shows how well they hold.
    """
    from rich.console import Console

    from tools.logs.inspection.known_signals import from_csv, from_database, from_obd
    from tools.logs.inspection.page import page
    from tools.logs.inspection.plain import as_data, print_message, print_overview
    from tools.logs.inspection.references import follow
    from tools.logs.inspection.run import inspect, materials_of

    table = load_table(logs, options)
    start = int(table.time_us[0])
    references = [each for file in reference_files for each in from_csv(file, start)]
    references += [from_database(table, wish) for wish in followed]
    references += from_obd(table)
    with progress_bar("inspecting") as show:
        inspection = inspect(table, show)
    materials = materials_of(table, inspection) if references or page_file is not None else []
    if references:
        for number, guess in follow(inspection, materials, references):
            inspection.messages[number].add(guess)
    names = {report.key.show(): report for report in inspection.messages}
    for name in wanted:
        if name.upper() not in names:
            raise InputError(f"--message {name}: the log has {', '.join(names)}")
    shown = {name.upper() for name in wanted}
    if page_file is not None:
        title = f"What {', '.join(log.name for log in logs)} gives away"
        write_text(page_file, page(inspection, lambda number: materials[number], title, CAUTION))
    if as_json:
        told = as_data(inspection)
        if wanted:
            told["messages"] = [one for one in told["messages"] if one["identifier"] in shown]
        click.echo(json.dumps({**told, "caution": CAUTION}, indent=1))
        return
    console = Console(highlight=False)
    if wanted:
        for report in inspection.messages:
            if report.key.show() in shown:
                print_message(report, console)
    else:
        print_overview(inspection, console)
    if page_file is not None:
        console.print(f"written: {page_file}", markup=False)
    console.print(CAUTION, markup=False)
