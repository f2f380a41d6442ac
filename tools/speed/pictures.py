"""One picture a group of figures: bars with their numbers, the floor and the previous figure.

SVG, readable without colour: the figure is a filled bar with its number, the floor a line across
with its words, the previous figure a hollow bar. Figures of one unit share a scale.
"""

from xml.sax.saxutils import escape

from tools.speed.rows import Row

WIDTH, LEFT, BAR, ROW, TOP = 900, 300, 320, 46, 44
BLOCK_HEIGHT, PREVIOUS_HEIGHT = 16, 8
INK, FILL, PAPER = "#1a1a1a", "#4a6a8a", "#ffffff"


def groups_of(rows: list[Row]) -> dict[str, list[Row]]:
    """Return the rows by the name of their group, which is also a file's name."""
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(group_of(row), []).append(row)
    return found


def group_of(row: Row) -> str:
    """Return the group of a row: what stands before its first colon, or `commands`."""
    head, colon, _ = row.what.partition(":")
    if not colon:
        head = "commands"
    name = "".join(letter if letter.isalnum() else "_" for letter in head.split(",")[0].lower())
    return name.removesuffix("_all_8").removesuffix("_1_of_8")


def picture(name: str, rows: list[Row], previous: dict[str, float]) -> str:
    """Return one group as SVG; a row without a figure says so in words."""
    height = TOP + ROW * len(rows) + 26
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height}" '
        f'viewBox="0 0 {WIDTH} {height}" font-family="sans-serif" font-size="13" role="img" '
        f'aria-label="Speed: {escape(name)}">'
    )
    lines = [
        head,
        f'<rect width="{WIDTH}" height="{height}" fill="{PAPER}"/>',
        f'<text x="12" y="24" font-size="17" fill="{INK}">{escape(name.replace("_", " "))}</text>',
    ]
    scales = _scales(rows, previous)
    for number, row in enumerate(rows):
        lines += _row(row, TOP + ROW * number, scales[row.unit], previous.get(row.key))
    lines.append(
        f'<text x="12" y="{height - 10}" font-size="11" fill="{INK}">'
        "filled: this run; hollow: the previous one; line across: the floor. "
        "No part of pass or fail.</text></svg>"
    )
    return "\n".join(lines) + "\n"


def _scales(rows: list[Row], previous: dict[str, float]) -> dict[str, float]:
    """Return the largest figure of each unit, floors and previous ones included."""
    largest: dict[str, float] = {}
    for row in rows:
        seen = [value for value in (row.value, previous.get(row.key)) if value is not None]
        seen += [row.floor.limit] if row.floor is not None else []
        largest[row.unit] = max([largest.get(row.unit, 0.0), *seen])
    return {unit: value or 1.0 for unit, value in largest.items()}


def _row(row: Row, top: int, scale: float, previous: float | None) -> list[str]:
    base = top + 14
    lines = [f'<text x="12" y="{base + 2}" fill="{INK}">{escape(row.what)}</text>']
    words = "not measured" if row.value is None else f"{row.value:.2f} {row.unit}"
    if row.value is not None:
        lines.append(
            f'<rect x="{LEFT}" y="{top + 2}" width="{_long(row.value, scale)}" '
            f'height="{BLOCK_HEIGHT}" fill="{FILL}"/>'
        )
    if previous is not None:
        lines.append(
            f'<rect x="{LEFT}" y="{top + 22}" width="{_long(previous, scale)}" '
            f'height="{PREVIOUS_HEIGHT}" fill="none" stroke="{INK}"/>'
        )
        words += f" (previous {previous:.2f})"
    if row.floor is not None:
        place = LEFT + _long(row.floor.limit, scale)
        lines.append(
            f'<line x1="{place}" x2="{place}" y1="{top - 2}" y2="{top + 34}" stroke="{INK}" '
            'stroke-width="2" stroke-dasharray="4 2"/>'
        )
        verdict = {None: "", True: ", met", False: ", NOT MET"}[row.met]
        words += f"; floor {row.floor.words}{verdict}"
    lines.append(
        f'<text x="{LEFT}" y="{top + 42}" font-size="11" fill="{INK}">{escape(words)}</text>'
    )
    return lines


def _long(value: float, scale: float) -> float:
    return round(max(1.0, BAR * value / scale), 1)
