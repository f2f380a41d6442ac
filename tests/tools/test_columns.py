"""Rows of a table as columns: the same as one frame after the other gives."""

import random

import numpy as np
import pytest

from tests.core.test_bridge import NAMES, PAIRINGS
from tools.logs.columns import MOST_IN_A_TICK, Columns, frames_of
from tools.logs.table import FrameTable, zeros
from xlate_core.compiled.columns import (
    AS_FRAME,
    UNKNOWN_BODY,
    UNKNOWN_ENGINE,
    Sent,
    arrivals_of,
    octets_of,
    sent_keys,
    word_of,
)
from xlate_core.frames import Frame
from xlate_core.interface import BridgeSpec
from xlate_core.pairing import load

TICKS = 400


def traffic(spec: BridgeSpec, seed: int) -> list[list[Frame]]:
    """Frames of every kind: received, own, foreign, of other lengths, twice in a tick."""
    source = random.Random(seed)
    keys = [one.key for one in (*spec.messages, *spec.transmits)]
    lengths = {one.key: one.length for one in spec.messages}
    ticks = []
    for _ in range(TICKS):
        frames = []
        for _ in range(source.choice((0, 0, 1, 1, 2, 3, MOST_IN_A_TICK))):
            key = source.choice(keys)
            if source.random() < 0.2:
                key = key._replace(bus=1 - key.bus)
            if source.random() < 0.2:
                key = key._replace(identifier=key.identifier ^ 1 << source.randrange(11))
            length = lengths.get(key, 8) if source.random() < 0.8 else source.randrange(9)
            frames.append(Frame(*key, source.randbytes(length)))
        ticks.append(frames)
    return ticks


def table_of(frames: list[Frame]) -> FrameTable:
    table = zeros(len(frames), ("body", "engine"))
    for row, frame in enumerate(frames):
        table.bus[row], table.extended[row], table.identifier[row] = frame[:3]
        table.length[row] = len(frame.data)
        table.data[row, : len(frame.data)] = list(frame.data)
    return table


@pytest.mark.parametrize("name", NAMES)
def test_rows_and_frames_give_the_same_columns(name: str) -> None:
    spec = load(PAIRINGS / name).spec
    ticks = traffic(spec, 5)
    frames = [frame for one in ticks for frame in one]
    expected = arrivals_of(spec, ticks)
    table = table_of(frames)
    assert frames_of(table) == frames
    actual = Columns(spec).arrivals(table, np.array(expected.bounds))
    assert actual.codes == expected.codes
    assert {AS_FRAME, UNKNOWN_BODY, UNKNOWN_ENGINE} <= set(actual.codes)
    assert actual.words == expected.words
    assert actual.bounds == expected.bounds
    assert actual.apart == expected.apart != []
    assert [actual.frame(place) for place in range(len(frames))] == frames


def test_a_crowded_tick_is_run_apart() -> None:
    spec = load(PAIRINGS / "minimal").spec
    key = spec.messages[0].key
    frames = [Frame(*key._replace(identifier=n), b"") for n in range(MOST_IN_A_TICK + 1)]
    bounds = np.array([0, 0, len(frames), len(frames)])
    assert Columns(spec).arrivals(table_of(frames), bounds).apart == [1]


def test_a_word_and_its_octets() -> None:
    assert word_of(b"\x01\x02") == 0x0201
    assert word_of(bytes(7) + b"\x80") == -(1 << 63)
    for data in (bytes(8), b"\xff" * 8, bytes(range(8)), bytes(range(0xF8, 0x100))):
        assert octets_of(word_of(data)) == data


@pytest.mark.parametrize("change", ["data", "length", "identifier", "bus", "tick", "less"])
def test_what_was_sent_agrees_with_its_rows_alone(change: str) -> None:
    spec = load(PAIRINGS / "farm_pickup").spec
    ticks = [[frame] for one in traffic(spec, 9) for frame in one]
    frames = [frame for one in ticks for frame in one]
    sent = Sent(sent_keys(spec))
    for frame in frames:
        sent.add(frame)
        sent.bounds.append(len(sent.codes))
    assert sent.frames() == frames
    assert sent.others
    for row in range(0, len(frames), 7):
        table, bounds = table_of(frames), np.arange(len(frames) + 1)
        assert Columns(spec).agree(sent, table, bounds)
        length = int(table.length[row])
        if length == 0:
            continue
        if change == "data":
            table.data[row, length - 1] ^= 1
        elif change == "length":
            table.data[row, length - 1] = 0
            table.length[row] -= 1
        elif change == "tick":
            bounds[row + 1] += 1
        elif change == "less":
            table, bounds = table.rows(slice(1, None)), bounds[1:] - 1
        else:
            getattr(table, change)[row] ^= 1
        assert not Columns(spec).agree(sent, table, bounds)
