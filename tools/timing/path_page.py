"""The ways through the bridge as one self-contained page that prints on A4."""

from html import escape
from typing import Any

from tools.timing.path_report import summary

STYLE = """
body { font: 10pt/1.35 sans-serif; margin: 1.5em; color: #111; background: #fff; }
h1 { font-size: 1.3em; margin: 0 0 .2em; } table { border-collapse: collapse; width: 100%; }
th, td { border-bottom: 1px solid #999; padding: .15em .4em; text-align: right; font-size: 8.5pt; }
th:first-child, td:first-child, td:last-child, th:last-child { text-align: left; }
.bad { font-weight: bold; } svg { display: block; } p { margin: .3em 0; }
@media print { body { margin: 0; } tr { break-inside: avoid; } }
"""
# Parts of a bar are told apart by hatching and by letter, not by colour.
MARKS = {
    "source period": ("a", "none"),
    "source bus": ("b", "url(#lines)"),
    "deadline": ("d", "url(#dots)"),
    "ticks and schedule": ("t", "url(#cross)"),
    "target bus": ("c", "url(#back)"),
    "both buses and the tick": ("r", "url(#lines)"),
    "board": ("x", "#000"),
    "function's own": ("o", "url(#dots)"),
}
HATCHES = {
    "lines": '<path d="M0 4L4 0" stroke="#000" stroke-width=".7"/>',
    "back": '<path d="M0 0L4 4" stroke="#000" stroke-width=".7"/>',
    "cross": '<path d="M0 4L4 0M0 0L4 4" stroke="#000" stroke-width=".5"/>',
    "dots": '<circle cx="2" cy="2" r=".8"/>',
}
WIDTH = 230
BAR = 11


def page(told: dict[str, Any]) -> str:
    """Return the page."""
    longest = max((row["bound_ms"] or 0 for row in told["ways"]), default=1) or 1
    rows = "\n".join(_row(row) for row in told["ways"])
    key = ", ".join(f"{letter} = {what}" for what, (letter, _) in MARKS.items())
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Ways through {escape(told["pairing"])}</title>
<style>{STYLE}</style></head><body>{_patterns()}
<h1>Ways through the bridge: {escape(told["pairing"])}</h1>
<p>Pairing digest {escape(told["digest"])}; {told["samples"]} random trials a source, seed
{told["seed"]}; clock error {told["clock_error_ppm"]} ppm; board {told["board_ms"]} ms.
Longest bound {longest:.1f} ms.</p>
<p>{"</p><p>".join(escape(line) for line in summary(told))}</p>
<p>Bars show where the bound goes: {escape(key)}. The upright mark is the most observed. Below, how
often which part of the bound was observed.</p>
<table><thead><tr><th>way</th><th>bound ms</th>
<th>observed ms: least, median, 99.9 %, most (count)</th><th>most/bound</th>
<th>age: bound, oldest ms</th><th>budget ms</th><th>bound by part; histogram</th>
<th>verdict</th></tr></thead>
<tbody>
{rows}
</tbody></table>
<p>{"</p><p>".join(escape(line) for line in told["definitions"])}</p>
</body></html>
"""


def _patterns() -> str:
    """Return the hatchings, invisible themselves."""
    units = 'width="4" height="4" patternUnits="userSpaceOnUse"'
    hatches = "".join(
        f'<pattern id="{name}" {units}>{shape}</pattern>' for name, shape in HATCHES.items()
    )
    return f'<svg width="0" height="0" aria-hidden="true"><defs>{hatches}</defs></svg>'


def _row(row: dict[str, Any]) -> str:
    seen, ages = row["observed"], row["age_observed"]
    observed = row["not_observed"]
    if seen:
        keys = ("minimum_ms", "median_ms", "p99_9_ms", "maximum_ms")
        observed = ", ".join(f"{seen[key]:.2f}" for key in keys) + f" ({seen['count']})"
    cells = [
        escape(row["way"]),
        _number(row["bound_ms"]),
        escape(observed),
        "-" if row["tightness"] is None else f"{100 * row['tightness']:.0f} %",
        f"{_number(row['age_bound_ms'])}, {_number(ages['maximum_ms'] if ages else None)}",
        _number(row["budget_ms"]),
        _bar(row),
        escape(row["verdict"]),
    ]
    bad = ' class="bad"' if row["verdict"] in ("EXCEEDED", "OVER BUDGET", "NO BOUND") else ""
    return f"<tr{bad}>" + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>"


def _bar(row: dict[str, Any]) -> str:
    """Return the bound's parts to scale, each way on its own scale, and the histogram."""
    bound = row["bound_ms"]
    if not bound:
        return ""
    shapes, left = [], 0.0
    for part in row["parts"]:
        width = WIDTH * part["ms"] / bound
        letter, fill = MARKS.get(part["what"], ("?", "none"))
        label = f"{part['what']} {part['ms']:.3f} ms"
        shapes.append(
            f'<rect x="{left:.1f}" y="1" width="{width:.1f}" height="{BAR}" fill="{fill}" '
            f'stroke="#000" stroke-width=".6"><title>{escape(label)}</title></rect>'
        )
        if width > 12:
            shapes.append(
                f'<text x="{left + width / 2:.1f}" y="10" font-size="9" text-anchor="middle" '
                f'stroke="#fff" stroke-width="2.5" paint-order="stroke">{letter}</text>'
            )
        left += width
    if row["observed"]:
        at = WIDTH * row["observed"]["maximum_ms"] / bound
        shapes.append(f'<path d="M{at:.1f} 0V{BAR + 4}" stroke="#000" stroke-width="1.6"/>')
    most = max(row["histogram"]) or 1
    step = WIDTH / len(row["histogram"])
    for place, count in enumerate(row["histogram"]):
        height = 12 * count / most
        shapes.append(
            f'<rect x="{place * step:.1f}" y="{BAR + 17 - height:.1f}" width="{step - 0.5:.1f}" '
            f'height="{height:.1f}" fill="#555"/>'
        )
    return f'<svg width="{WIDTH + 2}" height="{BAR + 18}" role="img">{"".join(shapes)}</svg>'


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"
