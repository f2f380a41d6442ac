"""What a vector will do to a board, as requests made ahead of time."""

from collections.abc import Iterator

from hil.link.records import (
    DIGEST_REQUEST,
    frame_record,
    input_pieces,
    reset_record,
    ticks_records,
)
from hil.vectors.plays import Play
from xlate_core.bridge import Inputs


def requests(found: Iterator[Play], start: Inputs, room: int) -> Iterator[tuple[bytes, Inputs]]:
    """Yield WORK payloads of at most `room` octets, each with the inputs the board then has.

    `start` are the inputs the board has now. Ticks that do nothing are put together, also over
    several plays.
    """
    parts: list[bytes] = []
    length = 0
    ticks = 0
    inputs = start
    for play in found:
        ticks += play.idle
        news: list[bytes] = []
        if play.reset is not None:
            news.append(reset_record(*play.reset))
        if play.inputs is not inputs:
            news += input_pieces(inputs, play.inputs)
        if play.frames:
            codes = dict(play.codes)
            news += [
                frame_record(frame, codes.get(place, 0)) for place, frame in enumerate(play.frames)
            ]
        if any(news) and ticks:
            news.insert(0, ticks_records(ticks))
            ticks = 0
        ticks += 1
        if play.digest:
            news += [ticks_records(ticks), DIGEST_REQUEST]
            ticks = 0
        for piece in news:
            if length + len(piece) > room:
                yield b"".join(parts), inputs
                parts, length = [], 0
            parts.append(piece)
            length += len(piece)
        inputs = play.inputs
    if ticks:
        parts.append(ticks_records(ticks))
    if parts:
        yield b"".join(parts), inputs
