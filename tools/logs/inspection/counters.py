"""Rolling counters: fields inside an octet that go on by one step with every frame."""

import numpy as np

from tools.logs.bits import Field, extract
from tools.logs.inspection.findings import Guess, Material, What
from tools.logs.table import Array

FEWEST = 8
FEWEST_WITHOUT_WRAP = 14
BACKWARD = 0.6
SAMPLE = 6000
GOOD = 0.97
STEADY = 0.995
FEWEST_VALUES = 4
SHARE_OF_ONE_SUM = 0.6  # switches beside the counter move the sum a few times
UNSTEADY = 0.6


def counters(material: Material) -> list[Guess]:
    """Return the counters of a message, the strongest first; at most one an octet and place."""
    if len(material.time_us) < FEWEST:
        return []
    found = []
    whole = material.payload
    sample = whole[: min(len(whole), SAMPLE)]
    times = material.time_us[: len(sample)]
    periods = _periods(times)
    for octet in range(material.length):
        column = sample[:, octet]
        if bool(np.all(column == column[0])):
            continue
        shift = 0
        while shift < 7:
            if float(np.mean((column[1:] ^ column[:-1]) >> np.uint8(shift) & 1)) < 0.6:
                shift += 1  # the lowest bit of a counter moves with every odd step
                continue
            width = _widest(column, shift, periods)
            if width:
                guess = _judge(material, Field(8 * octet + shift, width))
                if guess is not None:
                    found.append(guess)
                    shift += width
                    continue
            shift += 1
    for guess in found:
        if guess.facts["step"] != 1:
            guess.score *= BACKWARD  # what follows a counter, as an inverted sum does, steps so
        if guess.facts["modulo"] < FEWEST_VALUES or guess.facts["good_steps"] < STEADY:
            guess.score *= UNSTEADY  # a selector, or a number that rises for a long time
    found = [guess for guess in found if not any(_mirrors(material, guess, one) for one in found)]
    found.sort(key=lambda guess: -guess.score)
    for number, guess in enumerate(found):
        if any(_lockstep(material, guess, other) for other in found[:number]):
            guess.score *= 0.5
            guess.evidence += "; goes in step with another counter, so one may be a copy"
    return found


def _mirrors(material: Material, one: Guess, other: Guess) -> bool:
    """Whether one only takes away what a forward counter adds: an inverted sum over that."""
    if one.facts["step"] == 1 or other.facts["step"] != 1:
        return False
    assert one.place is not None
    assert other.place is not None
    modulo = int(one.facts["modulo"])
    if modulo != other.facts["modulo"]:
        return False
    sums = (extract(one.place, material.payload) + extract(other.place, material.payload)) % modulo
    return float(np.bincount(sums).max() / len(sums)) >= SHARE_OF_ONE_SUM


def _lockstep(material: Material, one: Guess, other: Guess) -> bool:
    """Whether two counters of one modulo never change their distance."""
    assert one.place is not None
    assert other.place is not None
    modulo = int(one.facts["modulo"])
    if modulo != other.facts["modulo"]:
        return False
    distance = (
        extract(one.place, material.payload) - extract(other.place, material.payload)
    ) % modulo
    return bool(np.all(distance == distance[0]))


def _periods(times: Array) -> Array:
    """Return for each interval how many periods it spans, at least 1: lost frames count on."""
    steps = np.diff(times)
    median = max(float(np.median(steps)), 1.0)
    return np.asarray(np.maximum(1, np.round(steps / median)), np.int64)


def _widest(column: Array, shift: int, periods: Array) -> int:
    """Return the width of the widest counter that begins at a bit, 0 when there is none."""
    best = 0
    for width in range(2, 9 - shift):
        values = ((column >> np.uint8(shift)) & np.uint8((1 << width) - 1)).astype(np.int64)
        if width > 2 and len(np.unique(values >> (width - 1))) == 1:
            break  # the bit above never moves
        low, modulo, step, good, wraps = _steps(values, periods)
        if good >= GOOD and step and modulo >= 3 and (low <= 1 or wraps == 0):
            best = width
        elif width > 2 and good < 0.5 and best:
            break
    return best


def _steps(values: Array, periods: Array) -> tuple[int, int, int, float, int]:
    """Return lowest value, modulo, step, the share of good steps, and how often it wrapped."""
    counts = np.bincount(values)
    seen = np.flatnonzero(counts > len(values) // 2000)
    low, high = int(seen[0]), int(seen[-1])
    modulo = high - low + 1
    if modulo < 3:
        return low, modulo, 0, 0.0, 0
    differences = np.diff(values) % modulo
    step = int(np.argmax(np.bincount(differences, minlength=modulo)))
    good = (differences == step) | (differences == (step * periods) % modulo)
    wraps = int(np.count_nonzero(np.diff(values) < 0))
    return low, modulo, step, float(np.mean(good)), wraps


def _judge(material: Material, place: Field) -> Guess | None:
    """Return the guess for a place, judged on every frame."""
    octet, shift = divmod(place.start, 8)
    mask = np.uint8((1 << place.length) - 1)
    values = ((material.payload[:, octet] >> np.uint8(shift)) & mask).astype(np.int64)
    periods = _periods(material.time_us)
    low, modulo, step, good, wraps = _steps(values, periods)
    if good < GOOD or not step:
        return None
    full = 1 << place.length
    open_end = wraps == 0
    if open_end:
        if len(values) < FEWEST_WITHOUT_WRAP or good < 1.0:
            return None
        low, modulo = 0, full
    steps = np.diff(values) % modulo
    resets = int(np.count_nonzero((steps != step) & (steps != (step * periods) % modulo)))
    text = f"counter {low}..{low + modulo - 1}, step {step}"
    if open_end:
        text += " (its end was not seen)"
    evidence = (
        f"{good:.2%} of {len(values) - 1} steps are {step} (lost frames counted on), "
        f"{wraps} wraps, {resets} steps that are not"
    )
    # Three steps in a row of a field of m values happen by chance once in m**3.
    enough = min(1.0, (len(values) - 1) / 12) * (1.0 if wraps >= 2 else 0.6)
    facts = {
        "low": low,
        "modulo": modulo,
        "step": step,
        "good_steps": round(good, 5),
        "steps": len(values) - 1,
        "wraps": wraps,
        "end_seen": not open_end,
        "resets": resets,
    }
    return Guess(What.COUNTER, text, place, good * enough, evidence, facts)
