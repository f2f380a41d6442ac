"""What a trial is: what changes, when everybody sends, what disturbs, and what was seen.

Times are integers in nanoseconds from the start of the trial.
"""

from dataclasses import dataclass, field
from typing import NamedTuple

FULL_PERCENT = 100


@dataclass(frozen=True, slots=True)
class Change:
    """What changes in a trial: a signal's raw value, a pin's level or count, or a silent sender."""

    source: str
    value: int = 0


class Stage(NamedTuple):
    """Changes made at once, and how long the engine then settles, in ms."""

    changes: tuple[Change, ...]
    ms: int


@dataclass(frozen=True, slots=True)
class Filling:
    """Frames nobody listed, the longest of the lowest priority, on both buses.

    They take `percent` of the bus in bursts of `burst` frames queued at once; at 100 somebody
    babbles: the next is queued as soon as one has passed.
    """

    percent: int = 0
    burst: int = 1


@dataclass(frozen=True, slots=True)
class Lateness:
    """How late a sender queues its frames, in ns by (stream, frame number), within its jitter.

    `every` frames later the numbers begin anew; 0 = they do not.
    """

    by_frame: dict[tuple[str, int], int] = field(default_factory=dict)
    every: int = 0

    def of(self, name: str, number: int) -> int:
        """Return the lateness of one frame."""
        return self.by_frame.get((name, number % self.every if self.every else number), 0)


@dataclass(slots=True)
class Trial:
    """One run. `phases` in ns by stream name of a bus; `clocks` in ppm by stream name.

    - the first tick is at 0, `bridge_ppm` the error of the bridge's clock;
    - `change` happens at `at` (for a silent sender: no frame is queued from then on);
    - `blocking` (bus, ns): a longest unknown frame of the lowest priority is queued then;
    - `exact` frame lengths, else the longest; `alone`: no other foreign sender than the changing
      one;
    - `errors_from`: by bus, frames are disturbed from then on, as many as the pairing allows for.
    """

    change: Change
    at: int
    until: int
    phases: dict[str, int] = field(default_factory=dict)
    clocks: dict[str, int] = field(default_factory=dict)
    lateness: Lateness = field(default_factory=Lateness)
    bridge_ppm: int = 0
    blocking: tuple[tuple[int, int], ...] = ()
    exact: bool = True
    alone: bool = False
    filling: Filling = field(default_factory=Filling)
    errors_from: tuple[int, int] = (0, 0)


@dataclass(slots=True)
class Seen:
    """What a trial showed: first effect by target; largest age by (source message, target)."""

    effects: dict[str, int] = field(default_factory=dict)
    ages: dict[tuple[str, str], int] = field(default_factory=dict)
    arrivals: dict[str, list[int]] = field(default_factory=dict)
    routed: dict[tuple[str, str], list[int]] = field(default_factory=dict)
    disturbed: int = 0
