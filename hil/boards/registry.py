"""Every board behind one name: what `--board` takes.

A kind of board is a module with `open(name, pairing, options)`. A name that is no kind is a port,
URL or selector.
"""

import difflib
import importlib
import importlib.util
from typing import cast

from hil.boards.interface import Board
from hil.boards.options import BoardOptions
from hil.link.port import TCP, tcp_address
from xlate_core.errors import InputError
from xlate_core.pairing.model import Pairing

KINDS = {
    "reference": "hil.boards.reference",
    "native": "hil.boards.native",
    "emulated": "hil.boards.emulated",
}
"""Name -> module; imported when it is used."""
LINES = "hil.boards.serial_line"
MADE_HERE = ("reference", "native", "emulated")
"""Boards of which this machine makes as many as it wants, one for each pairing."""


def check_name(name: str) -> None:
    """Raise InputError for a TCP address that is none, and for a plain word that is no kind.

    All other names have signs.
    """
    if name.startswith(TCP):
        tcp_address(name)
    if name in KINDS or not name.isalpha():
        return
    close = difflib.get_close_matches(name.lower(), KINDS, n=1, cutoff=0.6)
    hint = f'; did you mean "{close[0]}"?' if close else ""
    raise InputError(
        f"board `{name}` is not known; expected one of {', '.join(KINDS)}, a port, a URL or a "
        f"selector of `xlate board list`{hint}"
    )


def open_board(name: str, pairing: Pairing, options: BoardOptions) -> Board:
    """Open a board for a pairing; raises BoardError when the bench is not ready for it."""
    module = importlib.import_module(KINDS.get(name, LINES))
    return cast(Board, module.open(name, pairing, options))


def close_board(board: Board) -> None:
    """Let go of a board that has a line."""
    close = getattr(board, "close", None)
    if close is not None:
        close()


def made_here() -> list[tuple[str, str]]:
    """Return the boards this machine can make, with what is missing for those it cannot."""
    notes = {
        "reference": "the engine itself, in this process",
        "native": "the firmware as a process over TCP",
        "emulated": "the flashable firmware under an emulator",
    }
    found = []
    for name, note in notes.items():
        if importlib.util.find_spec(KINDS[name]) is None:
            continue
        missing = getattr(importlib.import_module(KINDS[name]), "missing", None)
        said = missing() if missing is not None else ""
        found.append((name, f"{note}; not usable here: {said}" if said else note))
    return found
