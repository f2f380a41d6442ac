"""The table as Markdown, and as a self-contained page of HTML that prints on A4."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from html import escape

from tools.failsafe.folding import COLUMNS, Line, overview
from tools.failsafe.report import (
    HEADINGS,
    LOOK_HEADINGS,
    UNSIGNED,
    Evidence,
    by_output,
    cells,
    looks,
    summary,
)
from tools.failsafe.required import Required
from tools.failsafe.rows import Row
from xlate_core.pairing.model import Pairing

NOTHING = "None."


@dataclass(frozen=True, slots=True)
class Page:
    """All that is told: rows and lines, evidence by line, broken copy -> vectors that see it."""

    pairing: Pairing
    required: Required
    rows: Sequence[Row]
    lines: Sequence[Line]
    evidence: Evidence = field(default_factory=dict)
    broken: dict[str, int] = field(default_factory=dict)
    signed: str = UNSIGNED


@dataclass(frozen=True, slots=True)
class Section:
    """One table with its title. `apart` begins on a new page."""

    title: str
    headings: tuple[str, ...]
    rows: list[list[str]]
    apart: bool = False


def sections(page: Page) -> Iterator[Section]:
    """Yield the overview, what needs a look, a table an output, and what the table stands on."""
    found = [[output, *(told[one] for one in COLUMNS)] for output, told in overview(page.rows)]
    yield Section("Output and kind of fault", ("output", *COLUMNS), found)
    yield Section("Deviating, undetected and open", LOOK_HEADINGS, looks(page.lines), apart=True)
    for output, lines in by_output(page.lines).items():
        yield Section(output, HEADINGS, [cells(one, page.evidence) for one in lines], apart=True)
    tables = page.required.tables
    yield Section(
        "Requirements",
        ("id", "hazard", "FTTI ms", "source and reason"),
        [
            [one.id, one.hazard, str(one.within_ms), one.because + _safer(one.safer)]
            for one in tables.require
        ],
        apart=True,
    )
    yield Section(
        "Things that meet",
        ("id", "what meets", "hazard", "FTTI ms", "source and reason"),
        [
            [one.id, one.words, "-", "-", f"not applicable: {one.not_applicable}"]
            if one.not_applicable
            else [one.id, one.words, one.hazard, str(one.within_ms), one.because]
            for one in tables.interaction
        ],
    )
    yield Section(
        "What fails together",
        ("group", "what they share", "faults; tried as one, and in all pairs"),
        [[name, one.words, ", ".join(one.faults)] for name, one in tables.group.items()],
    )
    yield Section(
        "Situations",
        ("situation", *tables.axis),
        [
            [str(number), *(choice for _, choice in situation)]
            for number, situation in enumerate(page.required.situations, start=1)
        ],
    )
    yield Section(
        "What the choices mean",
        ("choice", "meaning"),
        [
            [f"{axis} {choice}", one.words]
            for axis, choices in tables.axis.items()
            for choice, one in choices.items()
            if one.words
        ],
    )
    yield Section(
        "Broken copies of the core",
        ("what is broken", "vectors of this table that see it"),
        [
            [words, str(count) if count else "none, or nothing of it in this pairing"]
            for words, count in page.broken.items()
        ],
    )


def lists(page: Page) -> list[tuple[str, list[str]]]:
    """Return the lists at the end."""
    tables = page.required.tables
    return [
        ("Assumptions on the installer", tables.assumption or ["none given"]),
        ("Faults this table does not cover", tables.not_covered or ["none given"]),
    ]


def _safer(text: str) -> str:
    return f" Safer: {text}" if text else ""


def to_markdown(page: Page) -> str:
    """Return the table as Markdown."""
    out = [
        f"# Failsafe behaviour of {page.pairing.name}",
        "",
        f"Pairing digest `{page.pairing.digest}`. **{page.signed}.**",
        "",
        *(f"> {line}" for line in summary(page.rows, page.lines)),
    ]
    for section in sections(page):
        told = _markdown_table(section.headings, section.rows) if section.rows else [NOTHING]
        out += ["", f"## {section.title}", "", *told]
    for title, texts in lists(page):
        out += ["", f"## {title}", "", *(f"- {text}" for text in texts)]
    return "\n".join(out) + "\n"


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
.apart { break-before: page; } .sign td { height: 2.2em; }
"""


def to_html(page: Page) -> str:
    """Return the table as one page of HTML that prints on A4; a page each output."""
    name = escape(page.pairing.name)
    parts = [
        '<!doctype html><html lang="en"><head><meta charset="utf-8">',
        f"<title>Failsafe behaviour of {name}</title>",
        f"<style>{STYLE}</style></head><body>",
        f"<h1>Failsafe behaviour of {name}</h1>",
        f"<p>Pairing digest {escape(page.pairing.digest)}. <b>{escape(page.signed)}.</b></p>",
        *(f"<p>{escape(line)}</p>" for line in summary(page.rows, page.lines)),
    ]
    for section in sections(page):
        told = _html_table(section.headings, section.rows) if section.rows else f"<p>{NOTHING}</p>"
        apart = ' class="apart"' if section.apart else ""
        parts.append(f"<section{apart}><h2>{escape(section.title)}</h2>{told}</section>")
    for title, texts in lists(page):
        items = "".join(f"<li>{escape(text)}</li>" for text in texts)
        parts.append(f"<h2>{title}</h2><ul>{items}</ul>")
    parts.append("</body></html>\n")
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
