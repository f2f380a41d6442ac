"""The one runner for all boards: vectors in, verdicts out."""

import shlex
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from hil.boards.interface import (
    Board,
    BoardError,
    BoardProtocolError,
    BoardResetError,
    BoardTimeoutError,
    WrongBoardError,
)
from hil.comparison import compare
from hil.differences import Difference
from hil.explanation import explain
from hil.repetition import repeat
from hil.reports.around import around
from hil.vectors.errors import VectorError, nearest
from hil.vectors.names import Names, names_of
from hil.vectors.vector import SUFFIXES, Vector, check_fits, load_vector
from hil.verdicts import Verdict
from hil.written_out import written_out
from xlate_core.bridge import RULES
from xlate_core.errors import InputError
from xlate_core.pairing.model import Pairing
from xlate_core.pairing.options import split

BENCH_VERDICTS: dict[type[BoardError], Verdict] = {
    BoardTimeoutError: Verdict.TIMEOUT,
    BoardProtocolError: Verdict.PROTOCOL,
    BoardResetError: Verdict.RESET,
}
LoadPairing = Callable[[Path], Pairing]


@dataclass(frozen=True, slots=True)
class Result:
    """What one vector's run says; `explanation` is empty on a pass.

    More than one of `attempts` means that the bench failed before: unstable. `picture` is an SVG of
    what happened around a difference.
    """

    identity: str
    path: Path
    pairing: str
    title: str
    verdict: Verdict
    ticks: int = 0
    frames_in: int = 0
    frames_out: int = 0
    checkpoints: int = 0
    duration_ms: int = 0
    explanation: tuple[str, ...] = ()
    board: str = ""
    board_identity: str = ""
    attempts: int = 1
    picture: str = ""
    bench_failed_late: bool = False  # after the mismatch, while it was looked into

    @property
    def unstable(self) -> bool:
        """Whether the bench failed before this verdict."""
        return self.attempts > 1


def is_vector(path: Path) -> bool:
    """Return whether a file's name is that of a vector."""
    return not path.name.startswith(".") and path.name.endswith(SUFFIXES)


def find_vectors(paths: Sequence[Path], default: Path) -> list[Path]:
    """Return the vector files of the given files and folders, or of the default folder."""
    found: list[Path] = []
    for path in paths or [default]:
        if path.is_dir():
            inside = sorted(entry for entry in path.rglob("*") if is_vector(entry))
            if not inside:
                raise VectorError(f"{path}: no vector in this folder; expected *.vector files")
            found += inside
        elif path.is_file():
            if not is_vector(path):
                raise VectorError(f"{path}: no vector file; expected the name *.vector[.gz]")
            found.append(path)
        else:
            siblings = [one.name for one in path.parent.glob("*")] if path.parent.is_dir() else []
            raise VectorError(f"{path}: no such file or folder{nearest(path.name, siblings)}")
    return list(dict.fromkeys(found))


@dataclass(slots=True)
class Pairings:
    """Pairings loaded once each, by name, out of one folder."""

    folder: Path
    load: LoadPairing
    loaded: dict[str, Names]

    def names(self, name: str) -> Names:
        """Return the names of a pairing; raises InputError when it cannot be loaded."""
        if name not in self.loaded:
            directory = self.folder / name
            base, _ = split(directory)
            if not (base / "bridge.toml").is_file():
                known = [entry.parent.name for entry in self.folder.glob("*/bridge.toml")]
                raise InputError(
                    f"{base}: no pairing `{base.name}` (bridge.toml is not there)"
                    f"{nearest(base.name, known)}"
                )
            pairing = self.load(directory)
            if pairing.options and pairing.name != name:
                raise InputError(
                    f"{directory}: found `{name}`, expected the options in their order: "
                    f"`{pairing.name}`"
                )
            self.loaded[name] = names_of(pairing)
        return self.loaded[name]


def load_for_run(path: Path, pairings: Pairings) -> tuple[Vector, Names]:
    """Load a vector and its pairing and see that they belong together."""
    vector = load_vector(path)
    names = pairings.names(vector.header.pairing)
    check_fits(vector, names.pairing.digest, RULES, names.tick_ms)
    return vector, names


def run_vector(vector: Vector, names: Names, board: Board, command: str) -> Result:
    """Run one vector; bad input raises, everything else is a verdict. A mismatch is not retried."""
    started = time.monotonic_ns()
    verdict = Verdict.PASS
    explanation: tuple[str, ...] = ()
    ticks = frames_in = frames_out = checkpoints = 0
    identity = picture = ""
    bench_failed_late = False
    try:
        identity = check_board(board, names)
        run = compare(vector, names, board)
        ticks, frames_in, frames_out = run.ticks, run.frames_in, run.frames_out
        checkpoints = run.checkpoints
        if run.difference is not None:
            verdict = Verdict.MISMATCH
            explanation = tuple(explain(vector, names, run.difference, None, command))
            with told_in_full(vector, names, board, run.difference) as (whole, difference):
                explanation = tuple(explain(whole, names, difference, None, command))
                picture = around(whole, names, difference)
                repetition = repeat(whole, names, board, difference)
                explanation = tuple(explain(whole, names, difference, repetition, command))
    except BoardError as error:
        if verdict is Verdict.PASS:
            return bench_result(vector, error, command)
        explanation += (f"  the repetition failed: {error}",)
        bench_failed_late = True
    return Result(
        identity=vector.header.identity,
        path=vector.path,
        pairing=vector.header.pairing,
        title=vector.header.title,
        verdict=verdict,
        ticks=ticks,
        frames_in=frames_in,
        frames_out=frames_out,
        checkpoints=checkpoints,
        duration_ms=(time.monotonic_ns() - started) // 1_000_000,
        explanation=explanation,
        board_identity=identity,
        picture=picture,
        bench_failed_late=bench_failed_late,
    )


@contextmanager
def told_in_full(
    vector: Vector, names: Names, board: Board, difference: Difference
) -> Iterator[tuple[Vector, Difference]]:
    """Yield a vector with its frames and its first difference; random traffic is written out.

    As they are where that is not possible, or where the board does not do it again.
    """
    if vector.header.random is None:
        yield vector, difference
        return
    with tempfile.TemporaryDirectory(prefix="xlate-written-out-") as folder:
        whole = written_out(vector, names, difference.tick + 1, Path(folder))
        again = None if whole is None else compare(whole, names, board).difference
        if whole is None or again is None:
            yield vector, difference
        else:
            yield whole, again


def bench_result(vector: Vector, error: BoardError, command: str) -> Result:
    """Return the result of a run that the bench did not let come to its end."""
    return Result(
        identity=vector.header.identity,
        path=vector.path,
        pairing=vector.header.pairing,
        title=vector.header.title,
        verdict=BENCH_VERDICTS.get(type(error), Verdict.BENCH_FAULT),
        explanation=(f"vector {vector.header.identity}: {error}", f"  run again {command}"),
    )


def not_run(path: Path, pairings: Pairings) -> Result:
    """Return the result of a vector whose turn did not come."""
    header = load_for_run(path, pairings)[0].header
    return Result(header.identity, path, header.pairing, header.title, Verdict.NOT_RUN)


def check_board(board: Board, names: Names) -> str:
    """Raise BoardError when the board obeys other rules or carries another pairing.

    Returns what the board says of itself, in words.
    """
    identity = board.identity()
    if identity.rules != RULES:
        raise WrongBoardError(
            f"board {identity.board} obeys rules {identity.rules}, expected {RULES}"
        )
    if identity.pairing_digest != names.pairing.digest:
        raise WrongBoardError(
            f"board {identity.board} carries pairing {identity.pairing_digest[:12]}, expected "
            f"{names.pairing.name} {names.pairing.digest[:12]}"
        )
    return (
        f"{identity.board}, {identity.version}, rules {identity.rules}, pairing "
        f"{names.pairing.name} {identity.pairing_digest[:12]}"
    )


def rerun_command(board: str, path: Path, pairings: Path | None) -> str:
    """Return the command that runs one vector again."""
    words = ["xlate", "vectors", "run", "--board", board]
    if pairings is not None:
        words += ["--pairings", str(pairings)]
    return shlex.join([*words, str(path)])
