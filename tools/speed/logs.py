"""How fast logs are read, stored and inspected, python-can's reader of the same file beside it."""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import can

from tools.logs.exporting import write_log
from tools.logs.importing import Importing, ImportOptions
from tools.logs.inspection.run import inspect
from tools.logs.store import Store, StoreWriter
from tools.logs.synthetic.driving import drive
from tools.logs.synthetic.networks import random_network
from tools.logs.synthetic.render import render
from tools.speed.rows import HOUR_S, Floor, Measured, Row, an_hour, median

FRAMES_PER_SECOND = 1500
TEXT_LINES = 300_000


def measure(measured: Measured, drive_s: int, repeats: int, said: Callable[[str], None]) -> None:
    """Measure on one invented drive of `drive_s` seconds with about 1,500 frames a second."""
    said("an invented drive")
    series = drive(drive_s, 4)
    network = random_network(4, series, frames_per_second=FRAMES_PER_SECOND)
    table = render(network, series, drive_s, 4)
    with tempfile.TemporaryDirectory(prefix="xlate-speed-") as folder:
        store = Path(folder) / "drive.xlog"
        said("the store")
        samples = [
            _timed(lambda: write_log(store, table.channels, [table])) for _ in range(repeats)
        ]
        _row(measured, "store_write", "store: written", len(table), samples)
        samples = [_timed(lambda: _read(store)) for _ in range(repeats)]
        floor = Floor(1_000_000, False, ">= 1,000,000 / s")
        _row(measured, "store_read", "store: read", len(table), samples, floor)
        size = store.stat().st_size / len(table)
        floor = Floor(4.0, True, "<= 4 octets")
        measured.rows.append(Row("store_size", "store: a frame", size, "octets", 1, floor=floor))
        said("text, beside python-can")
        text = Path(folder) / "drive.log"
        part = table.rows(slice(0, TEXT_LINES))
        write_log(text, table.channels, [part])
        ours = [_timed(lambda: _import(text, Path(folder))) for _ in range(repeats)]
        theirs = [_timed(lambda: _library(text)) for _ in range(repeats)]
        rate = len(part) / median(theirs)
        floor = Floor(rate, False, ">= python-can")
        _row(measured, "text_import", "text: imported into a store", len(part), ours, floor)
        _row(measured, "text_python_can", "text: read by python-can", len(part), theirs)
    said("inspect")
    short_s = max(1, drive_s // 3)
    short = render(network, drive(short_s, 4), short_s, 4)
    drives = {drive_s: table, short_s: short}
    took = an_hour(lambda length: _timed(lambda: inspect(drives[length])), drive_s, short_s)
    note = "" if drive_s == HOUR_S else f"on the line through drives of {short_s} s and {drive_s} s"
    floor = Floor(60.0, True, "< 60 s")
    measured.rows.append(
        Row("inspect_hour", "inspect: an hour at 1,500 / s", took, "s", 1, floor=floor, note=note)
    )


def _timed(work: Callable[[], object]) -> float:
    """Return the processor time of a piece of work, in seconds."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def _row(
    measured: Measured, key: str, what: str, count: int, samples: list[float],
    floor: Floor | None = None,
) -> None:  # fmt: skip
    rate = count / median(samples)
    measured.rows.append(Row(key, what, rate, "frames / s", len(samples), floor=floor))


def _read(store: Path) -> int:
    return sum(len(table) for table in Store(store).tables())


def _import(text: Path, folder: Path) -> None:
    importing = Importing([text], ImportOptions())
    with StoreWriter(folder / "imported.xlog") as store:
        for table in importing.tables():
            store.add(table)
        store.channels = tuple(importing.channels)


def _library(text: Path) -> int:
    with can.LogReader(text) as reader:
        return sum(1 for _ in reader)
