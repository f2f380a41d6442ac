"""What the constant that a checksum leaves means: nothing, identifier, data ID or a list."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from tools.logs.bits import Field, extract
from tools.logs.checksums import CATALOGUE, Crc, plain_function
from tools.logs.inspection.checksum_fits import Fit, residue
from tools.logs.inspection.findings import Material
from tools.logs.table import Array

_Fold = tuple[str, bytes, bytes, dict[str, Any]]
"""Words, octets before the payload, octets behind it, facts."""


def constant_of(fit: Fit, rows: Array, counter: Field | None) -> tuple[int, float]:
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


def is_explained(material: Material, fit: Fit, rows: Array, constant: int) -> bool:
    """Whether the constant is what nothing but the identifier folded in leaves."""
    if not fit.is_crc:
        return str(_simple_meaning(material, fit, constant)[2]["fold"]) != "constant"
    if fit.behind:
        return False
    row = rows[typical_row(fit, rows)]
    own = int(extract(fit.place, row[None, :])[0])
    covered = row[list(fit.octets)].tobytes()
    return any(plain_function(spec)(covered) == own for spec in specs_of(fit))


def specs_of(fit: Fit) -> list[Crc]:
    """Return the CRCs of the catalogue with the polynomial and bit order of a fit."""
    width = 16 if fit.family == "crc16" else 8
    return [
        c for c in CATALOGUE if (c.width, c.poly, c.reflected) == (width, fit.poly, fit.reflected)
    ]


def family_name(fit: Fit) -> str:
    """Return the catalogue name of a fit's family, or its polynomial."""
    specs = specs_of(fit) if fit.is_crc else []
    if specs:
        return specs[0].name
    return f"{fit.family} 0x{fit.poly:02X}" if fit.is_crc else fit.family


def meanings(
    material: Material, fit: Fit, rows: Array
) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Yield what may be folded in, the simplest first: name, words, facts."""
    row = rows[typical_row(fit, rows)]
    own = int(extract(fit.place, row[None, :])[0])
    octets = row[list(fit.octets)].tobytes()
    if not fit.is_crc:
        yield _simple_meaning(material, fit, constant_of(fit, rows, None)[0])
        return
    told = False
    for folds in _folds(material, fit.behind):
        for spec in specs_of(fit):
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


def list_meaning(
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
    for spec in specs_of(fit) if fit.behind <= 1 else []:
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
        name = family_name(fit)
        meanings.append((name, "a constant by counter value", {"fold": "list unknown"}))
    return good, meanings


def typical_row(fit: Fit, rows: Array) -> int:
    """Return a row that has the constant of most rows."""
    left = residue(fit, rows)
    values, counts = np.unique(left, return_counts=True)
    return int(np.flatnonzero(left == values[counts.argmax()])[0])
