"""The search for checksums: which family, over which octets, explains every change of an octet.

Only differences between payloads are looked at, so start value, final value and everything folded
in cancel. A fit is an octet (or nibble, or two octets), a family, a range, and for CRCs the number
of octets that stand behind the range (`behind`: folded in after the payload).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import log2

import numpy as np

from tools.logs.bits import Field, bit_planes, extract
from tools.logs.checksums import CATALOGUE, all_polynomials_8, linear_tables
from tools.logs.table import Array

SAMPLE = 48
FIRST_LOOK = 6
ROWS_FOR_RANK = 200
FEWEST_FOR_RANK = 80
ODD_POLYNOMIAL_BITS = 24
"""What must speak for a polynomial of no catalogue beyond chance: some of them are near-copies."""
MOST_FOLDED = 2
_SUMS = ("sum8", "sum8 inverted", "sum8 with carry", "sum8 with carry inverted")


@dataclass(frozen=True, slots=True)
class Fit:
    """One explanation. `poly` and `reflected` for CRCs only; `octets` are the covered ones.

    `evidence_bits` is what speaks for it beyond what so many tries would find by chance.
    """

    place: Field
    family: str
    octets: tuple[int, ...]
    behind: int
    poly: int
    reflected: bool
    whole: bool
    evidence_bits: float
    moving: int

    @property
    def start_octet(self) -> int:
        """The first octet of its place."""
        return self.place.start // 8

    @property
    def is_crc(self) -> bool:
        """Whether the family is a CRC."""
        return self.family.startswith("crc")


def fits(rows: Array, length: int, pairs: Array | None = None) -> list[Fit]:
    """Return the explanations that hold on a sample, the best of each place first.

    `rows` are different payloads (n x 8); `pairs` (m x 2 row numbers) limits comparisons to pairs
    whose folded data ID is the same, default: every row against the first.
    """
    if pairs is None:
        others = _spread(1, len(rows), 2 * ROWS_FOR_RANK)
        pairs = np.stack((np.zeros(len(others), np.int64), others), axis=1)
    if len(pairs) < 2:
        return []
    wide = rows[pairs[:, 0]] ^ rows[pairs[:, 1]]
    chosen = pairs[_spread(0, len(pairs), SAMPLE)]
    one, two = rows[chosen[:, 0]], rows[chosen[:, 1]]
    difference = one ^ two
    moving = [octet for octet in range(length) if bool(np.any(rows[:, octet] != rows[0, octet]))]
    found: list[Fit] = []
    for own in moving:
        if _may_be_linear(wide, {own}):
            found += _crc8(difference, own, length, moving)
        found += _simple8(one, two, own, length, moving)
    for first in range(length - 1):
        if (first in moving or first + 1 in moving) and _may_be_linear(wide, {first, first + 1}):
            found += _crc16(difference, first, length, moving)
    if not bool(np.any(chosen[:, 0])):
        found += _nibbles(one, two, length, moving)
    return found


def _may_be_linear(difference: Array, own: set[int]) -> bool:
    """Whether every bit of some octets may be a sum (modulo 2) of bits of the other octets.

    A CRC always is; where it is not, no polynomial needs to be tried. Two samples are looked at
    and one may fail, so that a few odd frames do not hide a checksum.
    """
    if len(difference) < 2 * FEWEST_FOR_RANK:
        return True
    for sample in (difference[0::2], difference[1::2]):
        planes = np.packbits(bit_planes(sample), axis=0)
        columns = [int.from_bytes(planes[:, bit].tobytes(), "big") for bit in range(64)]
        others = [column for bit, column in enumerate(columns) if bit // 8 not in own]
        if _spans(others, [column for bit, column in enumerate(columns) if bit // 8 in own]):
            return True
    return False


def _spans(columns: list[int], wanted: list[int]) -> bool:
    """Whether every wanted column is a sum of the others."""
    basis: list[int] = []
    for number in columns:
        left = _reduced(number, basis)
        if left:
            basis.append(left)
    return not any(_reduced(number, basis) for number in wanted)


def _reduced(number: int, basis: list[int]) -> int:
    for each in basis:
        number = min(number, number ^ each)
    return number


def residue(fit: Fit, rows: Array) -> Array:
    """Return what the family leaves unexplained: the same for every row, when the fit holds."""
    own = extract(fit.place, rows)
    if fit.is_crc:
        width = 16 if fit.family == "crc16" else 8
        tables = linear_tables(width, fit.poly, fit.reflected)
        total = np.zeros(len(rows), tables.dtype)
        for octet, behind in _positions(fit.octets, fit.behind):
            total ^= tables[behind][rows[:, octet]]
        return np.asarray(own ^ total)
    covered = rows[:, list(fit.octets)].astype(np.int64)
    if fit.family in ("xor4", "sum4", "sum4 inverted"):
        return _nibble_residue(fit, rows, own)
    if fit.family == "xor8":
        return np.asarray(own ^ np.bitwise_xor.reduce(covered, axis=1))
    total = covered.sum(axis=1)
    modulo = 255 if "carry" in fit.family else 256
    sign = 1 if "inverted" in fit.family else -1
    return np.asarray((own + sign * total) % modulo)


def _nibble_residue(fit: Fit, rows: Array, own: Array) -> Array:
    whole = rows[:, list(fit.octets)].astype(np.int64)
    nibbles = np.concatenate((whole & 15, whole >> 4), axis=1)
    if fit.family == "xor4":
        return np.asarray(np.bitwise_xor.reduce(nibbles, axis=1))  # its own nibble is among them
    total = nibbles.sum(axis=1) - own
    return np.asarray((own + (total if "inverted" in fit.family else -total)) % 16)


def _positions(octets: tuple[int, ...], behind: int) -> list[tuple[int, int]]:
    """Return each covered octet with the number of octets that stand behind it."""
    return [(octet, len(octets) - 1 - i + behind) for i, octet in enumerate(octets)]


def _ranges(own: set[int], length: int, moving: list[int]) -> Iterator[tuple[int, ...]]:
    """Yield the octets of every range, the widest first, those that cannot be told apart once."""
    seen = set()
    for width in range(length, 0, -1):
        for first in range(length - width + 1):
            octets = tuple(o for o in range(first, first + width) if o not in own)
            told = tuple((o, len(octets) - i) for i, o in enumerate(octets) if o in moving)
            if told and told not in seen:
                seen.add(told)
                yield octets


def _crc8(difference: Array, own: int, length: int, moving: list[int]) -> Iterator[Fit]:
    names, tables = all_polynomials_8()
    known = len({(c.poly, c.reflected) for c in CATALOGUE if c.width == 8})
    wanted = difference[:, own]
    place = Field(8 * own, 8)
    for octets in _ranges({own}, length, moving):
        whole = len(octets) == length - 1
        for behind in range(MOST_FOLDED + 1):
            positions = [p for p in _positions(octets, behind) if p[0] in moving]
            look = difference[:FIRST_LOOK]
            total = np.zeros((len(names), len(look)), np.uint8)
            for octet, after in positions:
                total ^= tables[:, after, :][:, look[:, octet]]
            chosen = np.flatnonzero((total == wanted[:FIRST_LOOK]).all(axis=1))
            if not len(chosen):
                continue
            total = np.zeros((len(chosen), len(difference)), np.uint8)
            for octet, after in positions:
                total ^= tables[chosen, after, :][:, difference[:, octet]]
            for number in chosen[_agree(total, wanted)]:
                poly, reflected = names[int(number)]
                tries = (0 if whole else 5) + (3 if number < known else 8) + behind
                bits = 8.0 * _rank(difference, [p[0] for p in positions]) - tries - log2(length)
                if number >= known and bits < ODD_POLYNOMIAL_BITS:
                    continue
                yield Fit(
                    place, "crc8", octets, behind, poly, reflected, whole, bits, len(positions)
                )


def _crc16(difference: Array, first: int, length: int, moving: list[int]) -> Iterator[Fit]:
    known = list(dict.fromkeys((c.poly, c.reflected) for c in CATALOGUE if c.width == 16))
    own = {first, first + 1}
    for motorola in (False, True):
        place = Field(8 * first + (7 if motorola else 0), 16, motorola)
        wanted = extract(place, difference)
        for octets in _ranges(own, length, [o for o in moving if o not in own]):
            whole = len(octets) == length - 2
            for poly, reflected in known:
                tables = linear_tables(16, poly, reflected)
                for behind in range(MOST_FOLDED + 1):
                    positions = _positions(octets, behind)
                    total = np.zeros(len(difference), np.uint16)
                    for octet, after in positions:
                        total ^= tables[after][difference[:, octet]]
                    if not bool(_agree(total[None, :], wanted)[0]):
                        continue
                    rank = _rank(difference, list(octets))
                    bits = 16.0 * rank - (4 if whole else 9) - 4
                    count = sum(1 for octet in octets if octet in moving)
                    yield Fit(place, "crc16", octets, behind, poly, reflected, whole, bits, count)


def _simple8(one: Array, two: Array, own: int, length: int, moving: list[int]) -> Iterator[Fit]:
    place = Field(8 * own, 8)
    step = one[:, own].astype(np.int64) - two[:, own]
    for octets in _ranges({own}, length, moving):
        inside = [octet for octet in octets if octet in moving]
        whole = len(octets) == length - 1
        tries = (2 if whole else 7) + log2(length)
        bits = 8.0 * min(_rank(one ^ two, inside), len(one)) - tries
        columns = list(octets)
        xor = np.bitwise_xor.reduce(one[:, columns] ^ two[:, columns], axis=1)
        if bool(_agree(xor[None, :], one[:, own] ^ two[:, own])[0]):
            yield Fit(place, "xor8", octets, 0, 0, False, whole, bits, len(inside))
        change = (one[:, columns].astype(np.int64) - two[:, columns]).sum(axis=1)
        for family in _SUMS:
            modulo = 255 if "carry" in family else 256
            signed = -change if "inverted" in family else change
            if bool(_agree(signed[None, :] % modulo, step % modulo)[0]):
                yield Fit(place, family, octets, 0, 0, False, whole, bits, len(inside))


def _nibbles(one: Array, two: Array, length: int, moving: list[int]) -> Iterator[Fit]:
    octets = tuple(range(length))
    rank = _rank(one ^ two, moving)
    for start in range(0, 8 * length, 4):
        place = Field(start, 4)
        if start // 8 not in moving or not bool(np.any(extract(place, one ^ two))):
            continue
        for family in ("xor4", "sum4", "sum4 inverted"):
            bits = 4.0 * (rank - 1) - 8
            fit = Fit(place, family, octets, 0, 0, False, True, bits, len(moving))
            if bool(_agree(residue(fit, one)[None, :], residue(fit, two))[0]):
                yield fit


def _agree(found: Array, wanted: Array) -> Array:
    """Return which rows agree with what is wanted, but for one frame in fifty."""
    allowed = found.shape[1] // 50
    return np.asarray((found != wanted).sum(axis=1) <= allowed)


def _rank(difference: Array, octets: list[int]) -> int:
    """Return how many of the differences are independent, over the bits of some octets."""
    basis: list[int] = []
    packed = [int.from_bytes(row.tobytes(), "little") for row in difference[:, octets]]
    for number in packed:
        for each in basis:
            number = min(number, number ^ each)
        if number:
            basis.append(number)
    return len(basis)


def _spread(first: int, end: int, most: int) -> Array:
    """Return up to `most` row numbers spread over first..end-1."""
    count = min(most, end - first)
    if count <= 0:
        return np.zeros(0, np.int64)
    return np.unique(np.linspace(first, end - 1, count).astype(np.int64))
