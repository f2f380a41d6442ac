"""Many rows, few lines: rows that say the same are one line, with how many and which exceptions."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from tools.failsafe.names import is_pin
from tools.failsafe.rows import Row, Status

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
    ),
    "output stage": ("output open", "output shorted", "output stuck"),
    "module": ("reset", "brown-out", "tick overrun", "wrong pairing"),
}
"""Columns of the overview: classes of faults that mean the same to an output."""
COLUMN_OF = {kind: column for column, kinds in COLUMNS.items() for kind in kinds}


@dataclass(frozen=True, slots=True)
class Line:
    """Rows of one output that react alike. Times in ms, the largest of all rows."""

    output: str
    requirement: str
    faults: tuple[str, ...]
    subjects: tuple[str, ...]
    situations: int
    rows: int
    required: str
    observed: str
    detection: str
    detection_ms: int | None
    total_ms: int | None
    allowed_ms: int | None
    recovery: str
    indication: str
    memory: str
    status: Status
    note: str
    ids: tuple[str, ...]


def owner(output: str) -> str:
    """Return what a reviewer reads as one output: a pin, or all signals of a message."""
    return output if is_pin(output) else output.rpartition(".")[0]


def fold(rows: Iterable[Row]) -> list[Line]:
    """Return one line for every set of rows with equal reaction, recovery and indication."""
    sets: dict[tuple[object, ...], list[Row]] = {}
    for row in rows:
        key = (
            owner(row.output),
            row.requirement,
            COLUMN_OF.get(row.kind, row.kind),
            row.required,
            row.observed if row.status is not Status.OPEN else "",
            row.detection_ms is None,
            row.recovery.split(" in ")[0],
            row.indication,
            row.memory,
            row.status,
        )
        sets.setdefault(key, []).append(row)
    return [_line(members) for members in sets.values()]


def _line(rows: Sequence[Row]) -> Line:
    first = rows[0]
    detections = dict.fromkeys(row.detection.split(" of ")[0] for row in rows if row.detection)
    observed = list(dict.fromkeys(row.observed for row in rows))
    return Line(
        output=owner(first.output),
        requirement=first.requirement,
        faults=tuple(dict.fromkeys(row.kind for row in rows)),
        subjects=tuple(dict.fromkeys(row.subject for row in rows)),
        situations=len({row.situation for row in rows}),
        rows=len(rows),
        required=first.required,
        observed=few(observed),
        detection=few(list(detections)),
        detection_ms=_most(row.detection_ms for row in rows),
        total_ms=_most(row.total_ms for row in rows),
        allowed_ms=first.allowed_ms,
        recovery=_recovery(rows),
        indication=first.indication,
        memory=first.memory,
        status=first.status,
        note=few(list(dict.fromkeys(row.note for row in rows if row.note))),
        ids=tuple(row.id for row in rows),
    )


def _recovery(rows: Sequence[Row]) -> str:
    """Return the recovery in words, with the longest time when it returns."""
    times = [
        int(row.recovery.split(" in ")[1].removesuffix(" ms"))
        for row in rows
        if row.recovery.startswith("returns in ")
    ]
    if times:
        return f"returns within {max(times)} ms"
    return rows[0].recovery


def _most(values: Iterable[int | None]) -> int | None:
    return max((value for value in values if value is not None), default=None)


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
