"""Worst-case response times of messages on one CAN bus.

Exact analysis (in the sense of the model) of Davis, Burns, Bril and Lukkien, "Controller Area
Network (CAN) schedulability analysis: refuted, revisited and revised", Real-Time Systems 35 (2007):
every instance in the priority level's busy period is looked at, because the first one is not always
the worst. For message m, with B the longest frame of lower priority, tau one bit time:

    busy period  t    = E(t) + B + sum over k up to m of ceil((t + J_k) / T_k) * C_k
    instances    Q    = ceil((t + J_m) / T_m)
    waiting      w(q) = E(w + C_m) + B + q * C_m + sum over k before m of
                        ceil((w + J_k + tau) / T_k) * C_k
    response     R    = max over q < Q of J_m + w(q) - q * T_m + C_m

The sufficient test is theirs too: w = max(B, C_m) + the same sum, good while R <= T_m. Errors are
those of Tindell and Burns as corrected there: E(t) = (errors + ceil(t / interval) - 1) * (31 tau +
longest frame up to m), 0 without errors.

Times are integers in fractions of a microsecond, so that bit times of any bit rate are exact.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from tools.timing.frame_bits import ERROR_RECOVERY_BITS, longest_bits

MICRO = 1_000_000
Times = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Stream:
    """Frames with one identifier and one rhythm.

    - `period_us`: least distance of two queueings without jitter; `jitter_us`: release jitter;
    - `deadline_us`: from the event that queues to the end of the frame;
    - `bits`: length on the bus, interframe space included;
    - `sender`: who sends it; `free`: whether its identifier may be chosen anew.
    """

    name: str
    extended: bool
    identifier: int
    bits: int
    period_us: int
    jitter_us: int
    deadline_us: int
    sender: str
    free: bool = False

    @property
    def priority(self) -> tuple[int, int, int]:
        """Sorts the winner of the arbitration first (ISO 11898-1).

        The first 11 bits decide; then a standard frame wins against an extended one; then the
        other 18 bits.
        """
        if self.extended:
            return self.identifier >> 18, 1, self.identifier & 0x3FFFF
        return self.identifier, 0, 0


@dataclass(frozen=True, slots=True)
class Disturbance:
    """What is assumed besides the streams.

    - `blocking_bits`: the longest frame of lower priority that nobody listed, 0 = none;
    - `errors` at once, and one more every `error_interval_us` (0 = no more).
    """

    blocking_bits: int = 0
    errors: int = 0
    error_interval_us: int = 0


UNDISTURBED = Disturbance()
UNKNOWN_FRAME = Disturbance(blocking_bits=longest_bits(8, False))


@dataclass(frozen=True, slots=True)
class Response:
    """The result for one stream, in microseconds, exact; None = without bound.

    `instances` are the responses of all instances of the busy period (the first is not always the
    worst), `sufficient` the result of the simpler test, None where it cannot vouch.
    """

    stream: Stream
    worst_us: Fraction | None
    instances_us: tuple[Fraction, ...]
    sufficient_us: Fraction | None

    @property
    def slack_us(self) -> Fraction | None:
        """What is left to the deadline; negative when it is missed."""
        return None if self.worst_us is None else self.stream.deadline_us - self.worst_us

    @property
    def meets(self) -> bool:
        """Whether the deadline is met in every case."""
        return self.worst_us is not None and self.worst_us <= self.stream.deadline_us


def load(streams: Sequence[Stream], bit_rate: int) -> Fraction:
    """Return the share of the bus the streams take; above 1 it cannot work."""
    return sum(
        (Fraction(one.bits * MICRO, one.period_us * bit_rate) for one in streams), Fraction(0)
    )


def analyse(
    streams: Sequence[Stream], bit_rate: int, disturbance: Disturbance = UNDISTURBED
) -> list[Response]:
    """Return the response of every stream, the highest priority first.

    Streams with the same identifier (a period and its changes) count as interference to each other.
    """
    ordered = sorted(streams, key=lambda one: one.priority)
    level = _Level(ordered, bit_rate, disturbance)
    return [level.response(number) for number in range(len(ordered))]


class _Level:
    """The arrays of one analysis, in units of a microsecond / bit rate."""

    def __init__(self, ordered: Sequence[Stream], bit_rate: int, disturbance: Disturbance) -> None:
        self.streams = ordered
        self.rate = bit_rate
        self.disturbance = disturbance
        self.bit = MICRO
        self.cost = np.array([one.bits * MICRO for one in ordered], dtype=np.int64)
        self.period = np.array([one.period_us * bit_rate for one in ordered], dtype=np.int64)
        self.jitter = np.array([one.jitter_us * bit_rate for one in ordered], dtype=np.int64)
        share = self.cost / self.period
        self.load_up_to = np.concatenate(([0.0], np.cumsum(share)))
        self.late_up_to = np.concatenate(([0.0], np.cumsum(share * self.jitter)))
        self.saturated_from = self._saturated_from()

    def _saturated_from(self) -> int:
        """Return the first place up to which the load is 1 or more, judged exactly."""
        total = Fraction(0)
        for number, one in enumerate(self.streams):
            total += Fraction(one.bits * MICRO, one.period_us * self.rate)
            if total + self._error_load(number) >= 1:
                return number
        return len(self.streams)

    def _error_load(self, m: int) -> Fraction:
        if not self.disturbance.error_interval_us:
            return Fraction(0)
        return Fraction(self._error_cost(m), self.disturbance.error_interval_us * self.rate)

    def _error_cost(self, m: int) -> int:
        return ERROR_RECOVERY_BITS * self.bit + int(self.cost[: m + 1].max())

    def _errors(self, m: int, window: int) -> int:
        """Return E of the docstring above."""
        assumed = self.disturbance
        count = assumed.errors
        if assumed.error_interval_us:
            count += -(-window // (assumed.error_interval_us * self.rate)) - 1
        return max(count, 0) * self._error_cost(m) if count > 0 else 0

    def response(self, m: int) -> Response:
        """Return the response of the stream at place m."""
        stream = self.streams[m]
        if m >= self.saturated_from:
            return Response(stream, None, (), None)
        cost, period, jitter = int(self.cost[m]), int(self.period[m]), int(self.jitter[m])
        lower = int(self.cost[m + 1 :].max()) if m + 1 < len(self.streams) else 0
        blocking = max(lower, self.disturbance.blocking_bits * self.bit)
        busy = self._busy_period(m, blocking)
        windows: list[int] = []
        for q in range(-(-(busy + jitter) // period)):
            windows.append(self._waiting(m, blocking + q * cost, windows[-1] if windows else 0))
        instances = [
            Fraction(jitter + window - q * period + cost, self.rate)
            for q, window in enumerate(windows)
        ]
        # With no more ahead than the first instance had, its window is the answer.
        first = windows[0]
        enough = jitter + (first if blocking >= cost else self._waiting(m, cost, first)) + cost
        return Response(
            stream,
            max(instances),
            tuple(instances),
            Fraction(enough, self.rate) if enough <= period else None,
        )

    def _busy_period(self, m: int, blocking: int) -> int:
        upto = slice(0, m + 1)
        cost, period, jitter = self.cost[upto], self.period[upto], self.jitter[upto]
        window = max(self._start(blocking + self._errors(m, 1), m + 1, 0.0), 1)
        while True:
            arrivals = -(-(window + jitter) // period)
            longer = self._errors(m, window) + blocking + int(arrivals @ cost)
            if longer <= window:
                return window
            window = longer

    def _waiting(self, m: int, ahead: int, known: int) -> int:
        """Return w: `ahead` is what goes before in any case, `known` a window it exceeds."""
        cost, period, late = self.cost[:m], self.period[:m], self.jitter[:m] + self.bit
        own = int(self.cost[m])
        first = ahead + self._errors(m, own)
        window = max(known, self._start(first, m, float(self.bit)))
        while True:
            arrivals = -(-(window + late) // period)
            longer = self._errors(m, window + own) + ahead + int(arrivals @ cost)
            if longer <= window:
                return window
            window = longer

    def _start(self, ahead: int, count: int, extra: float) -> int:
        """Return a lower bound to begin the iteration at: the fluid solution, rounded down.

        ceil(x) >= x makes the solution at least (ahead + late work) / (1 - load).
        """
        load_up_to, late = float(self.load_up_to[count]), float(self.late_up_to[count])
        fluid = (ahead + late + extra * load_up_to) / (1.0 - load_up_to)
        return max(int(fluid * (1.0 - 1e-9)) - 1, ahead)
