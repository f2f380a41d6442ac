"""`xlate log compare`: equal logs are equal, and every sort of difference is told."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.tools.logs import refused, xlate
from tools.logs.bits import Field, extract, insert
from tools.logs.exporting import write_log
from tools.logs.synthetic.driving import drive
from tools.logs.synthetic.render import render
from tools.logs.synthetic.truth import (
    Role,
    Sending,
    TrueChecksum,
    TrueCounter,
    TrueField,
    TrueMessage,
    TrueNetwork,
)
from tools.logs.table import FrameTable, Key

COUNTER = TrueCounter(Field(48, 4), 16)
CHECKSUM = TrueChecksum(Field(56, 8), "CRC-8/AUTOSAR", 0, 7, after=(b"\x21",))


def message(identifier: int, series: str, first_ms: int) -> TrueMessage:
    value = TrueField("V", Field(7, 16, motorola=True), Role.VALUE, series, 0.25)
    fixed = TrueField("C", Field(24, 8), Role.CONSTANT, constant=0x5A)
    return TrueMessage(
        Key(0, identifier, False), f"M{identifier:X}", 8, Sending.CYCLIC, 20_000, 200, 0,
        (value, fixed), COUNTER, CHECKSUM, first_ms * 1000,
    )  # fmt: skip


NETWORK = TrueNetwork(
    ("body",), (message(0x100, "engine_speed", 0), message(0x200, "road_speed", 150))
)


def log(seed: int) -> FrameTable:
    return render(NETWORK, drive(60, 5), 60, seed)


def compared(tmp_path: Path, change: Callable[[FrameTable], FrameTable]) -> dict[str, Any]:
    table = log(1)
    write_log(tmp_path / "a.log", table.channels, [table])
    write_log(tmp_path / "b.log", table.channels, [change(log(2))])
    result = xlate("log", "compare", tmp_path / "a.log", tmp_path / "b.log", "--json")
    read = dict(json.loads(result.stdout))
    assert result.exit_code == (0 if read["equal"] else 1)
    return read


def test_two_recordings_of_one_sender_are_equal(tmp_path: Path) -> None:
    read = compared(tmp_path, lambda table: table)
    assert read["equal"]
    assert [each["verdict"] for each in read["messages"]] == ["equal", "equal"]


def without(table: FrameTable) -> FrameTable:
    return table.rows(table.identifier != 0x200)


def renamed(table: FrameTable) -> FrameTable:
    table.identifier[table.identifier == 0x200] = 0x201
    return table


def slower(table: FrameTable) -> FrameTable:
    mine = np.flatnonzero(table.identifier == 0x200)
    return table.rows(np.setdiff1d(np.arange(len(table)), mine[1::2]))


def shorter(table: FrameTable) -> FrameTable:
    table.length[table.identifier == 0x200] = 7
    table.data[table.identifier == 0x200, 7] = 0
    return table


def counter_stuck(table: FrameTable) -> FrameTable:
    mine = np.flatnonzero(table.identifier == 0x200)
    part = table.data[mine]
    insert(COUNTER.place, part, np.zeros(len(mine), np.int64))
    table.data[mine] = part
    return table


def checksum_wrong(table: FrameTable) -> FrameTable:
    table.data[table.identifier == 0x200, 7] ^= 0x11
    return table


def constant_other(table: FrameTable) -> FrameTable:
    table.data[table.identifier == 0x200, 3] = 0x5B
    return table


def value_frozen(table: FrameTable) -> FrameTable:
    table.data[table.identifier == 0x200, 0:2] = table.data[table.identifier == 0x200, 0:2][0]
    return table


def value_jumps(table: FrameTable) -> FrameTable:
    place = Field(7, 16, motorola=True)
    mine = np.flatnonzero(table.identifier == 0x200)
    part = table.data[mine]
    raw = extract(place, part)
    raw[100::50] = np.where(raw[100::50] > raw.mean(), raw.min(), raw.max())
    insert(place, part, raw)
    table.data[mine] = part
    return table


def late_start(table: FrameTable) -> FrameTable:
    return table.rows((table.identifier == 0x200) | (table.time_us > table.time_us[0] + 400_000))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (without, "missing: A has"),
        (renamed, "extra: B has"),
        (slower, "rate: A 20 ms, B 40 ms"),
        (shorter, "length: A 8 octets, B 7"),
        (counter_stuck, "counter: A counter 0..15, step 1"),
        (checksum_wrong, "checksum: "),
        (constant_other, "constant bits: 24 differ"),
        (value_frozen, "stands still at"),
        (value_jumps, "rate of change of "),
    ],
)
def test_a_difference_is_told(
    tmp_path: Path, change: Callable[[FrameTable], FrameTable], told: str
) -> None:
    read = compared(tmp_path, change)
    assert not read["equal"]
    lines = [line for each in read["messages"] for line in each["differences"]]
    assert any(line.startswith(told) or told in line for line in lines), lines
    untouched = next(each for each in read["messages"] if each["identifier"] == "100")
    assert untouched["verdict"] == "equal"


def test_another_order_at_start_up_is_told(tmp_path: Path) -> None:
    read = compared(tmp_path, late_start)
    assert any("start-up: in A body 100 comes" in line for line in read["start_up"])


def test_people_get_words_and_an_exit_code(tmp_path: Path) -> None:
    table = log(1)
    write_log(tmp_path / "a.log", table.channels, [table])
    write_log(tmp_path / "b.log", table.channels, [without(log(2))])
    same = xlate("log", "compare", tmp_path / "a.log", tmp_path / "a.log")
    assert same.exit_code == 0
    assert "body 100: equal" in same.output
    other = xlate("log", "compare", tmp_path / "a.log", tmp_path / "b.log")
    assert other.exit_code == 1
    assert "body 200: DIFFERENT" in other.output
    wrong = refused("log", "compare", tmp_path / "a.log", tmp_path / "b.log", "--bus", "engine")
    assert "--bus engine" in wrong
