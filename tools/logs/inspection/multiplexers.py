"""Likely multiplexers: a selector whose value says what the other octets mean.

When the selector changes, a multiplexed octet jumps; against the last frame with the same selector
it hardly moves. For any other field it is the other way round, or both are the same.
"""

import numpy as np

from tools.logs.bits import Field
from tools.logs.inspection.findings import Guess, Material, What
from tools.logs.table import Array

MOST_PATHS = 24
MANY_PATHS = 8
MANY_DOUBT = 0.6
SURE_GAIN = 0.98
FEWEST_PER_PATH = 6
SAMPLE = 8000


def multiplexer(
    material: Material, checksum_octets: set[int], counters: list[Guess]
) -> Guess | None:
    """Return the strongest likely selector, or None; part of a counter is no selector."""
    whole = {g.place.start: g.place for g in counters if g.place is not None}
    payload = material.payload[:SAMPLE]
    if len(payload) < 3 * FEWEST_PER_PATH:
        return None
    found = []
    for octet in range(material.length):
        if octet not in checksum_octets:
            for place in _places(payload[:, octet], octet):
                if any(_inside(place, counter) for counter in whole.values()):
                    continue
                counts = any(place.mask() & counter.mask() for counter in whole.values())
                guess = _judge(payload, material.length, place, checksum_octets, counts)
                if guess is not None:
                    found.append(guess)
    # Whatever goes round with the selector looks like one too, and then the selector depends on it.
    kept = [guess for guess in found if not any(_stands_above(other, guess) for other in found)]
    return max(kept or found, key=lambda guess: guess.score, default=None)


def _inside(place: Field, counter: Field) -> bool:
    """Whether a place is only a part of a counter."""
    return place != counter and place.mask() & counter.mask() == place.mask()


def _stands_above(one: Guess, other: Guess) -> bool:
    """Whether one selector explains another, which has more paths."""
    assert one.place is not None
    inside = one.place.start // 8 in other.facts["octets"]
    return inside and len(one.facts["paths"]) < len(other.facts["paths"])


def _places(column: Array, octet: int) -> list[Field]:
    """Return the selectors an octet may hold: its active bits, and its lower and upper nibble."""
    active = int(np.bitwise_or.reduce(column ^ column[0]))
    if not active:
        return []
    found = []
    for low, high in ((0, 8), (0, 4), (4, 8), (0, 2), (0, 3)):
        part = (active >> low) & ((1 << (high - low)) - 1)
        if part:
            place = Field(8 * octet + low, part.bit_length())
            if place not in found:
                found.append(place)
    return found


def _sequence(selector: Array) -> float:
    """Return how well a selector value tells the next one: selectors go round in a fixed order."""
    pairs = selector[:-1].astype(np.int64) * 256 + selector[1:]
    table = np.bincount(pairs, minlength=1 << 16).reshape(256, 256)
    return float(table.max(axis=1).sum() / len(pairs))


def _judge(
    payload: Array, length: int, place: Field, left_out: set[int], counts: bool
) -> Guess | None:
    octet, shift = divmod(place.start, 8)
    mask = (1 << place.length) - 1
    selector = (payload[:, octet] >> np.uint8(shift)) & np.uint8(mask)
    paths, frames = np.unique(selector, return_counts=True)
    if not 2 <= len(paths) <= MOST_PATHS or int(frames.min()) < FEWEST_PER_PATH:
        return None
    moved = selector[1:] != selector[:-1]
    if float(np.mean(moved)) < 0.2:
        return None
    order = np.argsort(selector, kind="stable")
    same = selector[order][1:] == selector[order][:-1]
    rest = payload.astype(np.int16)
    rest[:, octet] &= ~(mask << shift)
    next_to = np.abs(np.diff(rest, axis=0))[moved].mean(axis=0)
    of_path = np.abs(np.diff(rest[order], axis=0))[same].mean(axis=0)
    gains = np.zeros(8)
    for other in range(length):
        if other != octet and other not in left_out and next_to[other] > 1.0:
            if counts and of_path[other] == 0:
                continue  # what a counter fixes is a counter, a selector or a checksum itself
            gains[other] = 1 - of_path[other] / next_to[other]
    octets = np.flatnonzero(gains > 0.5)
    if float(gains.max()) < 0.7 or _sequence(selector) < 0.8:
        return None
    gain = float(gains.max())
    if len(paths) >= MANY_PATHS and gain < SURE_GAIN:
        return None  # rather a counter, and something that hangs on it, or a number
    told = ", ".join(str(path) for path in paths.tolist())
    text = f"selector with the paths {told}; octets {', '.join(map(str, octets))} depend on it"
    evidence = (
        f"octet {int(gains.argmax())} moves by {next_to[gains.argmax()]:.1f} when the selector "
        f"changes, by {of_path[gains.argmax()]:.1f} within a path; {len(payload)} frames"
    )
    facts = {"paths": paths.tolist(), "octets": octets.tolist(), "gain": round(gain, 3)}
    if len(paths) >= MANY_PATHS:
        gain *= MANY_DOUBT  # may be what goes with a counter: a list of data IDs, or a checksum
    return Guess(What.MULTIPLEXER, text, place, gain, evidence, facts)
