"""`xlate log redact`: a log that can be shared."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tools.cli.log_options import FILE, load_table, reading_options
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from tools.logs.importing import ImportOptions


@click.command("redact")
@click.argument("log", metavar="LOG", type=FILE)
@click.argument("target", metavar="TARGET", type=FILE)
@click.option("--vin", "identifications", multiple=True, help="A vehicle identification number.")
@click.option(
    "--serial",
    "serials",
    multiple=True,
    help="A serial number: text, or 0x and hexadecimal digits. May be given several times.",
)
@click.option("--zero-time", is_flag=True, help="Let times begin at 0: date and hour go too.")
@reading_options
@click.option("--json", "as_json", is_flag=True, help="Print what was removed as JSON.")
def redact_command(
    log: Path,
    target: Path,
    identifications: tuple[str, ...],
    serials: tuple[str, ...],
    zero_time: bool,
    options: "ImportOptions",
    as_json: bool,
) -> None:
    """Write LOG to TARGET without vehicle identification and without listed serial numbers.

    What was removed is told by message, never by its value. Data that is coded in an unknown way is
    not found: look at the result with `xlate log inspect` before sharing it.
    """
    from tools.logs.exporting import write_log
    from tools.logs.redacting import parse_secret, redact

    if target.resolve() == log.resolve():
        raise InputError(f"{target}: is the log that is read; the result needs its own name")
    secrets = {f"listed identification {n}": parse_secret(each.upper())
               for n, each in enumerate(identifications, start=1)}  # fmt: skip
    secrets |= {f"serial number {n}": parse_secret(s) for n, s in enumerate(serials, start=1)}
    table = load_table((log,), options)
    redaction = redact(table, secrets)
    if zero_time and len(redaction.table):
        redaction.table.time_us[:] -= redaction.table.time_us[0]
    rows = write_log(target, table.channels, [redaction.table])
    removed = [
        {"what": what, "bus": bus, "identifier": identifier, "frames": frames}
        for (what, bus, identifier), frames in sorted(redaction.removed.items())
    ]
    missing = [name for name in secrets if not any(each["what"] == name for each in removed)]
    facts = {"frames": rows, "written": str(target), "removed": removed, "not_found": missing}
    if as_json:
        click.echo(json.dumps(facts, indent=1))
        return
    for each in removed:
        click.echo(
            f"removed: {each['what']} from {each['frames']} frames of {each['bus']} "
            f"{each['identifier']}"
        )
    if not removed:
        click.echo("removed: nothing was found")
    for name in missing:
        click.echo(f"not found: {name}")
    click.echo(f"written: {target}, {rows} frames; look at it once more before you share it")
