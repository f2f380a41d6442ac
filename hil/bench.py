"""One board by name, vector after vector: opened when needed, revived after a bench fault.

A mismatch is never retried. A bench fault is, a bounded number of times, and what then passes is
marked unstable. A board that cannot be opened again is lost: its turn ends.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from hil import runner
from hil.boards.interface import Board, BoardError, LineBoard, WrongBoardError
from hil.boards.options import BoardOptions
from hil.boards.registry import MADE_HERE, close_board, open_board
from hil.runner import Pairings, Result, bench_result, load_for_run, rerun_command
from hil.vectors.names import Names
from hil.verdicts import BENCH

OpenBoard = Callable[[str, Names], Board]


@dataclass(frozen=True, slots=True)
class BenchPlan:
    """What a bench needs to know; picklable, for a bench in a process of its own."""

    board: str
    pairings: Path
    shown_pairings: Path | None
    options: BoardOptions = field(default_factory=BoardOptions)
    retries: int = 1


class Bench:
    """Runs vectors on one board. `lost` says that the board answers no more."""

    def __init__(self, plan: BenchPlan, pairings: Pairings) -> None:
        """Nothing is opened yet."""
        self.plan = plan
        self.pairings = pairings
        self.lost = ""
        self._boards: dict[str, Board] = {}

    def run(self, path: Path) -> Result:
        """Run one vector; bad input raises, everything else is a verdict."""
        vector, names = load_for_run(path, self.pairings)
        again = rerun_command(self.plan.board, path, self.plan.shown_pairings)
        attempts = 0
        while True:
            attempts += 1
            board: Board | None = None
            try:
                board = self._board(names)
                result = runner.run_vector(vector, names, board, again)
            except BoardError as error:
                result = bench_result(vector, error, again)
                if not isinstance(error, WrongBoardError):
                    self.lost = str(error)
            if board is not None and result.bench_failed_late:
                self._revive(names, board)
            if result.verdict not in BENCH or board is None:
                break
            revived = self._revive(names, board)
            if not revived or attempts > self.plan.retries:
                break
        return replace(result, board=self.plan.board, attempts=attempts)

    def close(self) -> None:
        """Let go of every board."""
        for board in self._boards.values():
            close_board(board)
        self._boards.clear()

    def _board(self, names: Names) -> Board:
        """Return the board of a pairing; on a line there is one at a time."""
        name = names.pairing.name
        if name not in self._boards:
            if self.plan.board not in MADE_HERE:
                self.close()
            self._boards[name] = open_board(self.plan.board, names.pairing, self.plan.options)
        return self._boards[name]

    def _revive(self, names: Names, board: Board) -> bool:
        """After a bench fault: open the line anew; return whether the board answers."""
        try:
            if isinstance(board, LineBoard):
                board.recover()
                return True
        except BoardError as error:
            self._boards.pop(names.pairing.name, None)
            close_board(board)
            self.lost = str(error)
        return False
