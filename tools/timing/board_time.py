"""The longest execution time of a tick on the board, as the timing tools take it.

What the pairing says comes first; then the stored figures of `xlate board measure`; a pairing that
was never measured gets a number that is said to be assumed.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any

from hil.measuring.figures import path_of, read
from xlate_core.pairing import Pairing

ASSUMED_US = 50
CORE_HERTZ = 168_000_000  # STM32F405
LONGEST_TICKS = ("tick_most_in_vectors", "tick_most_in_search")


@dataclass(frozen=True, slots=True)
class BoardTime:
    """Longest execution time of a tick in us, rounded up, and where it comes from."""

    us: int
    origin: str


@cache
def _stored(name: str) -> dict[str, Any]:
    return read(name)


def board_time(pairing: Pairing) -> BoardTime:
    """Return the board's time of a pairing."""
    said = pairing.traffic.board_us
    if said is not None:
        return BoardTime(said, "traffic.board_us of the pairing")
    stored = _stored(pairing.name)
    longest = _longest(stored.get("figures", {}))
    if longest is None:
        return BoardTime(
            ASSUMED_US, "assumed: no stored figures of this pairing and no traffic.board_us"
        )
    hertz = int(stored.get("hertz", CORE_HERTZ))
    return BoardTime(
        -(-longest * 1_000_000 // hertz),
        f"longest tick in {path_of(pairing.name).name}, {longest} {stored['counts_are']} at "
        f"{hertz // 1_000_000} MHz, one cycle each",
    )


def _longest(figures: dict[str, Any]) -> int | None:
    found = [int(figures[name]) for name in LONGEST_TICKS if name in figures]
    return max(found, default=None)
