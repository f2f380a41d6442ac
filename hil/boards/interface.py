"""What every board offers to the runner: the reference, the native build, an emulated or real one.

The runner knows nothing else. A tick is a number the host sends, so a board's own speed and the way
to it cannot alter a result.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, NamedTuple, Protocol, runtime_checkable

from xlate_core.bridge import Inputs, Outputs, ResetCause
from xlate_core.events import Event, Reason
from xlate_core.frames import Frame

if TYPE_CHECKING:
    from hil.vectors.plays import Play

RESET_CAUSES = {cause.name.lower(): cause for cause in ResetCause}
"""Causes of a reset as scenarios and vectors write them."""


class Identity(NamedTuple):
    """What a board says about itself before the first vector."""

    board: str
    version: str
    rules: int
    pairing_digest: str


class Stimulus(NamedTuple):
    """A frame as it reaches the board's controller.

    `length_code` is the raw one, 0..15; codes above 8 stand for 8 octets (rule 6).
    """

    frame: Frame
    length_code: int


class BoardError(Exception):
    """The bench failed, not the product: no answer, a damaged link, a board of another pairing."""


class BoardTimeoutError(BoardError):
    """The board did not answer in time."""


class BoardProtocolError(BoardError):
    """The link carried something that no retry could mend."""


class BoardResetError(BoardError):
    """The board restarted without being asked to."""


class WrongBoardError(BoardError):
    """The board answers, but is another one than meant: pairing, rules or firmware."""


class Board(Protocol):
    """One board, with the state of one module."""

    def identity(self) -> Identity:
        """Say who you are; raises BoardError when there is no answer."""

    def reset(self, cause: ResetCause, keep: bool) -> None:
        """Restart. `keep` says whether the memory that survives a reset survives (rule 1)."""

    def step(self, inputs: Inputs, frames: tuple[Frame, ...]) -> Outputs:
        """Receive the frames in order, then run one tick; return what the module puts out."""

    def digest(self) -> int:
        """Return the CRC-32 over the state image (rule 15)."""

    def image(self) -> bytes:
        """Return the state image itself, for the explanation of a difference."""


class ObservedBoard(Board, Protocol):
    """A board that also reports its events; the reference does."""

    def observe(self, observe: bool, reasons: frozenset[Reason] | None = None) -> None:
        """Collect events from here on, or no more; with `reasons` of those, in their tick."""

    def take_events(self) -> list[Event]:
        """Return the events since the last call, in order."""

    def quantity(self, name: str) -> tuple[int, str]:
        """Return value (in steps of its resolution) and status word of a quantity."""

    def field(self, path: str) -> int:
        """Return the value of a state field by its path in the dump."""


@runtime_checkable
class ForesightedBoard(Board, Protocol):
    """A board behind a line, which is used well only when much is on the way."""

    def foresee(self, plays: "Iterator[Play]") -> None:
        """Send these ahead; `step`, `reset` and `digest` then answer in their order."""

    def end_foresight(self) -> None:
        """Drop what was foreseen and not yet asked for."""

    def confirm(self) -> None:
        """Before a mismatch is believed: raise BoardError when the line changed an octet."""


@contextmanager
def foresight(board: Board) -> Iterator[None]:
    """Let a board foresee inside; behind it what was foreseen and not asked for is dropped.

    An interrupt waits for nothing: its Ctrl-C may have ended the board as well, and the error of a
    line that is gone would take its place.
    """
    try:
        yield
    except Exception:
        _drop_foreseen(board)
        raise
    _drop_foreseen(board)


def _drop_foreseen(board: Board) -> None:
    if isinstance(board, ForesightedBoard):
        board.end_foresight()


@runtime_checkable
class LineBoard(ForesightedBoard, Protocol):
    """A board whose line can fail."""

    def recover(self) -> None:
        """Open line and session anew after the bench failed; raises BoardError when it cannot."""

    def close(self) -> None:
        """Let go of the line, and end what was started for it."""
