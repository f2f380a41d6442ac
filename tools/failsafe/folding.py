"""Many rows, few lines: rows that say the same are one line, with how many and which exceptions."""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from tools.failsafe.matching import show_situation
from tools.failsafe.names import is_pin
from tools.failsafe.rows import Row, Status

Range = tuple[int, int] | None
MANY = 3  # outputs that are one line when a requirement holds for all of them
SEVERAL = "several outputs"
SAYS_WHY = (Status.NOT_APPLICABLE, Status.UNDETECTED)  # without a requirement their note tells
COLUMNS: dict[str, tuple[str, ...]] = {
    "no data": (
        "missing from start",
        "lost",
        "broken wire",
        "bus-off",
        "no acknowledge",
        "swapped buses",
    ),
    "bad frames": ("intermittent", "frozen counter", "wrong checksum", "short frame", "flood"),
    "no valid value": ("not available", "error code", "out of range"),
    "wrong value": ("frozen", "jump", "wrong but plausible"),
    "input wiring": (
        "open",
        "short to ground",
        "short to supply",
        "lost common reference",
        "stuck",
        "contradictory switches",
    ),
    "output stage": ("output open", "output shorted", "output stuck"),
    "module": ("reset", "brown-out", "tick overrun", "wrong pairing"),
    "together": ("group", "pair", "interaction"),
}
"""Columns of the overview: classes of faults that mean the same to an output."""
COLUMN_OF = {kind: column for column, kinds in COLUMNS.items() for kind in kinds}


@dataclass(frozen=True, slots=True)
class Line:
    """Rows that react alike. Times in ms; least and most of all rows, None = none.

    `output` is what a person reviews them under; `outputs` are all of them.
    """

    output: str
    outputs: tuple[str, ...]
    requirement: str
    hazard: str
    faults: tuple[str, ...]
    subjects: tuple[str, ...]
    situations: tuple[str, ...]
    rows: int
    enabling: str
    threshold: str
    threshold_ms: Range
    detection: str
    detection_ms: Range
    substitute: str
    required: str
    observed: str
    reaction_ms: Range
    actuator_ms: int
    total_ms: Range
    allowed_ms: int | None
    margin_ms: int | None
    recovery: str
    latch: str
    indication: str
    memory: str
    groups: tuple[str, ...]
    status: Status
    note: str
    ids: tuple[str, ...]

    @property
    def digest(self) -> str:
        """SHA-256 over everything the line says, in hex, 16 digits."""
        return hashlib.sha256(repr(self).encode()).hexdigest()[:16]


def owner(output: str) -> str:
    """Return what a reviewer reads as one output: a pin, or all signals of a message."""
    return output if is_pin(output) or "." not in output else output.rpartition(".")[0]


def fold(rows: Iterable[Row]) -> list[Line]:
    """Return one line for every set of rows with equal requirement, state, recovery and status."""
    rows = list(rows)
    common = _common(rows)
    sets: dict[tuple[object, ...], list[Row]] = {}
    for row in rows:
        deviates = row.status is Status.DEVIATES
        key = (
            SEVERAL if _about(row) in common else owner(row.output),
            row.requirement,
            row.status,
            row.required,
            "" if row.requirement else row.note if row.status in SAYS_WHY else row.kind,
            (row.observed, row.recovery.split(" in ")[0]) if deviates else "",
            row.indication,
        )
        sets.setdefault(key, []).append(row)
    return [_line(str(key[0]), members) for key, members in sets.items()]


def _about(row: Row) -> tuple[str, Status, str]:
    return row.requirement, row.status, "" if row.requirement else row.note


def _common(rows: Sequence[Row]) -> set[tuple[str, Status, str]]:
    """Return what is the same for so many outputs that one line says it for all of them.

    A named interaction is one line in any case. What deviates or is open never is; undetected rows
    only where a switch moves everything, or where no fault could be made.
    """
    owners: dict[tuple[str, Status, str], set[str]] = {}
    meetings = set()
    for row in rows:
        alike = not row.requirement or row.kind in ("stuck", "contradictory switches")
        if row.status in (Status.PASS, Status.NOT_APPLICABLE) or (
            row.status is Status.UNDETECTED and alike
        ):
            owners.setdefault(_about(row), set()).add(owner(row.output))
            if row.kind == "interaction":
                meetings.add(_about(row))
    return {
        about
        for about, found in owners.items()
        if len(found) >= MANY or (about in meetings and len(found) > 1)
    }


def _line(output: str, rows: Sequence[Row]) -> Line:
    first = rows[0]

    def every(name: str) -> list[str]:
        return list(dict.fromkeys(str(getattr(row, name)) for row in rows if getattr(row, name)))

    def ends(*names: str) -> Range:
        values = [getattr(row, name) for row in rows for name in names]
        known = [value for value in values if value is not None]
        return (min(known), max(known)) if known else None

    margins = ends("margin_ms")
    detections = list(dict.fromkeys(row.detection.split(" of ")[0] for row in rows))
    return Line(
        output=output,
        outputs=tuple(dict.fromkeys(owner(row.output) for row in rows)),
        requirement=first.requirement,
        hazard=first.hazard,
        faults=tuple(every("kind")),
        subjects=tuple(every("subject")),
        situations=tuple(dict.fromkeys(show_situation(row.situation) for row in rows)),
        rows=len(rows),
        enabling=few(every("enabling"), 2),
        threshold=few(every("threshold"), 2),
        threshold_ms=ends("threshold_least_ms", "threshold_most_ms"),
        detection=few([one for one in detections if one]),
        detection_ms=ends("detection_ms"),
        substitute=few(every("substitute"), 2),
        required=few(every("required")),
        observed=few(every("observed")),
        reaction_ms=ends("reaction_ms"),
        actuator_ms=first.actuator_ms,
        total_ms=ends("total_ms"),
        allowed_ms=first.allowed_ms,
        margin_ms=None if margins is None else margins[0],
        recovery=_recovery(rows),
        latch=few(every("latch")),
        indication=first.indication,
        memory=few(every("memory")),
        groups=tuple(every("group")),
        status=first.status,
        note=few(every("note"), 1),
        ids=tuple(row.id for row in rows),
    )


def _recovery(rows: Sequence[Row]) -> str:
    """Return the recovery in words, with the longest time when it returns."""
    times = [
        int(row.recovery.split(" in ")[1].removesuffix(" ms"))
        for row in rows
        if row.recovery.startswith("returns in ")
    ]
    others = [row.recovery for row in rows if row.recovery and " in " not in row.recovery]
    words = [f"returns within {max(times)} ms"] if times else []
    return few([*words, *dict.fromkeys(others)], 2)


def few(words: Sequence[str], most: int = 3) -> str:
    """Return some words, and how many more there are."""
    shown = ", ".join(words[:most])
    return shown if len(words) <= most else f"{shown} and {len(words) - most} more"


def overview(rows: Sequence[Row]) -> list[tuple[str, dict[str, str]]]:
    """Return (output, column -> words) of the page output x fault class."""
    cells: dict[str, dict[str, list[Row]]] = {}
    for row in rows:
        cells.setdefault(owner(row.output), {}).setdefault(
            COLUMN_OF.get(row.kind, row.kind), []
        ).append(row)
    return [
        (output, {column: _cell(found.get(column, [])) for column in COLUMNS})
        for output, found in sorted(cells.items(), key=lambda one: (not is_pin(one[0]), one[0]))
    ]


def _cell(rows: Sequence[Row]) -> str:
    """Return the words of one cell: the states, and every status that is not a pass."""
    if not rows:
        return "-"
    passed = [row for row in rows if row.status is Status.PASS]
    words = [few(list(dict.fromkeys(row.required for row in passed)), 2)] if passed else []
    for status in (Status.DEVIATES, Status.UNDETECTED, Status.NOT_APPLICABLE, Status.OPEN):
        count = sum(row.status is status for row in rows)
        if count:
            words.append(f"{count} {status.value}")
    return "; ".join(words)


def counts(rows: Sequence[Row]) -> dict[str, int]:
    """Return the number of rows by status."""
    return {status.value: sum(row.status is status for row in rows) for status in Status}
