"""Response times when messages of one sender keep fixed distances to each other.

Messages that start communication together and have fixed offsets never queue all at once. For every
window the interference of such a group is the most it can release in a window of that length, over
all places where the window can begin in the group's repeating pattern (Tindell, "Adding
Time-Offsets to Schedulability Analysis", University of York YCS-221, 1994; from memory). Each group
is taken at its own worst place, so the result is a bound, never more than the one without offsets.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

import numpy as np

from tools.timing.frame_bits import ERROR_RECOVERY_BITS
from tools.timing.response import MICRO, Disturbance, Response, Stream, Times, load

LONGEST_PATTERN = 20_000
"""Releases in a group's pattern above which its offsets are not counted: too long to be useful."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A stream of a group and its offset in us from the group's common start."""

    stream: Stream
    group: str
    offset_us: int


class _Pattern:
    """The releases of some streams of one group over two rounds, in units of us / bit rate."""

    def __init__(self, placed: Sequence[Placed], bit_rate: int) -> None:
        periods = [one.stream.period_us for one in placed]
        self.round = lcm(*periods) * bit_rate
        releases = sorted(
            ((one.offset_us + n * one.stream.period_us) * bit_rate, one.stream.bits * MICRO)
            for one in placed
            for n in range(lcm(*periods) // one.stream.period_us)
        )
        self.count = len(releases)
        times = np.array([time for time, _ in releases], dtype=np.int64)
        costs = np.array([cost for _, cost in releases], dtype=np.int64)
        self.total = int(costs.sum())
        self.times: Times = np.concatenate((times, times + self.round))
        self.before: Times = np.concatenate(([0], np.cumsum(np.concatenate((costs, costs)))))

    def most(self, window: int) -> int:
        """Return the most work released in a window of this length, wherever it begins."""
        rounds, rest = divmod(window, self.round)
        ends = np.searchsorted(self.times, self.times[: self.count] + rest, side="left")
        released = self.before[ends] - self.before[: self.count]
        return rounds * self.total + int(released.max())


def analyse_placed(
    streams: Sequence[Stream],
    placed: Sequence[Placed],
    bit_rate: int,
    disturbance: Disturbance,
) -> list[Response]:
    """Return responses, highest priority first; `placed` are those of `streams` with an offset."""
    by_stream = {id(one.stream): one for one in placed}
    ordered = sorted(streams, key=lambda one: one.priority)
    return [
        _response(ordered, number, by_stream, bit_rate, disturbance)
        for number in range(len(ordered))
    ]


def _response(
    ordered: Sequence[Stream],
    m: int,
    by_stream: dict[int, Placed],
    bit_rate: int,
    disturbance: Disturbance,
) -> Response:
    own = ordered[m]
    above = ordered[:m]
    longest = max([one.bits for one in above] + [own.bits]) + ERROR_RECOVERY_BITS
    share = load([*above, own], bit_rate)
    if disturbance.error_interval_us:
        share += Fraction(longest * MICRO, disturbance.error_interval_us * bit_rate)
    if share >= 1:
        return Response(own, None, (), None)
    alone = [one for one in above if id(one) not in by_stream]
    groups: dict[str, list[Placed]] = {}
    for one in above:
        if id(one) in by_stream:
            groups.setdefault(by_stream[id(one)].group, []).append(by_stream[id(one)])
    patterns: list[tuple[_Pattern, int]] = []
    for members in groups.values():
        periods = [one.stream.period_us for one in members]
        if sum(lcm(*periods) // period for period in periods) > LONGEST_PATTERN:
            alone += [one.stream for one in members]
            continue
        late = max(one.stream.jitter_us for one in members) * bit_rate
        patterns.append((_Pattern(members, bit_rate), late))

    cost, period, jitter = own.bits * MICRO, own.period_us * bit_rate, own.jitter_us * bit_rate
    lower = max([one.bits for one in ordered[m + 1 :]] + [disturbance.blocking_bits]) * MICRO

    def errors(window: int) -> int:
        count = disturbance.errors
        if disturbance.error_interval_us:
            count += -(-window // (disturbance.error_interval_us * bit_rate)) - 1
        return max(count, 0) * longest * MICRO

    def interference(window: int) -> int:
        work = sum(
            -(-(window + one.jitter_us * bit_rate + MICRO) // (one.period_us * bit_rate))
            * one.bits
            * MICRO
            for one in alone
        )
        return work + sum(pattern.most(window + late + MICRO) for pattern, late in patterns)

    def fixed_point(ahead: int, own_share: bool, start: int) -> int:
        window = max(start, ahead, int(own_share))
        while True:
            longer = ahead + interference(window)
            longer += errors(window if own_share else window + cost)
            if own_share:
                longer += -(-(window + jitter) // period) * cost
            if longer <= window:
                return window
            window = longer

    busy = fixed_point(lower, True, 0)
    instances: list[Fraction] = []
    window = 0
    for q in range(-(-(busy + jitter) // period)):
        window = fixed_point(lower + q * cost, False, window)
        instances.append(Fraction(jitter + window - q * period + cost, bit_rate))
    return Response(own, max(instances), tuple(instances), None)
