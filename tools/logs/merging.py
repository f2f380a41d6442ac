"""Streams of rows put together: gathered into large pieces, merged by time."""

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from tools.logs.table import FrameTable, in_time_order, joined


def gathered(chunks: Iterator[FrameTable], rows: int) -> Iterator[FrameTable]:
    """Yield the rows of chunks in pieces of at least `rows` rows, the last one smaller."""
    waiting: list[FrameTable] = []
    for table in chunks:
        waiting.append(table)
        if sum(len(each) for each in waiting) >= rows:
            yield joined(waiting)
            waiting = []
    if any(len(each) for each in waiting):
        yield joined(waiting)


def merged(
    sources: Sequence[Iterator[FrameTable]], check: Callable[[list[int]], None] | None = None
) -> Iterator[FrameTable]:
    """Yield the rows of sources that are each in the order of time, by time, then by source."""
    heads = [_next_rows(source) for source in sources]
    if check is not None and all(head is not None for head in heads):
        check([int(head.time_us[0]) for head in heads if head is not None])
    while any(head is not None for head in heads):
        limit, limiting = min(
            (int(head.time_us[-1]), number) for number, head in enumerate(heads) if head is not None
        )
        parts = []
        for number, head in enumerate(heads):
            if head is None:
                continue
            # Rows of one time stay in the order of the sources, also across chunks.
            side = "right" if number <= limiting else "left"
            end = int(np.searchsorted(head.time_us, limit, side=side))  # type: ignore[call-overload]
            parts.append(head.rows(slice(0, end)))
            rest = head.rows(slice(end, None))
            heads[number] = rest if len(rest) else _next_rows(sources[number])
        yield in_time_order(joined(parts))


def _next_rows(source: Iterator[FrameTable]) -> FrameTable | None:
    for table in source:
        if len(table):
            return table
    return None
