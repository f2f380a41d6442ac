"""The table shared out over processes: a piece is some of the faults in one situation."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from hil.parallel import default_jobs, in_order
from tools.failsafe.build import Builder
from tools.failsafe.matching import Situation, show_situation
from tools.failsafe.names import TableNames
from tools.failsafe.required import Required, load_required
from tools.failsafe.rows import Row
from xlate_core.pairing import load

PIECES = 6  # of the faults, for every situation: short enough that no process ends far behind


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the work, as another process can take it."""

    pairing: Path
    required: Path
    situation: Situation
    number: int
    plain: bool


def build_rows(
    pairing: Path,
    required_file: Path,
    required: Required,
    jobs: int | None,
    said: Callable[[int, int, str], None],
    plain: bool = False,
) -> list[Row]:
    """Return all rows, in the order of situations and faults; `plain` by the readable engine."""
    pieces = [
        Piece(pairing, required_file, situation, number, plain)
        for situation in required.situations
        for number in range(PIECES)
    ]
    rows: list[Row] = []
    said(0, len(pieces), "")
    for done, found in enumerate(in_order(rows_of, pieces, jobs or default_jobs()), start=1):
        rows += found
        said(done, len(pieces), show_situation(pieces[done - 1].situation))
    rows += builder(pairing, required_file, plain).static_rows()
    return rows


def rows_of(piece: Piece) -> list[Row]:
    """Return the rows of one piece; runs in any process."""
    found = builder(piece.pairing, piece.required, piece.plain)
    every = found.faults_in(piece.situation)
    share = -(-len(every) // PIECES)
    chosen = every[piece.number * share : (piece.number + 1) * share]
    return found.rows_in(piece.situation, chosen)


@lru_cache(maxsize=4)
def builder(pairing: Path, required_file: Path, plain: bool = False) -> Builder:
    """Return the builder of a pairing, made once in every process."""
    names = TableNames(load(pairing))
    return Builder(names, load_required(required_file, names), plain)
