"""The table for people and machines: terminal, Markdown, self-contained HTML on A4, CSV, JSON."""

import csv
import io
import json
from collections.abc import Sequence
from html import escape
from typing import Any

from rich.console import Console
from rich.markup import escape as plain
from rich.table import Table

from tools.failsafe.folding import COLUMNS, Line, Range, counts, few, fold, overview
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
    "recovery",
    "indication",
    "memory",
    "depends",
    "evidence",
    "status",
)
UNSIGNED = "Unsigned"
Evidence = dict[str, str]  # digest of a line -> vector and what boards said of it
SIGNS = {
    Status.PASS: "pass",
    Status.DEVIATES: "DEVIATES",
    Status.UNDETECTED: "UNDETECTED",
    Status.NOT_APPLICABLE: "not applicable",
    Status.OPEN: "OPEN",
}


def facts(
    pairing: Pairing, required: Required, rows: Sequence[Row], signed: str = UNSIGNED
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
        "lines": [line_facts(line) for line in fold(rows)],
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
    return [
        f"{requirement}{line.digest[:8]}",
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
        line.recovery or "-",
        line.indication or "-",
        line.memory or "-",
        few(line.groups, 2) or "-",
        evidence.get(line.digest, "none yet"),
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


def by_output(rows: Sequence[Row]) -> dict[str, list[Line]]:
    """Return the folded lines of every output, those that need a look first."""
    order = list(SIGNS)
    found: dict[str, list[Line]] = {}
    for line in fold(rows):
        found.setdefault(line.output, []).append(line)
    for lines in found.values():
        lines.sort(key=lambda one: (-order.index(one.status) % len(order), one.requirement))
    return dict(sorted(found.items(), key=lambda one: (not one[0].startswith("output."), one[0])))


def print_table(pairing: Pairing, rows: Sequence[Row], signed: str = UNSIGNED) -> None:
    """Print the overview and what needs a look; colours only where the terminal wants them."""
    console = Console(highlight=False)
    if not console.is_terminal:
        console.width = 200
    console.print(f"{plain(pairing.name)}, digest {pairing.digest[:16]}, {plain(signed)}")
    table = Table(title="output and kind of fault: required state, then what is no pass")
    for heading in ("output", *COLUMNS):
        table.add_column(heading, overflow="fold")
    for output, columns in overview(rows):
        table.add_row(plain(output), *(plain(columns[column]) for column in COLUMNS))
    console.print(table)
    lines = [line for lines in by_output(rows).values() for line in lines]
    looks = [
        line for line in lines if line.status in (Status.DEVIATES, Status.UNDETECTED, Status.OPEN)
    ]
    table = Table(title="deviating, undetected and open lines")
    short = ("output", "line", "fault", "of", "situations", "required", "seen", "status")
    for heading in short:
        table.add_column(heading, overflow="fold")
    for line in looks:
        told = dict(zip(HEADINGS, cells(line, {}), strict=True))
        table.add_row(plain(line.output), *(plain(told[heading]) for heading in short[1:]))
    console.print(table)
    for line_text in summary(rows):
        console.print(plain(line_text))


def summary(rows: Sequence[Row]) -> list[str]:
    """Return the sentences at the end."""
    folded = len(fold(rows))
    said = ", ".join(f"{count} {status}" for status, count in counts(rows).items())
    return [f"{len(rows)} rows in {folded} lines to review: {said}", *CAUTIONS]


def to_markdown(
    pairing: Pairing,
    required: Required,
    rows: Sequence[Row],
    evidence: Evidence | None = None,
    signed: str = UNSIGNED,
) -> str:
    """Return the table as Markdown: overview, a section an output, assumptions."""
    out = [
        f"# Failsafe behaviour of {pairing.name}",
        "",
        f"Pairing digest `{pairing.digest}`. **{signed}.** {len(required.situations)} situations.",
        "",
        *(f"> {line}" for line in summary(rows)),
        "",
        "## Output and kind of fault",
        "",
        *_markdown_table(
            ("output", *COLUMNS),
            [[output, *(found[one] for one in COLUMNS)] for output, found in overview(rows)],
        ),
    ]
    for output, lines in by_output(rows).items():
        out += [
            "",
            f"## {output}",
            "",
            *_markdown_table(HEADINGS, [cells(one, evidence or {}) for one in lines]),
        ]
    out += ["", "## Requirements", ""]
    out += _markdown_table(
        ("id", "hazard", "FTTI ms", "source and reason"),
        [
            [one.id, one.hazard, str(one.within_ms), one.because + _safer(one.safer)]
            for one in required.tables.require
        ],
    )
    for title, texts in (
        ("Assumptions on the installer", required.tables.assumption),
        ("Faults this table does not cover", required.tables.not_covered),
    ):
        out += ["", f"## {title}", "", *(f"- {text}" for text in texts or ["none given"])]
    return "\n".join(out) + "\n"


def _safer(text: str) -> str:
    return f" Safer: {text}" if text else ""


def _markdown_table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    lines = ["| " + " | ".join(headings) + " |", "|" + "---|" * len(headings)]
    lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows]
    return lines


STYLE = """
@page { size: A4 landscape; margin: 12mm; }
body { font: 9pt/1.3 sans-serif; color: #111; background: #fff; margin: 1.2em; }
h1 { font-size: 1.4em; } h2 { font-size: 1.1em; margin: 1.2em 0 .3em; break-after: avoid; }
table { border-collapse: collapse; width: 100%; }
th, td { border: 1px solid #888; padding: .15em .35em;
text-align: left; vertical-align: top; font-size: 6.5pt; } th { background: #eee; }
tr { break-inside: avoid; } .look { font-weight: bold; outline: 2px solid #000; }
section { break-before: page; } .sign td { height: 2.2em; }
"""


def to_html(
    pairing: Pairing,
    required: Required,
    rows: Sequence[Row],
    evidence: Evidence | None = None,
    signed: str = UNSIGNED,
) -> str:
    """Return the table as one page of HTML that prints on A4; a page each output."""
    parts = [
        '<!doctype html><html lang="en"><head><meta charset="utf-8">',
        f"<title>Failsafe behaviour of {escape(pairing.name)}</title>",
        f"<style>{STYLE}</style></head><body>",
        f"<h1>Failsafe behaviour of {escape(pairing.name)}</h1>",
        f"<p>Pairing digest {escape(pairing.digest)}. <b>{escape(signed)}.</b></p>",
        *(f"<p>{escape(line)}</p>" for line in summary(rows)),
        "<h2>Output and kind of fault</h2>",
        _html_table(
            ("output", *COLUMNS),
            [[output, *(found[one] for one in COLUMNS)] for output, found in overview(rows)],
        ),
    ]
    for output, lines in by_output(rows).items():
        table = _html_table(HEADINGS, [cells(one, evidence or {}) for one in lines])
        parts.append(f"<section><h2>{escape(output)}</h2>{table}</section>")
    requirements = [
        [one.id, one.hazard, str(one.within_ms), one.because + _safer(one.safer)]
        for one in required.tables.require
    ]
    parts.append("<section><h2>Requirements</h2>")
    parts.append(_html_table(("id", "hazard", "FTTI ms", "source and reason"), requirements))
    for title, texts in (
        ("Assumptions on the installer", required.tables.assumption),
        ("Faults this table does not cover", required.tables.not_covered),
    ):
        items = "".join(f"<li>{escape(text)}</li>" for text in texts or ["none given"])
        parts.append(f"<h2>{title}</h2><ul>{items}</ul>")
    parts.append("</section></body></html>\n")
    return "\n".join(parts)


def _html_table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    head = "".join(f"<th>{escape(one)}</th>" for one in headings)
    body = "".join(
        "<tr>" + "".join(f"<td{_look(cell)}>{escape(cell)}</td>" for cell in row) + "</tr>"
        for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _look(cell: str) -> str:
    return ' class="look"' if cell.startswith(("DEVIATES", "UNDETECTED", "OPEN")) else ""
