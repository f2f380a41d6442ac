"""What the commands of `xlate board` share: options, exit codes, who answers on a line."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hil.verdicts import EXIT_BENCH, EXIT_INPUT
from tools.cli.vectors_shared import FIXTURES, PATH, shown
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from hil.boards.options import BoardOptions
    from hil.link.session import Hello
    from xlate_core.pairing.model import Pairing

board_argument = click.argument("board")
pairing_option = click.option(
    "--pairing",
    "folder",
    type=PATH,
    default=None,
    help="Pairing that native and emulated boards are made for; default farm_pickup.",
)
baud_option = click.option(
    "--baud", type=click.IntRange(300, 12_000_000), default=921_600, show_default=True
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


@contextmanager
def told() -> Iterator[None]:
    """Turn bad input into exit code 2 and a bench that is not ready into 3, each one sentence."""
    from hil.boards.interface import BoardError

    try:
        yield
    except InputError as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_INPUT)
    except BoardError as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_BENCH)


def options_of(baud: int) -> "BoardOptions":
    """Return the options of a command that looks at one board."""
    from hil.boards.options import BoardOptions

    return BoardOptions(baud=baud)


def load_pairing(folder: Path | None) -> "Pairing":
    """Return the pairing a board is made for or expected to carry."""
    from xlate_core.pairing import load

    return load(folder or shown(FIXTURES / "pairings" / "farm_pickup"))


def hello_of(board: str, folder: Path | None, options: "BoardOptions") -> "Hello":
    """Return what a board says of itself, whatever pairing it carries."""
    from hil.boards.registry import KINDS, check_name, close_board, open_board
    from hil.boards.serial_line import resolve
    from hil.link.board import LinkBoard
    from hil.link.port import open_port
    from hil.link.session import Session

    check_name(board)
    if board in KINDS:
        opened = open_board(board, load_pairing(folder), options)
        try:
            if not isinstance(opened, LinkBoard):
                raise InputError(f"board `{board}` has no line to ask who it is")
            return opened.hello
        finally:
            close_board(opened)
    port = open_port(resolve(board), options.baud)
    try:
        return Session(port, options.timing).hello()
    finally:
        port.close()


def pairing_of(digest: str) -> str:
    """Return the name of the stored pairing with a digest, empty without one."""
    from xlate_core.pairing import load

    for file in sorted((FIXTURES / "pairings").glob("*/bridge.toml")):
        try:
            pairing = load(file.parent)
        except InputError:
            continue
        if pairing.digest == digest:
            return pairing.name
    return ""


def cause_word(cause: int) -> str:
    """Return a reset cause in words."""
    from xlate_core.interface import ResetCause

    words = [one.name.lower().replace("_", " ") for one in ResetCause]
    return words[cause] if cause < len(words) else f"unknown ({cause})"
