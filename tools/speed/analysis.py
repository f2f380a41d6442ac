"""How long the worst-case analysis of a full bus takes."""

import time
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from random import Random

from tools.speed.rows import Floor, Measured, Row, median
from tools.timing.frame_bits import longest_bits
from tools.timing.response import UNKNOWN_FRAME, Stream, analyse, load

MESSAGES = 150
LOAD = Fraction(95, 100)
BIT_RATE = 500_000
PERIODS_US = (10_000, 20_000, 50_000, 100_000, 200_000, 500_000, 1_000_000)
SEED = 6
FLOOR = Floor(10.0, True, "<= 10 ms")


def full_bus() -> list[Stream]:
    """Return an invented set of messages whose load is just below 95 %."""
    chance = Random(SEED)
    streams = [
        Stream(
            f"M{number}",
            False,
            0x100 + number,
            longest_bits(chance.randint(4, 8), False),
            period := chance.choice(PERIODS_US),
            chance.choice((0, 200, 1_000)),
            period,
            "others",
        )
        for number in range(MESSAGES)
    ]
    # All periods are stretched alike, up to the next microsecond, until the load is as wanted.
    stretch = load(streams, BIT_RATE) / LOAD
    return [replace(one, period_us=-(-one.period_us * stretch // 1)) for one in streams]


def measure(measured: Measured, repeats: int, said: Callable[[str], None]) -> None:
    """Add the row of the exact analysis."""
    said("worst-case analysis of a full bus")
    streams = full_bus()
    samples = []
    for _ in range(max(repeats, 5)):
        begin = time.process_time()
        analyse(streams, BIT_RATE, UNKNOWN_FRAME)
        samples.append(1000 * (time.process_time() - begin))
    what = f"bus analysis: {MESSAGES} messages, 95 % load"
    measured.rows.append(
        Row("bus_analysis", what, median(samples), "ms", len(samples), floor=FLOOR)
    )
    measured.compared.append(
        "bus analysis: processor time of the exact response times of 150 invented messages at "
        f"{float(100 * load(streams, BIT_RATE)):.2f} % load and {BIT_RATE} bit/s."
    )
