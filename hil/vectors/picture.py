"""Tracks as a picture: in text, and as an SVG file that needs nothing else.

States differ by shape, never by colour alone: `#` active, `_` inactive; `=` frames come, `.`
silence; numbers as digits 0..9 between their smallest and largest value; `|` a state of less than
one column.
"""

from html import escape

from hil.vectors.timeline import Kind, Track, Tracks

COLUMNS = 64
MARKS = {Kind.SWITCH: "_#", Kind.FRAMES: ".="}
ROW = 26  # SVG units
LEFT = 330
WIDTH = 900
ROOM_OF_LABEL = 60  # a value is written only where there is room for it


def text(tracks: Tracks) -> list[str]:
    """Return the text picture."""
    if not tracks.tracks:
        return []
    label_width = max(len(f"{track.group} {track.name}") for track in tracks.tracks)
    per_column = -(-tracks.ticks // COLUMNS)
    lines = [
        "",
        (
            f"one column is {per_column * tracks.tick_ms} ms; # active _ inactive, "
            "= frames . silence, 0..9 low..high, | both in one column"
        ),
    ]
    for track in tracks.tracks:
        label = f"{track.group} {track.name}"
        note = f" {shown_bounds(track)}" if track.kind is Kind.NUMBER else ""
        lines.append(f"{label:<{label_width}} {row(track, tracks.ticks, per_column)}{note}")
    if tracks.resets:
        marks = [" "] * COLUMNS
        for tick, _ in tracks.resets:
            marks[tick // per_column] = "R"
        lines.append(f"{'reset':<{label_width}} {''.join(marks)}".rstrip())
    return lines


def bounds(track: Track) -> tuple[int, int]:
    """Return the smallest and the largest value of a track."""
    values = [value for _, value, _ in track.changes]
    return min(values), max(values)


def shown_bounds(track: Track) -> str:
    """Return smallest and largest value in words, by raw value; a single one once."""
    said = {value: words for _, value, words in track.changes}
    low, high = bounds(track)
    return said[low] if low == high else f"{said[low]} .. {said[high]}"


def row(track: Track, ticks: int, per_column: int) -> str:
    """Return one line of the text picture."""
    low, high = bounds(track)
    place = 0
    value: int | None = None
    marks = []
    for start in range(0, ticks, per_column):
        stop = min(start + per_column, ticks)
        seen = [] if value is None else [value]
        while place < len(track.changes) and track.changes[place][0] < stop:
            tick, value, _ = track.changes[place]
            if tick == start:
                seen = []
            seen.append(value)
            place += 1
        marks.append(mark(track.kind, seen, low, high))
    return "".join(marks)


def mark(kind: Kind, seen: list[int], low: int, high: int) -> str:
    """Return the sign of one column."""
    if not seen:
        return " "
    if kind is Kind.NUMBER:
        return str((seen[-1] - low) * 9 // (high - low)) if high > low else "0"
    if len(seen) > 2:
        return "|"
    return MARKS[kind][int(bool(seen[-1]))]


def svg(tracks: Tracks) -> str:
    """Return the picture as one self-contained SVG document."""
    height = ROW * (len(tracks.tracks) + 3)
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {LEFT + WIDTH + 20} {height}" '
            f'font-family="sans-serif" font-size="12">'
        ),
        f"<title>{escape(tracks.title)}</title>",
        f'<rect width="{LEFT + WIDTH + 20}" height="{height}" fill="white"/>',
        f'<text x="8" y="18" font-size="14">{escape(tracks.title)}</text>',
    ]
    for number, track in enumerate(tracks.tracks):
        top = ROW * (number + 1) + 6
        parts.append(
            f'<text x="8" y="{top + 15}">{escape(track.group)} {escape(track.name)}</text>'
        )
        parts.append(svg_track(track, tracks.ticks, top))
    bottom = ROW * (len(tracks.tracks) + 1) + 10
    for tenth in range(11):
        x = LEFT + WIDTH * tenth // 10
        milliseconds = tracks.ticks * tracks.tick_ms * tenth // 10
        parts.append(
            f'<path d="M{x} {ROW}V{bottom}" stroke="gray" stroke-width="0.5" '
            f'stroke-dasharray="2 4"/><text x="{x}" y="{bottom + 14}" font-size="10" '
            f'text-anchor="middle">{milliseconds} ms</text>'
        )
    for tick, cause in tracks.resets:
        x = LEFT + WIDTH * tick // tracks.ticks
        parts.append(
            f'<path d="M{x} {ROW}V{bottom}" stroke="black" stroke-dasharray="6 3"/>'
            f'<text x="{x + 3}" y="{bottom + 28}" font-size="10">reset {escape(cause)}</text>'
        )
    return "\n".join([*parts, "</svg>\n"])


def svg_track(track: Track, ticks: int, top: int) -> str:
    """Return one track: a stepped line; where frames come, a thick line."""
    low, high = bounds(track)
    span = max(high - low, 1)
    base = top + ROW - 8
    path = ""
    labels = []
    labelled = LEFT - ROOM_OF_LABEL
    for tick, value, words in track.changes:
        x = LEFT + WIDTH * tick // ticks
        level = value if track.kind is not Kind.NUMBER else value - low
        y = base - (ROW - 10) * level // (1 if track.kind is not Kind.NUMBER else span)
        path += f"H{x}V{y}" if path else f"M{x} {y}"
        if track.kind is not Kind.FRAMES and x - labelled >= ROOM_OF_LABEL:
            labelled = x
            above = y + 9 if y < base else y - 3
            labels.append(f'<text x="{x + 3}" y="{above}" font-size="8">{escape(words)}</text>')
    path += f"H{LEFT + WIDTH}"
    width = "3" if track.kind is Kind.FRAMES else "1.5"
    line = f'<path d="{path}" fill="none" stroke="black" stroke-width="{width}"/>'
    return line + "".join(labels)
