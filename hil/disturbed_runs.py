"""Many short runs over a line that misbehaves: the verdict must be right every time.

Half of the runs use vectors as they are: they pass or the bench fails. The other half use copies
with one expected octet changed: they differ or the bench fails. Anything else is a wrong verdict.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from hil.boards.interface import BoardError
from hil.boards.native import NativeBoard
from hil.comparison import compare
from hil.link.disturbance import DisturbedPort, Happened, Trouble
from hil.link.port import Port
from hil.link.session import Timing
from hil.runner import Pairings, bench_result, find_vectors, load_for_run
from hil.vectors.names import Names
from hil.vectors.vector import Vector, load_vector, open_text, render_end
from hil.verdicts import BENCH, Verdict
from xlate_core.errors import InputError

PATIENT = Timing(hello_s=5.0, patience_s=0.004, timeout_s=5.0, first_hello_s=0.01)


@dataclass(slots=True)
class Tally:
    """What the runs gave."""

    runs: int = 0
    verdicts: dict[Verdict, int] = field(default_factory=dict)
    happened: Happened = field(default_factory=Happened)
    repeated: int = 0
    wrong: list[str] = field(default_factory=list)

    def add(self, verdict: Verdict) -> None:
        """Count a verdict."""
        self.runs += 1
        self.verdicts[verdict] = self.verdicts.get(verdict, 0) + 1


Case = tuple[Vector, Names, bool]
MOST_CASES = 16
SHORT_TICKS = 600


def short_cases(folder: Path, pairings: Pairings, name: str, spoiled: Path) -> list[Case]:
    """Return short vectors of a pairing, each followed by its copy spoiled into a folder."""
    cases: list[Case] = []
    for path in find_vectors([folder / name], folder):
        vector, names = load_for_run(path, pairings)
        if vector.header.random is not None or vector.header.ticks > SHORT_TICKS:
            continue
        with suppress(ValueError):
            cases += [(vector, names, True), (spoil(vector, spoiled), names, False)]
        if len(cases) >= MOST_CASES:
            return cases
    if not cases:
        raise InputError(f"{folder / name}: no vector of at most {SHORT_TICKS} ticks")
    return cases


def spoil(vector: Vector, folder: Path) -> Vector:
    """Write a copy of a vector with one expected octet changed, about in its middle."""
    lines = list(vector.lines())
    for number in range(len(lines) // 2, len(lines)):
        columns = lines[number].rstrip("\n").split("|")
        for column in (2, 3):
            if column < len(columns) and columns[column]:
                text = columns[column]
                last = "1" if text[-1] != "1" else "2"
                columns[column] = text[:-1] + last
                lines[number] = "|".join(columns) + "\n"
                return rewritten(vector, lines, folder)
    raise ValueError(f"{vector.path}: no frame is expected in its second half")


def rewritten(vector: Vector, lines: Sequence[str], folder: Path) -> Vector:
    """Write a vector with other records into a folder."""
    from zlib import crc32

    with open_text(vector.path) as stream:
        head = stream.read(vector.first_octet)
    body = "".join(lines).encode("ascii")
    path = folder / f"spoiled_{vector.path.name.removesuffix('.gz')}"
    path.write_bytes(head + body + render_end(len(lines), crc32(body)))
    return load_vector(path)


def run_many(
    program: Path,
    cases: Sequence[Case],
    numbers: Sequence[int],
    seed: int,
    trouble: Trouble,
) -> Iterator[Tally]:
    """Run the cases (vector, names, whether it must pass) in turn; yield the tally after each run.

    A run's number says its case and its trouble, whichever ran before.

    All cases are of the pairing `program` was built from.
    """
    tally = Tally()
    board: NativeBoard | None = None
    try:
        for number in numbers:
            vector, names, passes = cases[number % len(cases)]
            wrap = trouble_of(seed + number, trouble, tally.happened)
            try:
                if board is None:
                    board = NativeBoard(names.pairing, program, PATIENT, wrap=wrap)
                else:
                    board.rewrap(wrap)
                    board.recover()
                run = compare(vector, names, board)
                verdict = Verdict.PASS if run.difference is None else Verdict.MISMATCH
                tally.repeated += board.session.counts.repeated_requests
            except BoardError as error:
                verdict = bench_result(vector, error, "").verdict
            tally.add(verdict)
            right = Verdict.PASS if passes else Verdict.MISMATCH
            if verdict is not right and verdict not in BENCH:
                tally.wrong.append(
                    f"seed {seed + number}, {vector.header.identity}: {verdict.value}, "
                    f"expected {right.value} or a bench verdict"
                )
            yield tally
    finally:
        if board is not None:
            board.close()


def trouble_of(seed: int, trouble: Trouble, happened: Happened) -> Callable[[Port], Port]:
    """Return what puts trouble of a seed around a port."""
    return lambda port: DisturbedPort(port, seed, trouble, happened)
