"""Which bit is the button: changes of bits that coincide with moments a person noted.

For every bit, rises and falls apart, the moments with a change near them are counted. How likely so
many are by chance is reckoned in two ways: moments thrown at random into the log, as much of it as
lies near a change; and changes thrown at random onto the moments. The smaller of both counts,
times two for the choice, times the number of rises and falls of all bits looked at. A bit that
changes all the time can coincide with anything and proves nothing.
"""

import csv
from dataclasses import dataclass, replace
from math import comb
from pathlib import Path

import numpy as np

from tools.logs.table import Array, FrameTable
from xlate_core.errors import InputError, reason_of

FEWEST_MOMENTS = 2
LIKELY = 0.01


@dataclass(frozen=True, slots=True)
class Candidate:
    """A rise or fall of a bit, at how many moments it came, and the odds that chance does so."""

    bus: str
    identifier: str
    bit: int
    rises: bool
    moments: int
    of: int
    elsewhere: int
    chance: float
    delay_ms: float


def find(
    table: FrameTable, moments_us: Array, before_us: int = 300_000, after_us: int = 700_000
) -> list[Candidate]:
    """Return the bits that changed at moments, the least likely by chance first.

    A change counts from `before_us` before to `after_us` after a moment. Raises InputError when
    the moments are too few, or lie outside the log.
    """
    if len(moments_us) < FEWEST_MOMENTS:
        raise InputError(
            f"found {len(moments_us)} moments, expected at least {FEWEST_MOMENTS}: press the "
            "button several times, with pauses of a few seconds"
        )
    first, last = int(table.time_us[0]), int(table.time_us[-1])
    for moment in moments_us.tolist():
        if not first - before_us <= moment <= last + after_us:
            raise InputError(
                f"the moment {(moment - first) / 1e6:.3f} s lies outside the log, which lasts "
                f"{(last - first) / 1e6:.3f} s"
            )
    found: list[Candidate] = []
    tried = 0
    data = table.data_frames()
    for key, rows in data.by_key():
        payload, times = data.data[rows], data.time_us[rows]
        planes = np.unpackbits(payload, axis=1, bitorder="little")
        changed = planes[1:] != planes[:-1]
        for bit in np.flatnonzero(changed.any(axis=0)).tolist():
            at = np.flatnonzero(changed[:, bit])
            rising = planes[1:][at, bit] == 1
            for rises in (True, False):
                changes = times[1:][at[rising == rises]]
                if not len(changes):
                    continue
                tried += 1
                verdict = _judge(changes, moments_us, (before_us, after_us), (first, last))
                if verdict is None:
                    continue
                count, elsewhere, chance, delay = verdict
                place = (table.channels[key.bus], key.show(), bit, rises)
                found.append(Candidate(*place, count, len(moments_us), elsewhere, chance, delay))
    judged = [replace(each, chance=min(1.0, each.chance * tried)) for each in found]
    return sorted(judged, key=lambda each: (each.chance, each.elsewhere, -each.moments))


def _judge(
    changes: Array, moments: Array, window: tuple[int, int], ends: tuple[int, int]
) -> tuple[int, int, float, float] | None:
    """Return moments with a change, changes elsewhere, the chance of that, and the usual delay."""
    before, after = window
    place = np.searchsorted(changes, moments - before)
    inside = place < len(changes)
    delays = np.full(len(moments), 1 << 62, np.int64)
    delays[inside] = changes[place[inside]] - moments[inside]
    hit = delays <= after
    count = int(np.count_nonzero(hit))
    if not count:
        return None
    # The share of the log in which a moment would have met a change.
    low, high = np.maximum(changes - after, ends[0]), np.minimum(changes + before, ends[1])
    reach = np.maximum.accumulate(high)
    covered = np.maximum(0, high - np.maximum(low, np.concatenate((low[:1], reach[:-1]))))
    share = min(1.0, float(covered.sum()) / max(1, ends[1] - ends[0]))
    near = np.zeros(len(changes), np.bool_)
    for moment in moments.tolist():
        near |= (changes >= moment - before) & (changes <= moment + after)
    elsewhere = int(np.count_nonzero(~near))
    thrown = _at_least(count, len(moments), share)
    window_share = min(1 / len(moments), (before + after) / max(1, ends[1] - ends[0]))
    landed = _windows_hit(count, len(moments), window_share, len(changes))
    usual = float(np.median(delays[hit])) / 1000
    return count, elsewhere, min(1.0, 2 * min(thrown, landed)), usual


def _windows_hit(count: int, windows: int, share: float, changes: int) -> float:
    """Return the chance that random changes hit at least `count` windows of a share each."""
    total = 0.0
    for hit in range(count, windows + 1):
        exactly = sum(
            (-1) ** i * comb(hit, i) * max(0.0, 1 - (windows - hit + i) * share) ** changes
            for i in range(hit + 1)
        )
        total += comb(windows, hit) * exactly
    return min(1.0, max(total, share**count))


def _at_least(count: int, of: int, share: float) -> float:
    """Return the chance of at least `count` hits in `of` tries of probability `share`."""
    return min(
        1.0,
        sum(comb(of, k) * share**k * (1 - share) ** (of - k) for k in range(count, of + 1)),
    )


def moments_from_column(path: Path, column: str, start_us: int) -> Array:
    """Return the times at which a column of a CSV file rises above half of its range.

    The first column is the time in seconds from the start of the log. Raises InputError.
    """
    try:
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read as CSV ({reason_of(error)})") from None
    names = [name.strip() for name in rows[0]] if rows else []
    if column not in names[1:]:
        raise InputError(f"{path}: has no column {column}; there are {', '.join(names[1:])}")
    place = names.index(column)
    points = []
    for line, row in enumerate(rows[1:], start=2):
        try:
            points.append((float(row[0]), float(row[place])))
        except (ValueError, IndexError):
            raise InputError(
                f"{path}:{line}: expected numbers, found {','.join(row)[:40]}"
            ) from None
    if not points:
        raise InputError(f"{path}: has no rows below its heading")
    table = np.array(points)
    level = table[:, 1] > (table[:, 1].min() + table[:, 1].max()) / 2
    rising = np.flatnonzero(level[1:] & ~level[:-1]) + 1
    return np.asarray(np.round(table[rising, 0] * 1e6), np.int64) + start_us
