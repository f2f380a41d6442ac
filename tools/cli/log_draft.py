"""`xlate log draft`: a pairing to edit, from a log."""

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


@click.command("draft")
@click.argument("logs", metavar="LOG...", type=FILE, nargs=-1, required=True)
@click.option("--out", "folder", type=FILE, required=True, help="The folder to make.")
@click.option(
    "--send",
    "sent",
    multiple=True,
    metavar="BUS:IDENTIFIER",
    help="A message the module has to send, for instance body:101. May be given several times.",
)
@click.option("--reference", "reference_files", type=FILE, multiple=True, help="As for inspect.")
@reading_options
def draft_command(
    logs: tuple[Path, ...],
    folder: Path,
    sent: tuple[str, ...],
    reference_files: tuple[Path, ...],
    options: "ImportOptions",
) -> None:
    """Draft a pairing from LOG: body.dbc, engine.dbc and bridge.toml, each guess with evidence.

    Messages named by --send become transmissions whose signals are the constants most often seen;
    all others become receptions with their quantities. The draft passes `xlate pairing check`.
    """
    from tools.logs.draft_bridge import bridge
    from tools.logs.drafting import BUSES, database, drafted
    from tools.logs.inspection.known_signals import from_csv, from_obd
    from tools.logs.inspection.references import follow
    from tools.logs.inspection.run import inspect, materials_of

    if folder.exists():
        raise InputError(f"{folder}: exists already; a draft makes a new folder")
    if not folder.resolve().parent.is_dir():
        raise InputError(f"{folder}: the folder {folder.resolve().parent} does not exist")
    wishes = []
    for wish in sent:
        bus, colon, identifier = wish.partition(":")
        if not colon or bus not in BUSES or not identifier:
            raise InputError(f"--send {wish}: expected BUS:IDENTIFIER, for instance body:101")
        wishes.append((bus, identifier))
    table = load_table(logs, options)
    with progress_bar("inspecting") as show:
        inspection = inspect(table, show)
    materials = materials_of(table, inspection)
    references = [each for f in reference_files for each in from_csv(f, int(table.time_us[0]))]
    references += from_obd(table)
    for number, guess in follow(inspection, materials, references):
        inspection.messages[number].add(guess)
    if not any(len(material.time_us) for material in materials):
        raise InputError(f"{', '.join(map(str, logs))}: has no data frame to draft from")
    messages = drafted(inspection, materials, wishes)
    texts = {f"{bus}.dbc": database(bus, messages) for bus in BUSES}
    source = ", ".join(log.name for log in logs)
    name = "".join(c if c.isalnum() else "_" for c in folder.name.lower())
    texts["bridge.toml"] = bridge(name, source, messages)
    folder.mkdir()
    for name, text in texts.items():
        write_text(folder / name, text)
        click.echo(f"written: {folder / name}")
    click.echo(f"next: edit, then xlate pairing check {folder}")
    click.echo(CAUTION)
