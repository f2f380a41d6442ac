"""The table as data (JSON, CSV), and what terminal and pages print of it."""

import csv
import io
import json
from collections.abc import Sequence
from typing import Any

from tools.failsafe.folding import MANY, SEVERAL, Line, Range, counts, few
from tools.failsafe.matching import show_situation
from tools.failsafe.required import Required
from tools.failsafe.rows import Row, Status
from tools.failsafe.stored import line_facts, to_rows
from xlate_core.pairing.model import Pairing

APPROVAL = (
    "A bench result is no approval. Road use needs the checks of local regulations and a licensed "
    "or accredited person."
)
WORKSHOP = (
    "Work on a raised, unpowered vehicle with pump and starter disarmed until the bench vectors "
    "pass."
)
TERMS = (
    "Fault detection, reaction, handling and tolerant time interval (FDTI, FRTI, FHTI, FTTI) are "
    "terms of ISO 26262-1. No conformity is claimed."
)
CAUTIONS = (APPROVAL, WORKSHOP, TERMS)
HEADINGS = (
    "line",
    "fault",
    "of",
    "situations",
    "enabled by",
    "threshold",
    "FDTI ms (rule; seen)",
    "substitute",
    "required",
    "seen",
    "FRTI ms",
    "actuator ms",
    "FHTI ms",
    "FTTI ms",
    "margin ms",
    "recovery, latch",
    "indication",
    "memory",
    "depends",
    "evidence",
    "status",
)
UNSIGNED = "Unsigned"
NO_TRY = "none: the bench cannot make it"
LOOK_HEADINGS = ("output", "line", "fault", "of", "situations", "required", "seen", "status")
LOOKS = (Status.DEVIATES, Status.UNDETECTED, Status.OPEN)
Evidence = dict[str, str]  # digest of a line -> vector and what boards said of it
SIGNS = {
    Status.PASS: "pass",
    Status.DEVIATES: "DEVIATES",
    Status.UNDETECTED: "UNDETECTED",
    Status.NOT_APPLICABLE: "not applicable",
    Status.OPEN: "OPEN",
}


def facts(
    pairing: Pairing,
    required: Required,
    rows: Sequence[Row],
    lines: Sequence[Line],
    signed: str = UNSIGNED,
) -> dict[str, Any]:
    """Return the whole table as plain data."""
    return {
        "format": 1,
        "pairing": pairing.name,
        "pairing_digest": pairing.digest,
        "required_digest": required.digest,
        "situations": [dict(one) for one in required.situations],
        "counts": counts(rows),
        "requirements": [
            {
                "id": one.id,
                "hazard": one.hazard,
                "within_ms": one.within_ms,
                "because": one.because,
                "safer": one.safer,
            }
            for one in required.tables.require
        ],
        "assumptions": required.tables.assumption,
        "not_covered": required.tables.not_covered,
        "rows": to_rows(rows),
        "lines": [line_facts(line) for line in lines],
        "cautions": list(CAUTIONS),
        "signed": signed,
    }


def to_json(told: dict[str, Any]) -> str:
    """Return the table as JSON."""
    return json.dumps(told, ensure_ascii=False, separators=(",", ":")) + "\n"


def to_csv(rows: Sequence[Row]) -> str:
    """Return every row as CSV."""
    out = io.StringIO()
    names = [name for name in Row.__dataclass_fields__ if name != "situation"]
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["id", "situation", *names])
    for row in rows:
        writer.writerow(
            [row.id, show_situation(row.situation), *(_plain(getattr(row, name)) for name in names)]
        )
    return out.getvalue()


def _plain(value: object) -> object:
    if value is None:
        return ""
    return value.value if isinstance(value, Status) else value


def cells(line: Line, evidence: Evidence) -> list[str]:
    """Return the cells of one folded line, in the order of HEADINGS."""
    requirement = f"{line.requirement}: " if line.requirement else ""
    which = f" ({few(line.outputs, MANY)})" if line.output == SEVERAL else ""
    return [
        f"{requirement}{line.digest[:8]}{which}",
        few(line.faults),
        few(line.subjects, 2),
        _situations(line),
        line.enabling or "-",
        line.threshold or "-",
        f"{_range(line.threshold_ms)}; {_range(line.detection_ms)}",
        line.substitute or "-",
        line.required or "-",
        line.observed or "-",
        _range(line.reaction_ms),
        str(line.actuator_ms),
        _range(line.total_ms),
        _number(line.allowed_ms),
        _number(line.margin_ms),
        (line.recovery or "-") + (f"; latched to the {line.latch}" if line.latch else ""),
        line.indication or "-",
        line.memory or "-",
        few(line.groups, 2) or "-",
        evidence.get(line.digest, NO_TRY if evidence else "not proven yet"),
        SIGNS[line.status] + (f" ({line.note})" if line.note else ""),
    ]


def _situations(line: Line) -> str:
    if len(line.situations) == 1:
        return line.situations[0] or "any"
    return f"{len(line.situations)}, {line.rows} rows"


def _range(value: Range) -> str:
    if value is None:
        return "-"
    return str(value[0]) if value[0] == value[1] else f"{value[0]}..{value[1]}"


def _number(value: int | None) -> str:
    return "-" if value is None else str(value)


def by_output(folded: Sequence[Line]) -> dict[str, list[Line]]:
    """Return the folded lines of every output, those that need a look first."""
    order = list(SIGNS)
    found: dict[str, list[Line]] = {}
    for line in folded:
        found.setdefault(line.output, []).append(line)
    for lines in found.values():
        lines.sort(key=lambda one: (-order.index(one.status) % len(order), one.requirement))
    return dict(sorted(found.items(), key=lambda one: (not one[0].startswith("output."), one[0])))


def looks(folded: Sequence[Line]) -> list[list[str]]:
    """Return what needs a look, output by output, in the cells of LOOK_HEADINGS."""
    return [
        [line.output, *(told[heading] for heading in LOOK_HEADINGS[1:])]
        for lines in by_output(folded).values()
        for line in lines
        if line.status in LOOKS
        for told in [dict(zip(HEADINGS, cells(line, {}), strict=True))]
    ]


def summary(rows: Sequence[Row], lines: Sequence[Line]) -> list[str]:
    """Return the sentences at the end."""
    said = ", ".join(f"{count} {status}" for status, count in counts(rows).items())
    return [f"{len(rows)} rows in {len(lines)} lines to review: {said}", *CAUTIONS]
