"""An inspection as one self-contained HTML page: tables, and plots drawn as SVG.

Nothing is loaded from elsewhere, no script runs; colour repeats what numbers and words say.
"""

from collections.abc import Callable
from html import escape

import numpy as np

from tools.logs.bits import extract
from tools.logs.importing import seconds
from tools.logs.inspection.findings import Guess, Inspection, Material, MessageReport, What
from tools.logs.table import Array

WIDTH, HEIGHT, POINTS = 640, 90, 300
MOST_PLOTS = 400
_STYLE = """
body{font:15px/1.45 sans-serif;margin:2em auto;max-width:60em;color:#111;background:#fff}
table{border-collapse:collapse;margin:.6em 0}td,th{border:1px solid #999;padding:.15em .5em;
text-align:left;vertical-align:top}td.n{text-align:right}h2{margin-top:2em;border-top:2px solid}
.bits td{width:2.6em;font-size:11px;text-align:center;padding:.1em}svg{display:block;margin:.3em 0}
.small{font-size:13px;color:#333}@media print{h2{break-after:avoid}svg,tr{break-inside:avoid}}
"""


def page(
    inspection: Inspection, material_of: Callable[[int], Material], title: str, caution: str
) -> str:
    """Return the page; `material_of` gives the frames of a message by its number."""
    length = seconds(inspection.last_us - inspection.first_us)
    parts = [
        "<!doctype html><html lang=en><meta charset=utf-8>",
        f"<title>{escape(title)}</title><style>{_STYLE}</style>",
        f"<h1>{escape(title)}</h1>",
        f"<p>{inspection.frames} frames in {length} s on ",
        f"{escape(', '.join(inspection.channels))}. ",
        "Everything here is a guess from a log, with its evidence and a confidence; none is a ",
        f"fact.</p><p><strong>{escape(caution)}</strong></p>",
    ]
    parts += [f"<p>Note: {escape(note)}</p>" for note in inspection.notes]
    parts.append(_overview(inspection))
    plots = MOST_PLOTS
    for number, report in enumerate(inspection.messages):
        parts.append(_message(report, material_of(number), number, inspection, plots > 0))
        plots -= len(report.of(What.VALUE))
    return "".join(parts) + "</html>\n"


def _overview(inspection: Inspection) -> str:
    rows = []
    for number, report in enumerate(inspection.messages):
        cells = [
            escape(report.channel),
            f'<a href="#m{number}">{report.key.show()}</a>',
            str(report.timing.frames),
            "/".join(str(each) for each in report.lengths),
        ]
        for what in (What.SENDING, What.COUNTER, What.CHECKSUM, What.MULTIPLEXER):
            guess = report.one(what)
            cells.append("-" if guess is None else f"{escape(guess.text)} ({guess.confidence} %)")
        rows.append("<tr>" + "".join(f"<td>{cell}</td>" for cell in cells) + "</tr>")
    heads = ("bus", "identifier", "frames", "octets", "sent", "counter", "checksum", "multiplexer")
    head = "".join(f"<th>{each}</th>" for each in heads)
    return f"<table><tr>{head}</tr>{''.join(rows)}</table>"


def _message(
    report: MessageReport, material: Material, number: int, inspection: Inspection, plots: bool
) -> str:
    timing = report.timing
    parts = [
        f'<h2 id="m{number}">{escape(report.channel)} {report.key.show()}</h2>',
        f"<p>{timing.frames} frames; intervals: median {timing.median_us / 1000:.3f} ms, spread ",
        f"{timing.spread_us / 1000:.3f} ms, {timing.shortest_us / 1000:.3f} to ",
        f"{timing.longest_us / 1000:.3f} ms, {timing.gaps} gaps, {timing.bursts} bursts.</p>",
        _bits(report, material.length),
        _intervals(material.time_us),
        "<table><tr><th>%</th><th>guess</th><th>evidence</th></tr>",
    ]
    for guess in report.guesses:
        place = f" <code>{guess.place.show()}</code>" if guess.place is not None else ""
        path = f", path {guess.path}" if guess.path is not None else ""
        parts.append(
            f"<tr><td class=n>{guess.confidence}</td><td>{guess.what}{place}{path}: "
            f"{escape(guess.text)}</td><td class=small>{escape(guess.evidence)}</td></tr>"
        )
    parts.append("</table>")
    if plots:
        parts += [_plot(guess, report, material, inspection) for guess in report.of(What.VALUE)]
    return "".join(parts)


def _bits(report: MessageReport, length: int) -> str:
    """Return a table of how often each bit changes; darker is more often."""
    rows = []
    for octet in range(length):
        cells = []
        for bit in range(7, -1, -1):
            rate = report.changing_bits.get(8 * octet + bit, 0.0)
            shade = 255 - round(150 * min(1.0, 2 * rate) ** 0.5)
            style = f' style="background:rgb({shade},{shade},255)"' if rate else ""
            cells.append(f"<td{style}>{f'{rate:.1%}' if rate else '-'}</td>")
        constant = report.constant_octets.get(octet)
        told = f"constant {constant:02X}" if constant is not None else ""
        rows.append(f"<tr><th>octet {octet}</th>{''.join(cells)}<td>{told}</td></tr>")
    head = "".join(f"<th>{bit}</th>" for bit in range(7, -1, -1))
    return (
        f"<table class=bits><tr><th>changes</th>{head}<th></th></tr>{''.join(rows)}</table>"
        if rows
        else ""
    )


def _intervals(time_us: Array) -> str:
    """Return a histogram of the intervals, 40 columns from the shortest to the 99.5 % one."""
    steps = np.diff(time_us) / 1000
    if len(steps) < 4:
        return ""
    high = float(np.quantile(steps, 0.995))
    low = float(steps.min())
    if high <= low:
        high = low + 1
    counts, _ = np.histogram(steps, bins=40, range=(low, high))
    most = int(counts.max())
    bars = "".join(
        f'<rect x="{16 * n}" y="{HEIGHT - 14 - round(70 * count / most)}" width="14" '
        f'height="{round(70 * count / most)}" fill="#456"/>'
        for n, count in enumerate(counts.tolist())
        if count
    )
    return _svg(
        bars
        + _label(0, HEIGHT - 2, f"{low:.3f} ms")
        + _label(WIDTH, HEIGHT - 2, f"{high:.3f} ms", "end")
        + _label(WIDTH // 2, HEIGHT - 2, f"intervals, highest column {most}", "middle"),
        "histogram of intervals",
    )


def _plot(guess: Guess, report: MessageReport, material: Material, inspection: Inspection) -> str:
    """Return the values of a field over the time of the log."""
    assert guess.place is not None
    rows = np.arange(len(material.time_us))
    selector = report.one(What.MULTIPLEXER)
    if guess.path is not None and selector is not None and selector.place is not None:
        rows = np.flatnonzero(extract(selector.place, material.payload) == guess.path)
    rows = rows[np.unique(np.linspace(0, len(rows) - 1, POINTS).astype(np.int64))]
    raw = extract(guess.place, material.payload[rows])
    low, high = int(raw.min()), int(raw.max())
    span = max(1, inspection.last_us - inspection.first_us)
    x = (material.time_us[rows] - inspection.first_us) * WIDTH / span
    y = HEIGHT - 16 - (raw - low) * 70 / max(1, high - low)
    points = " ".join(f"{a:.0f},{b:.0f}" for a, b in zip(x.tolist(), y.tolist(), strict=True))
    path = f", path {guess.path}" if guess.path is not None else ""
    return _svg(
        f'<polyline fill="none" stroke="#024" points="{points}"/>'
        + _label(0, HEIGHT - 2, f"{guess.place.show()}{path}: raw {low} to {high}")
        + _label(WIDTH, HEIGHT - 2, f"{span / 1e6:.1f} s", "end"),
        f"field {guess.place.show()} over time",
    )


def _svg(inside: str, title: str) -> str:
    return (
        f'<svg width="{WIDTH}" height="{HEIGHT}" viewBox="0 0 {WIDTH} {HEIGHT}" role="img">'
        f"<title>{escape(title)}</title>"
        f'<rect width="{WIDTH}" height="{HEIGHT - 14}" fill="#f4f4f4"/>{inside}</svg>'
    )


def _label(x: int, y: int, text: str, anchor: str = "start") -> str:
    return f'<text x="{x}" y="{y}" font-size="11" text-anchor="{anchor}">{escape(text)}</text>'
