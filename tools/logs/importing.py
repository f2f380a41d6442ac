"""Logs of any readable format into one stream of rows in the order of time.

Each file is read in chunks; several files are merged by time, so memory does not grow with the
logs. Everything that is no frame for the table is counted by kind. What makes a log doubtful stops
the import with one sentence: time that runs backward, pauses nobody believes, two time bases.
"""

import tempfile
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tools.logs.candump_text import CandumpReader
from tools.logs.merging import gathered
from tools.logs.merging import merged as merged_by_time
from tools.logs.messages import CANDUMP, LogFile
from tools.logs.store import SUFFIX, Store, StoreWriter
from tools.logs.table import MAX_OCTETS, FrameKind, FrameTable, in_time_order, joined, zeros
from xlate_core.errors import InputError

if TYPE_CHECKING:
    import can

IGNORE = "ignore"
SECOND = 1_000_000
ROWS_AT_ONCE = 65_536
ROWS_TO_SORT = 1 << 20
MOST_CHANNELS = 256
_EPOCH_S = 100_000_000  # times above count from an epoch, below from the start of a log

Progress = Callable[[int, int], None]
"""Called with octets read so far and octets in all."""


@dataclass(frozen=True, slots=True)
class ImportOptions:
    """How to read.

    `names` maps a channel, or "file name:channel", to the name of its bus or to "ignore";
    `offsets_us` moves the times of a file by its name; `longest_gap_s` is the longest pause that is
    believed.
    """

    names: dict[str, str] = field(default_factory=dict)
    offsets_us: dict[str, int] = field(default_factory=dict)
    sort: bool = False
    skip_damaged: bool = False
    longest_gap_s: int = 3600


@dataclass(slots=True)
class Importing:
    """One import: its files, and what was counted so far."""

    paths: Sequence[Path]
    options: ImportOptions
    channels: list[str] = field(default_factory=list)
    read: Counter[str] = field(default_factory=Counter)
    kinds: Counter[str] = field(default_factory=Counter)
    ignored: Counter[str] = field(default_factory=Counter)
    rejected: Counter[str] = field(default_factory=Counter)
    left_out: Counter[str] = field(default_factory=Counter)
    first_us: int | None = None
    last_us: int | None = None
    backward: int = 0
    met: set[str] = field(default_factory=set)

    def unmet(self) -> list[str]:
        """Return the channels that were given a name but sent nothing, once all rows are read."""
        return [name for name in self.options.names if name not in self.met]

    def tables(self, progress: Progress | None = None) -> Iterator[FrameTable]:
        """Yield all rows in the order of time; raises InputError."""
        if len({path.name for path in self.paths}) < len(self.paths):
            raise InputError("two logs have the same file name; give each its own name")
        names = [path.name for path in self.paths]
        for strange in self.options.offsets_us.keys() - set(names):
            raise InputError(f"--offset {strange}: expected one of the logs, {', '.join(names)}")
        total = sum(path.stat().st_size for path in self.paths if path.is_file())
        done = [0] * len(self.paths)
        with tempfile.TemporaryDirectory(prefix="xlate-sort-") as folder:
            sources = [
                self._file(path, number, done, Path(folder))
                for number, path in enumerate(self.paths)
            ]
            ordered = (
                sources[0] if len(sources) == 1 else merged_by_time(sources, self._check_bases)
            )
            for table in ordered:
                self._check_pauses(table)
                self._count(table)
                yield table
                if progress is not None:
                    progress(min(sum(done), total), total)
        if self.last_us is None:
            read = ", ".join(str(path) for path in self.paths)
            left = self.ignored + self.rejected + self.left_out
            told = ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in left.items())
            raise InputError(
                f"{read}: has no CAN frame in it" + (f" (only {told})" if told else "")
            )

    def _file(self, path: Path, number: int, done: list[int], folder: Path) -> Iterator[FrameTable]:
        """Yield the rows of one file in the order of time, channels named and times moved."""
        offset = self.options.offsets_us.get(path.name, 0)
        chunks = self._chunks(path, number, done)
        if self.options.sort:
            chunks = self._sorted(chunks, folder, number)
        previous = None
        for table in chunks:
            if offset:
                table.time_us[:] += offset
            if not len(table):
                continue
            if int(table.time_us.min()) < 0:
                raise InputError(f"{path}: has times before 0; expected 0 s or later")
            before = table.time_us[0] if previous is None else previous
            steps = np.diff(table.time_us, prepend=before)
            if not self.options.sort and bool((steps < 0).any()):
                row = int(np.flatnonzero(steps < 0)[0])
                raise InputError(
                    f"{path}: time runs backward, {seconds(int(table.time_us[row]))} s after "
                    f"{seconds(int(table.time_us[row] - steps[row]))} s; "
                    "--sort puts the frames in order"
                )
            previous = table.time_us[-1]
            yield table

    def _chunks(self, path: Path, number: int, done: list[int]) -> Iterator[FrameTable]:
        if path.suffix == SUFFIX:
            yield from self._from_store(path)
            done[number] = path.stat().st_size
            return
        log = LogFile(path)
        names: dict[str, int] = {}

        def index(channel: str) -> int:
            if channel not in names:
                names[channel] = self._bus(path, channel)
            return names[channel]

        if log.suffix == CANDUMP:
            counts: Counter[str] = Counter()
            reader = CandumpReader(path, index, counts, self.options.skip_damaged)
            for table in reader.tables():
                done[number] = reader.octets_read
                self.ignored["can_fd_frames"] += counts.pop("can_fd_frames", 0)
                self.rejected["damaged_lines"] += counts.pop("damaged_lines", 0)
                yield self._kept(table)
        else:
            for messages in _batches(log):
                yield self._kept(self._from_messages(log, messages, index))
            done[number] = path.stat().st_size

    def _from_store(self, path: Path) -> Iterator[FrameTable]:
        store = Store(path)
        renumbered = np.array([self._bus(path, name) for name in store.channels], np.uint8)
        for table in store.tables():
            table.bus[:] = renumbered[table.bus]
            yield self._kept(table)

    def _from_messages(
        self, log: LogFile, messages: "list[can.Message]", index: Callable[[str], int]
    ) -> FrameTable:
        classic = []
        for message in messages:
            if message.is_fd:
                self.ignored["can_fd_frames"] += 1
            else:
                classic.append(message)
        table = zeros(len(classic), ())
        for row, message in enumerate(classic):
            table.time_us[row] = _microseconds(message.timestamp, log)
            table.bus[row] = index(log.channel(message))
            table.identifier[row] = message.arbitration_id & 0x1FFF_FFFF
            table.extended[row] = message.is_extended_id
            if message.is_error_frame:
                table.kind[row] = FrameKind.ERROR
            elif message.is_remote_frame:
                table.kind[row] = FrameKind.REMOTE
                table.length[row] = min(message.dlc, MAX_OCTETS)
                continue
            data = bytes(message.data)[:MAX_OCTETS]
            if not message.is_error_frame and len(data) < min(message.dlc, MAX_OCTETS):
                raise InputError(
                    f"{log.path}: found {len(data)} octets in a frame of {log.channel(message)}, "
                    f"expected {message.dlc} as announced"
                )
            table.length[row] = len(data)
            table.data[row, : len(data)] = list(data)
        return table

    def _bus(self, path: Path, channel: str) -> int:
        """Return the number of a channel's bus; channels to ignore all share one number."""
        names = self.options.names
        self.met |= {channel, f"{path.name}:{channel}"}
        name = names.get(f"{path.name}:{channel}", names.get(channel, channel))
        if name == IGNORE:
            name = ""
        if name not in self.channels:
            if len(self.channels) == MOST_CHANNELS:
                raise InputError(f"{path}: has more than {MOST_CHANNELS} channels")
            self.channels.append(name)
        return self.channels.index(name)

    def _kept(self, table: FrameTable) -> FrameTable:
        """Return the rows of the channels that are not ignored."""
        if "" not in self.channels:
            return table
        ignored = table.bus == self.channels.index("")
        self.left_out["frames_of_ignored_channels"] += int(np.count_nonzero(ignored))
        return table.rows(~ignored)

    def _sorted(
        self, chunks: Iterator[FrameTable], folder: Path, number: int
    ) -> Iterator[FrameTable]:
        """Yield the rows by time, then place in the file: sorted runs on disk, then merged."""
        runs: list[Path] = []
        for waiting in gathered(chunks, ROWS_TO_SORT):
            self.backward += int(np.count_nonzero(np.diff(waiting.time_us) < 0))
            run = folder / f"{number}-{len(runs)}{SUFFIX}"
            with StoreWriter(run) as writer:
                writer.add(in_time_order(waiting))
            runs.append(run)
        yield from merged_by_time([Store(run).tables() for run in runs])

    def _check_bases(self, firsts: list[int]) -> None:
        """Refuse logs of two time bases: one since an epoch, one since its own start."""
        since_epoch = [first >= _EPOCH_S * SECOND for first in firsts]
        if any(since_epoch) and not all(since_epoch):
            told = ", ".join(
                f"{path.name} at {seconds(first)} s"
                for path, first in zip(self.paths, firsts, strict=True)
            )
            raise InputError(
                f"the logs have different time bases (they begin: {told}); --offset FILE=SECONDS "
                "moves one of them"
            )

    def _check_pauses(self, table: FrameTable) -> None:
        if not len(table):
            return
        before = table.time_us[0] if self.last_us is None else self.last_us
        steps = np.diff(table.time_us, prepend=before)
        longest = int(steps.argmax())
        if int(steps[longest]) > self.options.longest_gap_s * SECOND:
            raise InputError(
                f"{', '.join(path.name for path in self.paths)}: a pause of "
                f"{seconds(int(steps[longest]))} s before {seconds(int(table.time_us[longest]))} s;"
                " was the clock set while logging? --longest-gap-s allows longer ones"
            )

    def _count(self, table: FrameTable) -> None:
        if not len(table):
            return
        if self.first_us is None:
            self.first_us = int(table.time_us[0])
        self.last_us = int(table.time_us[-1])
        for bus, count in enumerate(np.bincount(table.bus)):
            if count:
                self.read[self.channels[bus]] += int(count)
        for kind, count in enumerate(np.bincount(table.kind)):
            if count:
                self.kinds[FrameKind(kind).name.lower() + "_frames"] += int(count)


def read_table(paths: Sequence[Path], options: ImportOptions) -> FrameTable:
    """Return one or several logs in memory, in the order of time; raises InputError."""
    importing = Importing(paths, options)
    tables = list(importing.tables())
    return named(joined(tables), importing.channels)


def named(table: FrameTable, channels: list[str]) -> FrameTable:
    """Return the table with its channels named."""
    return FrameTable(
        tuple(channels), table.time_us, table.bus, table.identifier, table.extended,
        table.kind, table.length, table.data,
    )  # fmt: skip


def seconds(microseconds: int) -> str:
    """Return a time in seconds with its six places."""
    sign = "-" if microseconds < 0 else ""
    whole, rest = divmod(abs(microseconds), SECOND)
    return f"{sign}{whole}.{rest:06d}"


def _microseconds(timestamp: float, log: LogFile) -> int:
    try:
        time = round(timestamp * SECOND)
    except (ValueError, OverflowError):
        raise InputError(f"{log.place}: found time {timestamp}, expected seconds") from None
    if not 0 <= time < 1 << 62:
        raise InputError(f"{log.place}: found time {timestamp} s, expected 0 or later")
    return time


def _batches(log: LogFile) -> "Iterator[list[can.Message]]":
    batch = []
    for message in log.messages():
        if log.tells_error:
            message.is_error_frame = True
        batch.append(message)
        if len(batch) == ROWS_AT_ONCE:
            yield batch
            batch = []
    yield batch
