"""The inspection of a whole log, message by message, in the order in which guesses build up."""

from collections.abc import Callable

import numpy as np

from tools.logs.bits import bit_planes, extract
from tools.logs.inspection.checksums import checksum
from tools.logs.inspection.confidence import calibrate
from tools.logs.inspection.counters import counters
from tools.logs.inspection.fields import fields
from tools.logs.inspection.findings import (
    Guess,
    Inspection,
    Material,
    MessageReport,
    What,
    doubt_of,
)
from tools.logs.inspection.multiplexers import multiplexer
from tools.logs.inspection.timing import measure, sending
from tools.logs.table import Array, FrameKind, FrameTable, Key

MOST_FRAMES_PER_PATH_SEARCH = 20_000
RANDOM = "a part that changes at random"


def inspect(table: FrameTable, progress: Callable[[int, int], None] | None = None) -> Inspection:
    """Return what a log gives away; `progress` is called with messages done and in all."""
    messages = []
    keys = list(table.by_key())
    for number, (key, rows) in enumerate(keys, start=1):
        report = _message(table, key, rows)
        if report is not None:
            messages.append(report)
        if progress is not None:
            progress(number, len(keys))
    first = int(table.time_us[0]) if len(table) else 0
    last = int(table.time_us[-1]) if len(table) else 0
    notes = _notes(table)
    return Inspection(table.channels, len(table), first, last, messages, notes)


def materials_of(table: FrameTable, inspection: Inspection) -> list[Material]:
    """Return the material of every message of an inspection, in its order."""
    rows_by_key = dict(table.by_key())
    return [
        material_of(table, report.key, rows_by_key[report.key]) for report in inspection.messages
    ]


def material_of(table: FrameTable, key: Key, rows: Array) -> Material:
    """Return the data frames of one message with its most frequent length."""
    rows = rows[table.kind[rows] == FrameKind.DATA]
    lengths = table.length[rows]
    length = int(np.bincount(lengths).argmax()) if len(rows) else 0
    rows = rows[lengths == length]
    return Material(key, length, table.time_us[rows], table.data[rows])


def _message(table: FrameTable, key: Key, rows: Array) -> MessageReport | None:
    kinds = table.kind[rows]
    if bool(np.all(kinds == FrameKind.ERROR)):
        return None
    shown = rows[kinds != FrameKind.ERROR]
    material = material_of(table, key, rows)
    lengths, counts = np.unique(table.length[shown], return_counts=True)
    report = MessageReport(
        key,
        table.channels[key.bus],
        measure(table.time_us[shown]),
        dict(zip(lengths.tolist(), counts.tolist(), strict=True)),
        int(np.count_nonzero(kinds == FrameKind.REMOTE)),
        {},
        {},
    )
    if len(material.time_us):
        report.changing_bits, report.constant_octets = _bits(material)
        report.guesses = [calibrate(guess) for guess in _guesses(material)]
    return report


def _bits(material: Material) -> tuple[dict[int, float], dict[int, int]]:
    """Return how often each changing bit changes (share of frames), and the constant octets."""
    payload = material.payload
    if len(payload) < 2:
        return {}, {octet: int(payload[0, octet]) for octet in range(material.length)}
    flips = np.zeros(64)
    for start in range(0, len(payload) - 1, 65_536):
        planes = bit_planes(payload[start : start + 65_537])
        flips += (planes[1:] != planes[:-1]).sum(axis=0)
    changing = {
        bit: float(flips[bit]) / (len(payload) - 1)
        for bit in range(8 * material.length)
        if flips[bit]
    }
    moving = {bit // 8 for bit in changing}
    constant = {o: int(payload[0, o]) for o in range(material.length) if o not in moving}
    return changing, constant


def _guesses(material: Material) -> list[Guess]:
    found = counters(material)
    check, missing = checksum(material, found)
    taken = 0
    check_octets: set[int] = set()
    if check is not None and check.place is not None:
        check_octets = {place // 8 for place in check.place.places()}
        taken = check.place.mask()
        found = [guess for guess in found if not _mask(guess) & taken]
        for guess in found:
            if guess.place is not None and guess.place.start // 8 in check.facts["also_octets"]:
                guess.score *= 0.5
                guess.evidence += "; may be the checksum instead, which fits there as well"
    selector = multiplexer(material, check_octets, found)
    if selector is not None:
        found = [guess for guess in found if not _mask(guess) & _mask(selector)]
    protected = taken
    for guess in (*found, *([selector] if selector is not None else [])):
        protected |= _mask(guess)
    values = _values(material, selector, protected)
    sent = sending(material, sum(_mask(guess) for guess in found) | taken)
    guesses = [*([sent] if sent is not None else []), *found]
    guesses += [each for each in (check, selector) if each is not None]
    if missing and check is None and found:
        guesses[0].facts["checksum_missing"] = missing
    for guess in values:
        guess.doubt = RANDOM if _beside_random(guess, values) else doubt_of(selector, check)
    return [*guesses, *values]


def _beside_random(guess: Guess, values: list[Guess]) -> bool:
    """Whether a value or one in the next octet changes at random from its top bit on.

    A number does not; it is the low part of one whose high part is elsewhere, or no number.
    """
    if guess.what is not What.VALUE or guess.facts["at_random"]:
        return guess.what is What.VALUE
    near = _near(guess)
    return any(
        other.what is What.VALUE
        and other.facts["at_random"]
        and other.path in (guess.path, None)
        and bool(near & _mask(other))
        for other in values
    )


def _near(guess: Guess) -> int:
    """Return the bits of the octets of a field and of those beside them."""
    assert guess.place is not None
    octets = {place // 8 + step for place in guess.place.places() for step in (-1, 0, 1)}
    return sum(0xFF << (8 * octet) for octet in octets if octet >= 0)


def _values(material: Material, selector: Guess | None, taken: int) -> list[Guess]:
    """Return the fields; under a multiplexer those of each path apart from the common ones."""
    if selector is None or selector.place is None:
        return fields(material, taken)
    chosen = extract(selector.place, material.payload)
    depending = 0
    for octet in _with_noise_beside(material, selector.facts["octets"]):
        depending |= 0xFF << (8 * octet)
    made = fields(material, taken | depending)
    for path in selector.facts["paths"]:
        mine = np.flatnonzero(chosen == path)[:MOST_FRAMES_PER_PATH_SEARCH]
        part = Material(
            material.key, material.length, material.time_us[mine], material.payload[mine]
        )
        made += fields(part, taken | ~depending & (1 << 64) - 1, path)
    return made


def _with_noise_beside(material: Material, octets: list[int]) -> list[int]:
    """Return the octets with those beside them that change at random: the low parts of numbers."""
    planes = bit_planes(material.payload[:MOST_FRAMES_PER_PATH_SEARCH])
    rates = (planes[1:] != planes[:-1]).mean(axis=0).reshape(8, 8)
    noisy = {octet for octet in range(material.length) if float(rates[octet].min()) > 0.35}
    beside = {octet for octet in noisy if octet - 1 in octets or octet + 1 in octets}
    return sorted({*octets, *beside})


def _mask(guess: Guess) -> int:
    return guess.place.mask() if guess.place is not None else 0


def _notes(table: FrameTable) -> list[str]:
    notes = []
    present = np.unique(table.bus)
    if len(present) == 1:
        name = table.channels[int(present[0])]
        notes.append(f"the log has frames of one bus only ({name}); nothing is said of the other")
    errors = int(np.count_nonzero(table.kind == FrameKind.ERROR))
    if errors:
        notes.append(f"{errors} error frames; guesses are made from data frames alone")
    remote = int(np.count_nonzero(table.kind == FrameKind.REMOTE))
    if remote:
        notes.append(f"{remote} remote frames; they carry no data")
    return notes


def what_of(report: MessageReport, what: What) -> str:
    """Return the sentence of the first guess of a sort, or nothing."""
    guess = report.one(what)
    return "" if guess is None else guess.text
