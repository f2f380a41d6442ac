"""Measured figures beside each other: what, how much, in relation to what, and the floor."""

import statistics
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Floor:
    """What the project promises of a figure: at most or at least `limit`."""

    limit: float
    at_most: bool
    words: str

    def met(self, value: float) -> bool:
        """Return whether a figure keeps the promise."""
        return value <= self.limit if self.at_most else value >= self.limit


@dataclass(frozen=True, slots=True)
class Row:
    """One figure: the median of `samples` measurements, or why there is none.

    `ratio` is this figure by the engine's of the same group; the engine's own is 1.
    """

    key: str
    what: str
    value: float | None
    unit: str
    samples: int = 0
    ratio: float | None = None
    floor: Floor | None = None
    note: str = ""

    @property
    def met(self) -> bool | None:
        """Whether the floor is met; None without floor or figure."""
        if self.floor is None or self.value is None:
            return None
        return self.floor.met(self.value)

    def plain(self) -> dict[str, Any]:
        """Return the row for JSON."""
        return {
            "key": self.key,
            "what": self.what,
            "median": self.value,
            "unit": self.unit,
            "samples": self.samples,
            "ratio_to_engine": self.ratio,
            "floor": None if self.floor is None else self.floor.words,
            "met": self.met,
            "note": self.note,
        }


@dataclass(slots=True)
class Measured:
    """All rows of a run, and in words what was compared."""

    rows: list[Row] = field(default_factory=list)
    compared: list[str] = field(default_factory=list)


def median(samples: list[float]) -> float:
    """Return the median of at least one sample."""
    return statistics.median(samples)


HOUR_S = 3600


def an_hour(work: Callable[[int], float], seconds: int, shorter: int = 1) -> float:
    """Return what an hour of driving takes, from what `seconds` of it take.

    From less than an hour it is the straight line through this drive and a `shorter` one, so that
    what is done once is not multiplied; what only the first run in a process does is counted once.
    """
    if seconds == HOUR_S:
        return work(seconds)
    first = work(shorter)
    took, start = work(seconds), work(shorter)
    return first + max(took - start, 0.0) * (HOUR_S - shorter) / (seconds - shorter)
