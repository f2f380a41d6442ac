"""`xlate firmware`: the C tables of a pairing, and the firmware of a board built from them."""

import sys
from pathlib import Path

import click

from tools.cli import firmware_build, firmware_coverage, firmware_fuzz, firmware_mutants
from xlate_core.errors import InputError, reason_of

EXIT_INPUT = 2


@click.group("firmware")
def command() -> None:
    """Generate what the firmware core needs to know of a pairing, and build firmware."""


command.add_command(firmware_build.command)
command.add_command(firmware_coverage.command)
command.add_command(firmware_fuzz.command)
command.add_command(firmware_mutants.command)


@command.command("generate")
@click.argument("pairing", type=click.Path(path_type=Path))
@click.option(
    "--out",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for xb_tables.{c,h} and xb_state.{c,h}; made when it is not there.",
)
def generate(pairing: Path, out: Path) -> None:
    """Write the C tables of PAIRING: same model, same text, whenever and wherever."""
    from hil.firmware.tables import write
    from xlate_core.pairing import load

    try:
        loaded = load(pairing)
        written = write(loaded, out)
    except InputError as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_INPUT)
    except OSError as error:
        click.echo(f"{out.as_posix()}: cannot be written: {reason_of(error)}", err=True)
        sys.exit(EXIT_INPUT)
    for path in written:
        click.echo(path.as_posix())
    click.echo(f"{loaded.name}: pairing {loaded.digest[:16]}")
    click.echo("A bench result is no approval: road use needs the checks of local regulations.")


@command.command("link")
@click.option("--check", is_flag=True, help="Write nothing; exit code 1 when the file is older.")
def link_command(check: bool) -> None:
    """Write the packet layouts of the link for the firmware, hil/firmware/link/xb_packets.h."""
    from hil.firmware.programs import LINK
    from hil.link.layouts import c_header
    from hil.vectors.files import write_whole

    path = LINK / "xb_packets.h"
    text = c_header()
    same = path.is_file() and path.read_text(encoding="utf-8") == text
    if check:
        click.echo(f"{path.name}: {'as declared' if same else 'older than the declaration'}")
        sys.exit(0 if same else 1)
    write_whole(path, text.encode("utf-8"))
    click.echo(f"{path.as_posix()} written")
