"""The compact store: nothing lost, small, read at random by time, damage noticed."""

import errno
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.tools.logs import random_table
from tools.logs import store as store_module
from tools.logs.store import Store, StoreWriter
from tools.logs.store_blocks import decode_block, encode_block
from tools.logs.synthetic.driving import drive
from tools.logs.synthetic.networks import random_network
from tools.logs.synthetic.render import render
from tools.logs.table import FrameTable, empty, zeros
from xlate_core.errors import InputError


def written(path: Path, table: FrameTable, step: int) -> Path:
    with StoreWriter(path, table.channels) as store:
        for start in range(0, len(table), step):
            store.add(table.rows(slice(start, start + step)))
    return path


@pytest.mark.parametrize(("rows", "seed"), [(1, 1), (2, 2), (7, 3), (1000, 4), (5000, 5)])
def test_a_block_comes_back_as_it_went_in(rows: int, seed: int) -> None:
    table = random_table(rows, seed)
    assert decode_block(encode_block(table), table.channels).equals(table)


def test_extreme_times_survive() -> None:
    table = zeros(4, ("body",))
    table.time_us[:] = [0, 0, 1 << 61, (1 << 61) + 1]
    table.identifier[:] = [5, 5, 5, 6]
    assert decode_block(encode_block(table), table.channels).equals(table)


@pytest.mark.parametrize("step", [1000, 70_000, 150_000])
def test_a_store_comes_back_as_it_went_in(tmp_path: Path, step: int) -> None:
    table = random_table(150_000, 6)
    store = Store(written(tmp_path / "a.xlog", table, step))
    assert store.rows == 150_000
    assert len(store.blocks) == 3
    assert store.read().equals(table)


def test_a_part_is_read_without_the_rest(tmp_path: Path) -> None:
    table = random_table(200_000, 7)
    path = written(tmp_path / "a.xlog", table, 50_000)
    first, last = int(table.time_us[70_000]), int(table.time_us[71_000])
    damaged = bytearray(path.read_bytes())
    block = Store(path).blocks[0]
    damaged[block.place : block.place + block.size] = bytes(block.size)
    path.write_bytes(damaged)  # a block outside the asked time may be ruined
    inside = (table.time_us >= first) & (table.time_us <= last)
    assert Store(path).read(first, last).equals(table.rows(inside))
    with pytest.raises(InputError, match="block 1 is damaged"):
        Store(path).read()


def test_synthetic_driving_needs_at_most_four_octets_a_frame(tmp_path: Path) -> None:
    series = drive(120, 11)
    table = render(random_network(11, series, 40), series, 120, 11)
    path = written(tmp_path / "a.xlog", table, 30_000)
    assert path.stat().st_size <= 4 * len(table)
    assert Store(path).read().equals(table)


@pytest.mark.parametrize("keep", [0, 5, 11, 12, 100, -1, -30])
def test_a_store_cut_anywhere_is_refused(tmp_path: Path, keep: int) -> None:
    path = written(tmp_path / "a.xlog", random_table(3000, 8), 3000)
    path.write_bytes(path.read_bytes()[:keep])
    with pytest.raises(InputError, match=r"cut short|is no \.xlog store"):
        Store(path)


def test_a_changed_index_is_noticed(tmp_path: Path) -> None:
    path = written(tmp_path / "a.xlog", random_table(3000, 9), 3000)
    octets = bytearray(path.read_bytes())
    octets[-40] ^= 1
    path.write_bytes(octets)
    with pytest.raises(InputError, match="damaged"):
        Store(path)


def test_a_full_disk_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Full:
        def __init__(self, file: Any) -> None:
            self.file, self.room = file, 60_000

        def write(self, octets: bytes) -> int:
            self.room -= len(octets)
            if self.room < 0:
                raise OSError(errno.ENOSPC, "No space left on device")
            return int(self.file.write(octets))

        def __getattr__(self, name: str) -> Any:
            return getattr(self.file, name)

    plain = store_module.os.fdopen
    monkeypatch.setattr(store_module.os, "fdopen", lambda *given: Full(plain(*given)))
    with pytest.raises(InputError, match="no space left on device"):
        written(tmp_path / "a.xlog", random_table(100_000, 10), 10_000)
    assert list(tmp_path.iterdir()) == []


def test_an_error_on_the_way_leaves_the_old_store(tmp_path: Path) -> None:
    path = written(tmp_path / "a.xlog", random_table(10, 1), 10)
    before = path.read_bytes()

    def stopped_half_way() -> None:
        with StoreWriter(path, ("body",)) as store:
            store.add(random_table(10, 2))
            raise InputError("stop")

    with pytest.raises(InputError, match="stop"):
        stopped_half_way()
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


def test_an_empty_store_is_a_store(tmp_path: Path) -> None:
    assert len(Store(written(tmp_path / "a.xlog", empty(("body",)), 1)).read()) == 0


def test_keys_are_found_with_their_rows() -> None:
    table = random_table(2000, 12)
    seen = np.zeros(len(table), np.int64)
    for key, rows in table.by_key():
        assert np.all(table.bus[rows] == key.bus)
        assert np.all(table.identifier[rows] == key.identifier)
        assert np.all(table.extended[rows] == key.extended)
        assert np.all(np.diff(rows) > 0)
        seen[rows] += 1
    assert np.all(seen == 1)
