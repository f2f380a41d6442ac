"""The guess which octets are a checksum, and what is folded in, from the fits of the search."""

from typing import Any

import numpy as np

from tools.logs.bits import Field, bit_planes, extract, words
from tools.logs.checksums import CATALOGUE
from tools.logs.inspection.checksum_fits import Fit, fits, residue
from tools.logs.inspection.checksum_meanings import (
    constant_of,
    family_name,
    is_explained,
    list_meaning,
    meanings,
    specs_of,
)
from tools.logs.inspection.findings import Guess, Material, What
from tools.logs.table import Array

GOOD = 0.995
ENOUGH_BITS = 8.0
FEWEST_PER_COUNT = 2


def checksum(material: Material, counters: list[Guess]) -> tuple[Guess | None, str]:
    """Return the checksum of a message, or None, and what is missing to find one."""
    _, first = np.unique(words(material.payload), return_index=True)
    rows = material.payload[np.sort(first)]
    if len(rows) < 4:
        return None, f"{len(rows)} different payloads; at least 4 are needed to look for a checksum"
    counter_bits = [
        (guess.place.mask(), guess.score * guess.place.length)
        for guess in counters
        if guess.place is not None
    ]
    found = _chosen(material, fits(rows, material.length), rows, counter_bits)
    if found is not None:
        return _guess(material, found, rows, None), ""
    for guess in counters:
        if guess.place is None or int(guess.facts["modulo"]) > 16:
            continue
        pairs, missing = _pairs(rows, guess.place)
        if missing:
            return None, (
                "no checksum with a constant data ID; for a list of data IDs each counter value "
                f"must come with {FEWEST_PER_COUNT} different payloads, {missing} of "
                f"{guess.facts['modulo']} do not yet"
            )
        every = fits(rows, material.length, pairs)
        found = _chosen(material, every, rows, counter_bits, guess.place)
        if found is not None:
            return _guess(material, found, rows, guess), ""
    return None, ""


def _pairs(rows: Array, counter: Field) -> tuple[Array, int]:
    """Return pairs of rows with the same counter, and how many counter values have none."""
    values = extract(counter, rows)
    made: list[tuple[int, int]] = []
    missing = 0
    groups = [np.flatnonzero(values == value) for value in np.unique(values)]
    for group in groups:
        if len(group) < FEWEST_PER_COUNT:
            missing += 1
    for depth in range(1, 26):
        made += [(int(group[0]), int(group[depth])) for group in groups if len(group) > depth]
    return np.array(made[:400], np.int64).reshape(-1, 2), missing


def _chosen(
    material: Material,
    found: list[Fit],
    rows: Array,
    counter_bits: list[tuple[int, float]],
    counter: Field | None = None,
) -> list[Fit] | None:
    """Return the fits that hold on all rows, the most credible first; None when there is none."""
    kept = []
    places = sorted({fit.place for fit in found})
    jumps, means = _restlessness(rows, places), _restlessness(rows, places, mean=True)
    copies = _copies(rows)
    for fit in found:
        constant, share = constant_of(fit, rows, counter)
        bits = fit.evidence_bits
        exact = counter is None and is_explained(material, fit, rows, constant)
        still = jumps[fit.place.start] == 0
        if exact:
            bits += fit.place.length
        elif still and not fit.is_crc:
            continue  # a bit of it never moves and the constant is nothing known: no checksum
        if share < GOOD or bits < ENOUGH_BITS or _is_copy(fit, rows, exact, copies):
            continue
        kept.append((fit, exact, bits))
    if not kept:
        return None

    def credit(each: tuple[Fit, bool, float]) -> tuple[float, ...]:
        fit, exact, bits = each
        octet = fit.place.start // 8
        known = not fit.is_crc or any(
            (c.poly, c.reflected) == (fit.poly, fit.reflected) for c in CATALOGUE
        )
        last = max(*fit.octets, octet) * 8 + 8
        end = fit.place.start + fit.place.length
        edge = 2 if end == last else 1 if fit.place.start == 0 else 0
        left = [worth for bits, worth in counter_bits if not fit.place.mask() & bits]
        return (
            round(max(left, default=0.0), 1),  # the best counter is left beside the checksum
            fit.place.length,
            round(jumps[fit.place.start] * 20) / 20,
            round(means[fit.place.start] * 20) / 20,
            known,
            exact,
            fit.whole,
            fit.moving,
            -fit.behind,
            "with carry" not in fit.family,
            edge,
            bits,
        )

    kept.sort(key=credit, reverse=True)
    best = kept[0][0]
    restless = means[best.place.start]
    return [best] + [
        fit
        for fit, exact, _ in kept[1:]
        if fit.place == best.place
        or (fit.family == best.family and means[fit.place.start] > 0.5 * restless and exact)
    ]


def _restlessness(rows: Array, places: list[Field], mean: bool = False) -> dict[int, float]:
    """Return by start bit how often a place's quietest bit changes, or its bits on average.

    A checksum has no quiet bit, unless hardly anything in its message moves.
    """
    planes = bit_planes(rows[:4000])
    rates = (np.diff(planes.astype(np.int8), axis=0) != 0).mean(axis=0)
    chosen = {place.start: rates[place.places()] for place in places}
    return {start: float(each.mean() if mean else each.min()) for start, each in chosen.items()}


def _copies(rows: Array) -> set[int]:
    """Return the octets that are another moving octet, or its complement, but for a constant."""
    whole = rows.astype(np.int16)
    moving = [octet for octet in range(8) if bool(np.any(rows[:, octet] != rows[0, octet]))]
    found = set()
    for one in moving:
        for other in moving:
            if one == other:
                continue
            combined = (
                rows[:, one] ^ rows[:, other],
                (whole[:, one] + whole[:, other]) & 255,
                (whole[:, one] - whole[:, other]) & 255,
            )
            if any(bool(np.all(each == each[0])) for each in combined):
                found.add(one)
    return found


def _is_copy(fit: Fit, rows: Array, exact: bool, copies: set[int]) -> bool:
    """Whether the fit may only say that one octet follows another one octet."""
    if fit.is_crc:
        doubts = (fit.start_octet in copies, fit.moving < 2)
        return all(doubts) if specs_of(fit) else any(doubts)
    if fit.moving >= 2:
        return fit.start_octet in copies
    still = [octet for octet in fit.octets if bool(np.all(rows[:, octet] == rows[0, octet]))]
    return not (exact and fit.whole and bool(np.any(rows[0, still])))


def _guess(material: Material, found: list[Fit], rows: Array, counter: Guess | None) -> Guess:
    fit = found[0]
    place = counter.place if counter is not None else None
    _, share = constant_of(fit, rows, place)
    left = residue(fit, material.payload)
    if place is None:
        values, counts = np.unique(left, return_counts=True)
        good = left == values[counts.argmax()]
        told = list(meanings(material, fit, rows))
    else:
        good, told = list_meaning(material, fit, rows, place)
    confirmed = int(np.count_nonzero(good))
    name, folding, facts = told[0]
    others = [f"{other}, {how}" for other, how, _ in told[1:4]]
    families = sorted({family_name(f) for f in found if f.place == fit.place} - {family_name(fit)})
    places = sorted({each.place.show() for each in found} - {fit.place.show()})
    text = f"checksum {name} over octets {_span(fit.octets)}, {folding}"
    evidence = (
        f"{confirmed} of {len(material.payload)} frames confirm it; {len(rows)} different payloads "
        f"could have refuted it ({fit.evidence_bits:.0f} bits beyond chance)"
    )
    if others:
        evidence += "; cannot be told apart from: " + "; ".join(others)
    if families:
        evidence += "; also explains these frames: " + ", ".join(families)
    if places:
        evidence += "; the same relation fits with the checksum at " + ", ".join(places)
    facts |= {
        "relation": _relation(fit, rows, place),
        "also_at": places,
        "also_octets": sorted({f.start_octet for f in found} - {fit.start_octet}),
        "family": name,
        "octets": list(fit.octets),
        "folded_behind": fit.behind,
        "confirming": confirmed,
        "could_refute": len(rows) - 1,
        "evidence_bits": round(fit.evidence_bits, 1),
        "other_families": [*(o for o, _, _ in told[1:]), *families],
    }
    score = share * min(1.0, fit.evidence_bits / 32) * (0.9 if families else 1.0)
    score *= 0.6 if places else 1.0
    return Guess(What.CHECKSUM, text, fit.place, score, evidence, facts)


def _relation(fit: Fit, rows: Array, counter: Field | None) -> dict[str, Any]:
    """Return the fit with its constants as plain data, for `explained` on other frames."""
    left = residue(fit, rows)
    values = np.zeros(len(rows), np.int64) if counter is None else extract(counter, rows)
    constants = {}
    for value in np.unique(values):
        kinds, counts = np.unique(left[values == value], return_counts=True)
        constants[int(value)] = int(kinds[counts.argmax()])
    return {
        "family": fit.family,
        "poly": fit.poly,
        "reflected": fit.reflected,
        "behind": fit.behind,
        "octets": list(fit.octets),
        "counter": None if counter is None else [counter.start, counter.length],
        "constants": constants,
    }


def explained(guess: Guess, payload: Array) -> Array:
    """Return which payloads carry the checksum a guess made on other frames says they should."""
    assert guess.place is not None
    told = guess.facts["relation"]
    octets = tuple(told["octets"])
    fit = Fit(
        guess.place, told["family"], octets, told["behind"], told["poly"], told["reflected"],
        True, 0.0, len(octets),
    )  # fmt: skip
    left = residue(fit, payload)
    values = np.zeros(len(payload), np.int64)
    if told["counter"] is not None:
        values = extract(Field(*told["counter"]), payload)
    wanted = np.full(int(values.max(initial=0)) + 1, -1, np.int64)
    for value, constant in told["constants"].items():
        if value < len(wanted):
            wanted[value] = constant
    return np.asarray(left == wanted[values])


def _span(octets: tuple[int, ...]) -> str:
    """Return octet numbers as ranges: 0-3,5-7."""
    parts: list[list[int]] = []
    for octet in octets:
        if parts and octet == parts[-1][-1] + 1:
            parts[-1].append(octet)
        else:
            parts.append([octet])
    return ",".join(f"{p[0]}-{p[-1]}" if len(p) > 1 else str(p[0]) for p in parts)
