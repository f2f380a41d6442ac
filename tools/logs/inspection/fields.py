"""Value-like fields: where numbers begin and end, their byte order and sign.

In a number the lower a bit, the more often it changes. Within an octet a field therefore ends where
the next lower bit changes clearly less often than the one above, or keeps still when the one above
changes: switches side by side do, bits of a number do not. Across octets, what belongs
together carries: when the low part runs over its end, the high part moves by one. Whether that
happens more often than for unrelated octets decides what is joined, and in which byte order.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tools.logs.bits import Field, bit_planes, extract
from tools.logs.inspection.findings import Guess, Material, What
from tools.logs.table import Array

SAMPLE = 20_000
DROP = 0.6
"""A bit that changes less than this share of the bit above it begins another field."""
HIGHEST_TOP = 0.3
"""The top bit of a field changes in at most this share of the frames."""
ALONE = 0.33
"""A bit that changes with clearly less than this share of the changes above is another field's."""
FEWEST_CHANGES = 4
NOISE = 0.35
FEW_BY_CHANCE = 0.002
MOST_RISE = 8.0
"""Over noise, the lowest bit of the high part changes at least one eighth as often."""
JOINED = 4.0
"""Standard deviations above chance from which a carry is believed."""


@dataclass(slots=True)
class _Piece:
    """A run of bits inside one octet: highest and lowest bit number within the payload."""

    octet: int
    high: int
    low: int
    clarity: float

    @property
    def width(self) -> int:
        return self.high - self.low + 1

    @property
    def field(self) -> Field:
        return Field(8 * self.octet + self.low, self.width)


@dataclass(slots=True)
class _Join:
    """Two pieces that may be one number: indices of the high and the low piece.

    `motorola` is None inside an octet, where both byte orders are the same.
    """

    high: int
    low: int
    motorola: bool | None
    strength: float


def fields(material: Material, taken_bits: int, path: int | None = None) -> list[Guess]:
    """Return the fields of the bits that are no counter, checksum or selector."""
    payload = material.payload[:SAMPLE]
    if len(payload) < 8:
        return []
    planes = bit_planes(payload)
    changes = (planes[1:] != planes[:-1]).astype(np.float32)
    together = changes.T @ changes
    flips = changes.mean(axis=0).astype(np.float64)
    for bit in range(64):
        if taken_bits >> bit & 1 or bit // 8 >= material.length:
            flips[bit] = 0.0
    pieces = _pieces(flips, together, len(payload))
    joins = _joins(pieces, payload)
    made = []
    for chain, motorola, strength in _chains(pieces, joins):
        made.append(_guess(payload, flips, [pieces[i] for i in chain], motorola, strength, path))
    return made


def _pieces(flips: Array, together: Array, frames: int) -> list[_Piece]:
    """Return the runs of active bits inside octets, cut where one number ends.

    `together` counts, for every two bits, the frames in which both changed.
    """
    found: list[_Piece] = []
    for octet in range(8):
        run: list[int] = []
        clarity = 1.0
        for bit in (*range(7, -1, -1), -1):
            rate = float(flips[8 * octet + bit]) if bit >= 0 else 0.0
            cut = False
            if run and rate > 0:
                above = float(flips[8 * octet + run[-1]])
                # Rates of few changes scatter by their square root; allow for twice that.
                spread = 2 * np.sqrt(max(above, 1 / frames) / frames)
                cut = rate < DROP * above - spread and rate < HIGHEST_TOP
                clarity = min(clarity, abs(rate / above - DROP) / 0.3)
                changed = float(together[8 * octet + run[-1], 8 * octet + run[-1]])
                both = float(together[8 * octet + run[-1], 8 * octet + bit])
                alone = both + np.sqrt(both + 1) < ALONE * changed
                cut = cut or (changed >= FEWEST_CHANGES and bool(alone))
            if run and (rate == 0 or cut):
                found.append(_Piece(octet, run[0], run[-1], min(1.0, clarity)))
                run, clarity = [], 1.0
            if rate > 0:
                run.append(bit)
    return found


def _joins(pieces: list[_Piece], payload: Array) -> list[_Join]:
    """Return the joins of neighbouring pieces that carries speak for, the strongest first."""
    found = []
    for i, one in enumerate(pieces):
        for j, other in enumerate(pieces):
            if other.octet == one.octet and other.high == one.low - 1:
                # A steady ramp can leave low bits quieter than those above: carries tell.
                found.append(_Join(i, j, None, _carry(one, other, payload, noise=False)))
            if other.octet != one.octet + 1:
                continue
            if one.low == 0 and other.high == 7:  # the first octet is the high one
                found.append(_Join(i, j, True, _carry(one, other, payload)))
            if one.high == 7 and other.low == 0:  # the second octet is the high one
                found.append(_Join(j, i, False, _carry(other, one, payload)))
    return sorted((join for join in found if join.strength > 0), key=lambda join: -join.strength)


def _carry(high: _Piece, low: _Piece, payload: Array, noise: bool = True) -> float:
    """Return how far beyond chance steps of the high part go with overruns of the low part.

    Looked at are steps from frame to frame, for slow numbers, and changes of the step, for those
    that move by more than the low part holds.
    """
    modulo = 1 << low.width
    up, down = np.diff(extract(high.field, payload)), np.diff(extract(low.field, payload))
    top = 1 << high.width  # the high part of a signed number overruns itself: count on its circle
    up = (up + top // 2) % top - top // 2
    strength = max(
        _beyond_chance(up, down, modulo), _beyond_chance(np.diff(up), np.diff(down), modulo)
    )
    if strength >= JOINED:
        return strength
    return _noise_below(high, low, payload) if noise else 0.0


def _beyond_chance(up: Array, down: Array, modulo: int) -> float:
    """Return the standard deviations by which steps of one and overruns of the other coincide."""
    stepped = np.abs(up) == 1
    count = int(np.count_nonzero(stepped))
    if not count:
        return 0.0
    half = modulo // 2
    good = int(np.count_nonzero(np.abs(up[stepped] * modulo + down[stepped]) < half))
    chance = 0.5 * (float(np.mean(down < -half)) + float(np.mean(down > half)))
    chance = min(max(chance, 0.5 / len(down)), 0.9)
    if count < 3:
        return JOINED + 1 if good == count and chance**count < FEW_BY_CHANCE else 0.0
    spread = max(float(np.sqrt(count * chance * (1 - chance))), 0.3)
    return (good - count * chance) / spread if good >= 0.4 * count else 0.0


def _noise_below(high: _Piece, low: _Piece, payload: Array) -> float:
    """Return a weak strength when the low part looks like the noise below a number.

    Noise does not stand alone: where all bits of a whole low part change at random whenever the
    number moves, and the rate goes on rising from the high part, they are one number that moves
    fast.
    """
    planes = bit_planes(payload)
    changes = planes[1:] != planes[:-1]
    mine = [8 * low.octet + bit for bit in range(low.low, low.high + 1)]
    top = [8 * high.octet + bit for bit in range(high.low, high.high + 1)]
    active = changes[:, mine + top].any(axis=1)
    if high.width < 2 or not bool(active.any()):
        return 0.0
    rates = changes[active][:, mine].mean(axis=0)
    last, first = float(changes[active][:, top[0]].mean()), float(rates[-1])
    if float(rates.min()) > NOISE and 0.85 * last < first < MOST_RISE * last:
        return 1.0 + min(1.0, max(0.0, first - last))
    return 0.0


def _chains(pieces: list[_Piece], joins: list[_Join]) -> list[tuple[list[int], bool, float]]:
    """Return numbers as lists of pieces from high to low, each with its order and weakest join."""
    below: dict[int, _Join] = {}
    above: dict[int, _Join] = {}
    strong = [join for join in joins if join.strength >= JOINED]
    votes = sum(1 if join.motorola else -1 for join in strong if join.motorola is not None)
    weak = [join for join in joins if join.strength < JOINED]
    weak.sort(key=lambda join: (votes > 0) == join.motorola if votes else False, reverse=True)
    for join in (*strong, *weak):
        orders = {join.motorola, *_orders(join.low, below), *_orders(join.high, above)}
        if join.high in below or join.low in above or {True, False} <= orders:
            continue
        below[join.high] = join
        above[join.low] = join
    made = []
    for start in range(len(pieces)):
        if start in above:
            continue
        chain, strength, motorola = [start], 1e9, False
        while chain[-1] in below:
            join = below[chain[-1]]
            chain.append(join.low)
            strength = min(strength, join.strength)
            motorola = motorola or bool(join.motorola)
        made.append((chain, motorola, strength))
    return made


def _orders(piece: int, links: dict[int, _Join]) -> set[bool | None]:
    """Return the byte orders of the joins that follow from a piece on."""
    found: set[bool | None] = set()
    while piece in links:
        join = links[piece]
        found.add(join.motorola)
        piece = join.low if join.high == piece else join.high
    return found


def _guess(
    payload: Array,
    flips: Array,
    parts: list[_Piece],
    motorola: bool,
    strength: float,
    path: int | None,
) -> Guess:
    length = sum(part.width for part in parts)
    top, bottom = parts[0], parts[-1]
    start = 8 * top.octet + top.high if motorola else 8 * bottom.octet + bottom.low
    place = Field(start, length, motorola)
    raw = extract(place, payload)
    signed, sign_evidence = _sign(raw, length)
    place = Field(start, length, motorola, signed)
    raw = extract(place, payload)
    clarity = min(part.clarity for part in parts)
    rates = [float(flips[bit]) for bit in reversed(place.places())]
    busy = max(rates)
    evidence = f"bits change {rates[0]:.2%} of the frames at the top, {rates[-1]:.2%} at the bottom"
    if len(parts) > 1:
        order = "Motorola" if motorola else "Intel"
        kind = "carries" if strength >= JOINED else "noise below"
        evidence += f"; joined as {order} by {kind} ({min(strength, 99):.1f} deviations)"
    evidence += sign_evidence
    facts = {
        "signed": signed,
        "lowest": int(raw.min()),
        "highest": int(raw.max()),
        "different_values": len(np.unique(raw)),
        "at_random": rates[0] > HIGHEST_TOP,
        "moving_bits": sum(1 << bit for bit in range(64) if flips[bit] > 0),
    }
    few = facts["different_values"] <= 1 << min(length, 3)
    if length == 1 or (length <= 3 and few and busy < 0.35):
        changes = int(np.count_nonzero(np.diff(raw)))
        text = "switch" if length == 1 else f"state of {facts['different_values']} values"
        evidence = f"{changes} changes in {len(raw)} frames"
        return Guess(What.STATE, text, place, min(1.0, changes / 20), evidence, facts, path)
    score = _score(length, len(parts), strength, clarity, rates, len(raw))
    text = f"value of {length} bits, {facts['lowest']}..{facts['highest']}"
    return Guess(What.VALUE, text, place, score, evidence, facts, path)


def _score(
    length: int, parts: int, strength: float, clarity: float, rates: list[float], frames: int
) -> float:
    """Return a number that grows with everything that makes the ends of a field clear."""
    rising = sum(1 for high, low in pairwise(rates) if low >= 0.95 * high)
    smooth = (rising + 1) / length
    joined = 1.0 if parts == 1 else min(1.0, max(strength, 0.0) / 12)
    smallest = min(1.0, frames / 500) * min(1.0, length / 8)
    return 0.35 * smooth + 0.3 * joined + 0.15 * clarity + 0.2 * smallest


def _sign(raw: Array, length: int) -> tuple[bool, str]:
    """Return whether a number is signed: it then jumps over half its range at zero."""
    if length < 2:
        return False, ""
    half = 1 << (length - 1)
    crossings = np.diff((raw >= half).astype(np.int8)) != 0
    count = int(np.count_nonzero(crossings))
    if not count:
        return False, "; the top bit shows no sign"
    steps = np.diff(raw)[crossings]
    folded = (steps + half) % (2 * half) - half
    nearer = int(np.count_nonzero(np.abs(folded) < np.abs(steps)))
    signed = nearer > 0.5 * count
    if signed:
        return True, f"; {nearer} of {count} crossings of the middle are small steps when signed"
    return False, f"; {count - nearer} of {count} crossings of the middle are small steps unsigned"
