"""`xlate board measure`: execution time and stack of the firmware core on its board."""

import contextlib
import json
import sys
import tempfile
from pathlib import Path

import click

from tools.cli.outputs import OUT_FILE

EXIT_DIFFERENCE, EXIT_BENCH = 1, 3
FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
GOAL_COUNTS = 8400  # 5 % of a millisecond at 168 MHz


@click.command("measure")
@click.option(
    "--board",
    required=True,
    help="`emulated` counts instructions; a board with the measuring firmware (port, URL, selector "
    "or host:port) counts core cycles.",
)
@click.option(
    "--pairing",
    type=click.Path(path_type=Path),
    default=FIXTURES / "pairings" / "farm_pickup",
    help="Folder of the pairing; default farm_pickup.",
)
@click.option(
    "--tries", type=click.IntRange(1), default=400, show_default=True, help="Of the search."
)
@click.option("--seed", type=int, default=1, show_default=True, help="Of the search.")
@click.option(
    "--ticks", type=click.IntRange(1), default=2500, show_default=True, help="Measured of a vector."
)
@click.option("--no-vectors", is_flag=True, help="Only search.")
@click.option("--no-bound", is_flag=True, help="Leave out the bound, which needs the profile.")
@click.option("--json", "json_file", type=OUT_FILE, help="Also write as JSON.")
@click.option("--compare", is_flag=True, help="Exit code 1 when a figure grew by more than 5 %.")
@click.option("--update", metavar="REASON", help="Store the figures with the reason they changed.")
def command(
    board: str,
    pairing: Path,
    tries: int,
    seed: int,
    ticks: int,
    no_vectors: bool,
    no_bound: bool,
    json_file: Path | None,
    compare: bool,
    update: str | None,
) -> None:
    """Measure how long every receive and tick of the core takes, and search for the longest.

    Under instruction counting the figures are the same in every run. They are instructions, not
    cycles: silicon adds wait states and takes more than one cycle for some of them.
    """
    from hil.boards.emulator import Emulator
    from hil.boards.interface import BoardError
    from hil.link.port import open_port
    from hil.measuring import figures
    from hil.measuring.line import PortLine
    from hil.measuring.meter import Meter
    from hil.measuring.report import CYCLES, Request, lines, measure
    from hil.vectors.files import write_whole
    from xlate_core.errors import InputError
    from xlate_core.pairing import load

    if board != "emulated" and (compare or update is not None):
        raise InputError(
            f"--board {board}: found --compare or --update, expected them with `emulated`: the "
            "stored figures are instructions"
        )
    loaded = load(pairing)
    if update is not None:
        figures.check_reason(update)
    elif compare:
        figures.figures_of(loaded.name)
    vectors = FIXTURES / "vectors" / loaded.name
    request = Request(None if no_vectors else vectors, ticks, tries, seed, not no_bound)
    try:
        if board == "emulated":
            with tempfile.TemporaryDirectory(prefix="xlate-measure-") as folder:
                found = figures.on_emulator(loaded, request, Path(folder), Emulator, told)
        else:
            with contextlib.closing(PortLine(open_port(url_of(board)))) as line:
                found = measure(Meter(line, loaded), loaded, request, told, CYCLES)
    except (BoardError, OSError) as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_BENCH)
    click.echo("\n".join(lines(found, GOAL_COUNTS)))
    if json_file is not None:
        write_whole(json_file, (json.dumps(found.plain(), indent=2) + "\n").encode("utf-8"))
    if update is not None:
        figures.store(found, update)
        click.echo(f"stored in {figures.path_of(loaded.name).as_posix()}")
    if compare:
        grown = figures.growth(found)
        for line_ in grown:
            click.echo(line_, err=True)
        if grown:
            sys.exit(EXIT_DIFFERENCE)


def url_of(board: str) -> str:
    """Return the port or URL a board's name stands for; raises InputError for one without sense."""
    from hil.boards.serial_line import is_port_name, resolve
    from hil.vectors.errors import nearest
    from xlate_core.errors import InputError

    host, _, port = board.rpartition(":")
    if host and port.isdigit() and not is_port_name(board):
        return f"socket://{board}"
    if not is_port_name(board) and (board.isalpha() or not board):
        near = nearest(board, ("emulated",))
        raise InputError(
            f'--board: found "{board}", expected `emulated`, a port, a URL or host:port{near}'
        )
    return resolve(board)


def told(text: str) -> None:
    """Show progress on standard error, one line over the other on a terminal."""
    end = "\r" if sys.stderr.isatty() else "\n"
    click.echo(f"{text:<70}{end}", err=True, nl=False)
