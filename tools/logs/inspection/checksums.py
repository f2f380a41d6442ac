"""The guess which octets are a checksum, and what is folded in, from the fits of the search."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from tools.logs.bits import Field, bit_planes, extract, words
from tools.logs.checksums import CATALOGUE, Crc, plain_function
from tools.logs.inspection.checksum_fits import Fit, fits, residue
from tools.logs.inspection.findings import Guess, Material, What
from tools.logs.table import Array

_Fold = tuple[str, bytes, bytes, dict[str, Any]]
"""Words, octets before the payload, octets behind it, facts."""

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
        constant, share = _constant(fit, rows, counter)
        bits = fit.evidence_bits
        exact = counter is None and _explained(material, fit, rows, constant)
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


def _constant(fit: Fit, rows: Array, counter: Field | None) -> tuple[int, float]:
    """Return the constant a fit leaves, and the share of rows that have it."""
    left = residue(fit, rows)
    if counter is None:
        values, counts = np.unique(left, return_counts=True)
        return int(values[counts.argmax()]), float(counts.max() / len(left))
    good = 0
    values = extract(counter, rows)
    for value in np.unique(values):
        _, counts = np.unique(left[values == value], return_counts=True)
        good += int(counts.max())
    return 0, good / len(left)


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
        known = bool(_specs(fit))
        return (fit.start_octet in copies or not known) and (fit.moving < 2 or not known)
    if fit.moving >= 2:
        return fit.start_octet in copies
    still = [octet for octet in fit.octets if bool(np.all(rows[:, octet] == rows[0, octet]))]
    return not (exact and fit.whole and bool(np.any(rows[0, still])))


def _explained(material: Material, fit: Fit, rows: Array, constant: int) -> bool:
    """Whether the constant is what nothing but the identifier folded in leaves."""
    if not fit.is_crc:
        return str(_simple_meaning(material, fit, constant)[2]["fold"]) != "constant"
    if fit.behind:
        return False
    row = rows[_typical(fit, rows)]
    own = int(extract(fit.place, row[None, :])[0])
    covered = row[list(fit.octets)].tobytes()
    return any(plain_function(spec)(covered) == own for spec in _specs(fit))


def _specs(fit: Fit) -> list[Crc]:
    width = 16 if fit.family == "crc16" else 8
    return [
        c for c in CATALOGUE if (c.width, c.poly, c.reflected) == (width, fit.poly, fit.reflected)
    ]


# What the constant means ----------------------------------------------------------------------


def _guess(material: Material, found: list[Fit], rows: Array, counter: Guess | None) -> Guess:
    fit = found[0]
    place = counter.place if counter is not None else None
    _, share = _constant(fit, rows, place)
    left = residue(fit, material.payload)
    if place is None:
        values, counts = np.unique(left, return_counts=True)
        good = left == values[counts.argmax()]
        meanings = list(_meanings(material, fit, rows))
    else:
        good, meanings = _list_meaning(material, fit, rows, place)
    confirmed = int(np.count_nonzero(good))
    name, folding, facts = meanings[0]
    others = [f"{other}, {how}" for other, how, _ in meanings[1:4]]
    families = sorted(
        {_family_name(f) for f in found if f.place == fit.place} - {_family_name(fit)}
    )
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
        "other_families": [*(o for o, _, _ in meanings[1:]), *families],
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


def _family_name(fit: Fit) -> str:
    specs = _specs(fit) if fit.is_crc else []
    if specs:
        return specs[0].name
    return f"{fit.family} 0x{fit.poly:02X}" if fit.is_crc else fit.family


def _meanings(
    material: Material, fit: Fit, rows: Array
) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Yield what may be folded in, the simplest first: name, words, facts."""
    row = rows[_typical(fit, rows)]
    own = int(extract(fit.place, row[None, :])[0])
    octets = row[list(fit.octets)].tobytes()
    if not fit.is_crc:
        yield _simple_meaning(material, fit, _constant(fit, rows, None)[0])
        return
    told = False
    for folds in _folds(material, fit.behind):
        for spec in _specs(fit):
            for words_of, before, after, facts in folds:
                if plain_function(spec)(before + octets + after) == own:
                    told = True
                    yield spec.name, words_of, dict(facts)
    if not told:
        left = int(residue(fit, row[None, :])[0])
        yield (
            f"{fit.family} polynomial 0x{fit.poly:02X}{' reflected' if fit.reflected else ''}",
            f"start and final values or folded data leave the constant 0x{left:02X}",
            {"fold": "unknown", "constant": left},
        )


def _folds(material: Material, behind: int) -> list[list[_Fold]]:
    """Return what can stand before or behind the payload, in groups, the simplest first."""
    identifier = material.key.identifier
    octets = 4 if material.key.extended else 2
    big, little = identifier.to_bytes(octets, "big"), identifier.to_bytes(octets, "little")
    singles = [(value, bytes((value,))) for value in range(256)]
    if behind == 0:
        puts = dict.fromkeys((big, little, little[:2], little[1::-1]))
        return [
            [("nothing folded in", b"", b"", {"fold": "none"})],
            [
                ("identifier before", put, b"", _identifier_facts("before", put, little))
                for put in puts
            ],
            [
                (
                    f"data ID 0x{value:02X} before (if it has one octet)",
                    put,
                    b"",
                    {"fold": "data_id before", "data_id": value},
                )
                for value, put in singles
            ],
        ]
    if behind == 1:
        return [
            [
                (
                    f"data ID 0x{value:02X} behind",
                    b"",
                    put,
                    {"fold": "data_id after", "data_id": value},
                )
                for value, put in singles
            ]
        ]
    return [
        [
            ("identifier behind", b"", put, _identifier_facts("after", put, little))
            for put in (big[-2:], little[:2])
        ]
    ]


def _identifier_facts(place: str, put: bytes, little: bytes) -> dict[str, Any]:
    """Return how an identifier is folded in: how many octets, which first."""
    low_first = little.startswith(put) and put != put[::-1]
    whole = len(put) == len(little) or not any(little[len(put) :])
    return {
        "fold": f"identifier {place}",
        "octets_folded": len(put),
        "low_first": low_first,
        "whole": whole,
        "value": int.from_bytes(put, "little" if low_first else "big"),
    }


def _simple_meaning(material: Material, fit: Fit, constant: int) -> tuple[str, str, dict[str, Any]]:
    plain = 255 if fit.family == "sum8 inverted" else 0
    identifier = material.key.identifier
    parts = identifier.to_bytes(4, "big")
    folded = (
        sum(parts) if fit.family.startswith("sum") else parts[0] ^ parts[1] ^ parts[2] ^ parts[3]
    )
    sign = -1 if "inverted" in fit.family else 1
    modulo = 255 if "carry" in fit.family else 16 if "4" in fit.family else 256
    if constant == plain:
        return fit.family, "nothing folded in", {"fold": "none"}
    if "4" not in fit.family:
        if constant == (plain + sign * folded) % modulo:
            return (
                fit.family,
                "identifier folded in",
                {
                    "fold": "identifier before",
                    "octets_folded": 4 if material.key.extended else 2,
                },
            )
        if constant == (plain + sign * (folded + material.length)) % modulo and sign == 1:
            return fit.family, "identifier and length folded in", {"fold": "identifier, length"}
    shown = f"with the constant 0x{constant:02X}"
    return fit.family, shown, {"fold": "constant", "constant": constant}


def _list_meaning(
    material: Material, fit: Fit, rows: Array, counter: Field
) -> tuple[Array, list[tuple[str, str, dict[str, Any]]]]:
    """Return which frames agree and what the data IDs are, one a counter value."""
    left = residue(fit, material.payload)
    values = extract(counter, material.payload)
    good = np.zeros(len(left), np.bool_)
    typical: dict[int, int] = {}
    for value in np.unique(values):
        mine = np.flatnonzero(values == value)
        kinds, counts = np.unique(left[mine], return_counts=True)
        agree = mine[left[mine] == kinds[counts.argmax()]]
        good[agree] = True
        typical[int(value)] = int(agree[0])
    meanings = []
    for spec in _specs(fit) if fit.behind <= 1 else []:
        function = plain_function(spec)
        listed = []
        for row in typical.values():
            octets = material.payload[row, list(fit.octets)].tobytes()
            own = int(extract(fit.place, material.payload[row : row + 1])[0])
            for value in range(256):
                put = bytes((value,))
                if function(octets + put if fit.behind else put + octets) == own:
                    listed.append(value)
                    break
        if len(listed) == len(typical):
            shown = " ".join(f"{value:02X}" for value in listed)
            place = "behind" if fit.behind else "before"
            facts = {
                "fold": f"data_id list {'after' if fit.behind else 'before'}",
                "data_ids": listed,
                "counters": sorted(typical),
            }
            meanings.append((spec.name, f"data IDs by counter {place}: {shown}", facts))
    if not meanings:
        name = _family_name(fit)
        meanings.append((name, "a constant by counter value", {"fold": "list unknown"}))
    return good, meanings


def _typical(fit: Fit, rows: Array) -> int:
    """Return a row that has the constant of most rows."""
    left = residue(fit, rows)
    values, counts = np.unique(left, return_counts=True)
    return int(np.flatnonzero(left == values[counts.argmax()])[0])


def _span(octets: tuple[int, ...]) -> str:
    """Return octet numbers as ranges: 0-3,5-7."""
    parts: list[list[int]] = []
    for octet in octets:
        if parts and octet == parts[-1][-1] + 1:
            parts[-1].append(octet)
        else:
            parts.append([octet])
    return ",".join(f"{p[0]}-{p[-1]}" if len(p) > 1 else str(p[0]) for p in parts)
