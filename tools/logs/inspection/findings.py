"""What an inspection hands back: facts about each message, and guesses with their evidence."""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from tools.logs.bits import Field
from tools.logs.table import Array, Key


class What(StrEnum):
    """What a guess is about."""

    SENDING = "sending"
    COUNTER = "counter"
    CHECKSUM = "checksum"
    MULTIPLEXER = "multiplexer"
    VALUE = "value"
    STATE = "state"
    COPY = "copy"
    FOLLOWS = "follows"


@dataclass(slots=True)
class Guess:
    """One guess: a sentence, where it applies, and what speaks for it.

    `score` orders guesses of one sort by the strength of their evidence, 0..1; `confidence` is
    the share in percent of guesses of this sort and score that were right on invented networks (0
    until filled in). `path` is the selector value the guess is limited to; `doubt` names what else
    in its message is a guess it stands on. `facts` are for machines.
    """

    what: What
    text: str
    place: Field | None
    score: float
    evidence: str
    facts: dict[str, Any] = field(default_factory=dict)
    path: int | None = None
    confidence: int = 0
    doubt: str = ""


def doubt_of(selector: Guess | None, check: Guess | None) -> str:
    """Return what the fields of a message stand on: they are wrong with it, and all at once."""
    doubts = []
    if selector is not None:
        doubts.append("a multiplexer")
    if check is not None and check.facts["also_at"]:
        doubts.append("a checksum of several possible places")
    return " and ".join(doubts)


@dataclass(frozen=True, slots=True)
class Timing:
    """How a message comes: all times in microseconds; gaps and bursts are counts of intervals."""

    frames: int
    first_us: int
    last_us: int
    median_us: int
    spread_us: int
    shortest_us: int
    longest_us: int
    gaps: int
    bursts: int


@dataclass(slots=True)
class MessageReport:
    """Everything found about one message of one bus."""

    key: Key
    channel: str
    timing: Timing
    lengths: dict[int, int]
    remote_frames: int
    changing_bits: dict[int, float]
    constant_octets: dict[int, int]
    guesses: list[Guess] = field(default_factory=list)

    def add(self, guess: Guess) -> None:
        """Add a guess found later."""
        self.guesses.append(guess)

    def of(self, what: What) -> list[Guess]:
        """Return the guesses of one sort."""
        return [guess for guess in self.guesses if guess.what is what]

    def one(self, what: What) -> Guess | None:
        """Return the first guess of a sort, the strongest one."""
        return next(iter(self.of(what)), None)


@dataclass(slots=True)
class Inspection:
    """One inspected log."""

    channels: tuple[str, ...]
    frames: int
    first_us: int
    last_us: int
    messages: list[MessageReport]
    notes: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Material:
    """The data frames of one message as the searches take them, in the order of time.

    Frames of the most frequent length only; `payload` is n x 8, `length` octets of it are used.
    """

    key: Key
    length: int
    time_us: Array
    payload: Array
