"""How often a message comes, and whether it is sent cyclically, on change, or both."""

import numpy as np

from tools.logs.bits import words
from tools.logs.inspection.findings import Guess, Material, Timing, What
from tools.logs.table import Array

NEAR = 0.3
"""An interval within 30 % of the median counts as one period."""
FEWEST = 4


def measure(time_us: Array) -> Timing:
    """Return the facts about the intervals between frames."""
    first, last = int(time_us[0]), int(time_us[-1])
    steps = np.diff(time_us)
    if not len(steps):
        return Timing(1, first, last, 0, 0, 0, 0, 0, 0)
    median = float(np.median(steps))
    return Timing(
        len(time_us),
        first,
        last,
        round(median),
        round(float(np.median(np.abs(steps - median))) * 1.4826),
        int(steps.min()),
        int(steps.max()),
        int(np.count_nonzero(steps > 1.8 * median)),
        int(np.count_nonzero(steps < 0.25 * median)),
    )


def sending(material: Material, ignored_bits: int) -> Guess | None:
    """Return the guess how the message is sent; counter and checksum bits are no change.

    None when there are too few frames to say anything.
    """
    if len(material.time_us) < FEWEST:
        return None
    steps = np.diff(material.time_us)
    payload = words(material.payload) & np.uint64(~ignored_bits & (1 << 64) - 1)
    repeats = np.diff(payload) == 0
    median = float(np.median(steps))
    regular = float(np.mean(np.abs(steps - median) < NEAR * median))
    if regular >= 0.8:
        extra, changed = _between(steps, repeats, median)
        if extra >= 2 and changed >= 0.9:
            text = f"on change, and every {_milliseconds(_refined(steps, median))} ms"
            evidence = f"{extra} frames between the periods, {changed:.0%} of them with a change"
            facts = _facts("mixed", _refined(steps, median))
            return Guess(What.SENDING, text, None, min(1.0, 0.5 + extra / 40), evidence, facts)
        period = _refined(steps, median)
        share = f"{regular:.1%} of {len(steps)} intervals within 30 % of {median / 1000:.3f} ms"
        score = regular * min(1.0, len(steps) / 50)
        text = f"cyclic, every {_milliseconds(period)} ms"
        return Guess(What.SENDING, text, None, score, share, _facts("cyclic", period))
    return _events(steps, repeats)


def _between(steps: Array, repeats: Array, median: float) -> tuple[int, float]:
    """Return how many frames stand between two periods, and the share that brought a change."""
    pairs = (np.abs(steps[:-1] + steps[1:] - median) < 0.1 * median) & (steps[:-1] < 0.95 * median)
    extra = int(np.count_nonzero(pairs))
    changed = float(np.mean(~repeats[:-1][pairs])) if extra else 0.0
    return extra, changed


def _events(steps: Array, repeats: Array) -> Guess:
    """Tell a message sent on change only from one with a period beneath."""
    repeated = float(np.mean(repeats))
    quiet = steps[repeats]
    evidence = f"{repeated:.0%} of {len(steps)} frames repeat the payload before"
    if len(quiet) >= 3:
        period = float(np.median(quiet[quiet > 0.6 * quiet.max()]))
        near = float(np.mean(steps <= 1.1 * period))
        at_period = int(np.count_nonzero(np.abs(quiet - period) < 0.1 * period))
        if near > 0.97 and at_period >= 3:
            text = f"on change, and every {_milliseconds(period)} ms"
            evidence += f"; {near:.0%} of intervals are no longer than {period / 1000:.1f} ms"
            score = min(1.0, near * (0.5 + at_period / 40))
            return Guess(What.SENDING, text, None, score, evidence, _facts("mixed", period))
    score = max(0.0, 1.0 - 4 * repeated) * min(1.0, len(steps) / 20)
    return Guess(What.SENDING, "on change", None, score, evidence, _facts("on change", 0.0))


def nominal_us(period: float) -> int:
    """Return the round period a designer will have meant, when it is within 1.5 %."""
    for unit in (10_000, 5_000, 1_000, 500, 100):
        rounded = round(period / unit) * unit
        if rounded and abs(rounded - period) <= 0.015 * period:
            return rounded
    return round(period)


def _refined(steps: Array, median: float) -> float:
    near = steps[np.abs(steps - median) < NEAR * median]
    return float(np.mean(near)) if len(near) else median


def _facts(kind: str, period: float) -> dict[str, object]:
    return {"sending": kind, "period_us": nominal_us(period) if period else 0}


def _milliseconds(period: float) -> str:
    return f"{nominal_us(period) / 1000:g}"
