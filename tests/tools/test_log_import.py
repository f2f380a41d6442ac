"""`xlate log import|export`: every format into one store, and every way a log can be wrong."""

import gzip
import json
import random
import tracemalloc
from pathlib import Path
from typing import Any

import can
import numpy as np
import pytest

from tests.tools.logs import random_table, refused, xlate
from tools.logs.exporting import write_log
from tools.logs.importing import ImportOptions, read_table
from tools.logs.store import Store, StoreWriter


def imported(*arguments: str | Path) -> dict[str, Any]:
    result = xlate("log", "import", *arguments, "--json")
    assert result.exit_code == 0, result.output
    return dict(json.loads(result.stdout))


def text(path: Path, *lines: str) -> Path:
    path.write_text("".join(line + "\n" for line in lines), encoding="utf-8")
    return path


LINE = "(1700000000.000100) body 123#0102"


def candump_lines(seed: int, count: int) -> list[str]:
    """Lines of every form candump writes, usual and unusual ones mixed."""
    chance = random.Random(seed)
    lines = []
    time = chance.choice([0, 7, 1_700_000_000]) * 1_000_000
    for _ in range(count):
        time += chance.randrange(2000)
        channel = chance.choice(["can0", "can1", "vcan10", "body"])
        identifier = chance.choice(["123", "7ff", "18FEF100", "00000001"])
        data = chance.randbytes(chance.randrange(9)).hex()
        rest = chance.choice(
            [f"#{data}", f"#{data.upper()}", f"#{data}", "#R", "#R5", f"##1{data}"]
        )
        tail = chance.choice(["", "", "", " R", " T"])
        lines.append(
            f"({time // 1_000_000}.{time % 1_000_000:06d}) {channel} {identifier}{rest}{tail}"
        )
    return lines


@pytest.mark.parametrize("seed", range(6))
def test_text_is_read_as_python_can_reads_it(tmp_path: Path, seed: int) -> None:
    path = text(tmp_path / "a.log", *candump_lines(seed, 700))
    table = read_table([path], ImportOptions())
    messages = [message for message in can.LogReader(path) if not message.is_fd]
    assert len(table) == len(messages)
    for row, message in enumerate(messages):
        assert int(table.time_us[row]) == round(message.timestamp * 1_000_000)
        assert table.channels[int(table.bus[row])] == message.channel
        assert int(table.identifier[row]) == message.arbitration_id
        assert bool(table.extended[row]) == message.is_extended_id
        assert int(table.kind[row]) == (1 if message.is_remote_frame else 0)
        assert int(table.length[row]) == message.dlc
        data = b"" if message.is_remote_frame else bytes(message.data)
        assert table.data[row].tobytes() == data.ljust(8, b"\0")


@pytest.mark.parametrize("seed", range(3))
def test_unusual_lines_between_usual_ones_change_nothing(tmp_path: Path, seed: int) -> None:
    usual = [line for line in candump_lines(seed, 900) if "R" not in line and "##" not in line]
    one = read_table([text(tmp_path / "a.log", *usual)], ImportOptions())
    spaced = [f"  {line}" if number % 7 == 0 else line for number, line in enumerate(usual)]
    spaced.insert(5, "")
    other = read_table([text(tmp_path / "b.log", *spaced)], ImportOptions())
    renumbered = np.array([one.channels.index(name) for name in other.channels], np.uint8)
    assert renumbered[other.bus].tolist() == one.bus.tolist()
    for column in ("time_us", "identifier", "extended", "kind", "length", "data"):
        assert getattr(other, column).tolist() == getattr(one, column).tolist()


def test_windows_line_ends_and_a_missing_last_one(tmp_path: Path) -> None:
    path = tmp_path / "a.log"
    path.write_bytes(b"(1.000001) a 123#01\r\n(1.000002) a 123#02\r\n(1.000003) a 123#03")
    assert read_table([path], ImportOptions()).data[:, 0].tolist() == [1, 2, 3]


@pytest.mark.parametrize("suffix", [".log", ".asc", ".blf", ".trc", ".csv", ".db", ".log.gz"])
def test_every_format_holds_the_same_frames(tmp_path: Path, suffix: str) -> None:
    table = random_table(300, 21, kinds=False)
    table.time_us[:] -= table.time_us[0] - 1_000_000
    path = tmp_path / f"a{suffix}"
    write_log(path, table.channels, [table])
    facts = imported(path, "--out", tmp_path / "a.xlog")
    assert facts["kinds"] == {"data_frames": 300}
    again = Store(tmp_path / "a.xlog").read()
    assert again.identifier.tolist() == table.identifier.tolist()
    assert again.data.tolist() == table.data.tolist()
    assert again.length.tolist() == table.length.tolist()


def test_mf4_is_read_where_its_reader_is_installed(tmp_path: Path) -> None:
    pytest.importorskip("asammdf", reason="pip install xlate-bridge[mf4]")
    table = random_table(200, 24, kinds=False)
    table.length[table.length == 0] = 1
    write_log(tmp_path / "a.mf4", table.channels, [table])
    facts = imported(tmp_path / "a.mf4", "--out", tmp_path / "a.xlog")
    assert facts["frames"] == 200
    assert Store(tmp_path / "a.xlog").read().identifier.tolist() == table.identifier.tolist()


@pytest.mark.slow
@pytest.mark.long(14)
def test_memory_does_not_grow_with_the_log(tmp_path: Path) -> None:
    peaks = []
    for rows in (150_000, 600_000):
        table = random_table(rows, 25, kinds=False)
        write_log(tmp_path / "a.log", table.channels, [table])
        del table
        tracemalloc.start()
        imported(tmp_path / "a.log", "--out", tmp_path / "a.xlog", "--sort")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < 2.2 * peaks[0]  # a sorted run holds about a million rows


def test_error_and_remote_frames_are_kept_and_fd_frames_counted(tmp_path: Path) -> None:
    path = text(
        tmp_path / "a.log",
        "(1.000000) body 123#01",
        "(1.000100) body 20000088#0000000000000000",
        "(1.000200) body 124#R2",
        "(1.000300) body 125##1001122",
    )
    facts = imported(path, "--out", tmp_path / "a.xlog")
    assert facts["kinds"] == {"data_frames": 1, "remote_frames": 1, "error_frames": 1}
    assert facts["ignored"] == {"can_fd_frames": 1}
    xlate("log", "export", tmp_path / "a.xlog", tmp_path / "b.log")
    lines = path.read_text(encoding="utf-8").splitlines()
    assert (tmp_path / "b.log").read_text(encoding="utf-8").splitlines() == lines[:3]


def test_logs_are_merged_by_time_each_in_its_own_order(tmp_path: Path) -> None:
    table = random_table(20_000, 22)
    body, engine = table.rows(table.bus == 0), table.rows(table.bus == 1)
    write_log(tmp_path / "body.log", table.channels, [body])
    write_log(tmp_path / "engine.log", table.channels, [engine])
    facts = imported(tmp_path / "body.log", tmp_path / "engine.log", "--out", tmp_path / "a.xlog")
    assert facts["frames"] == 20_000
    merged = Store(tmp_path / "a.xlog").read()
    assert bool((merged.time_us[1:] >= merged.time_us[:-1]).all())
    for bus, part in enumerate((body, engine)):
        mine = merged.rows(merged.bus == bus)
        assert mine.data.tolist() == part.data.tolist()


def test_channels_are_named_per_file_and_ignored(tmp_path: Path) -> None:
    text(tmp_path / "a.log", "(1.000000) can0 123#01", "(1.1) can1 124#01")
    text(tmp_path / "b.log", "(1.050000) can0 223#02")
    facts = imported(
        tmp_path / "a.log", tmp_path / "b.log", "--out", tmp_path / "a.xlog",
        "--channel", "a.log:can0=body", "--channel", "b.log:can0=engine",
        "--channel", "can1=ignore",
    )  # fmt: skip
    assert facts["channels"] == {"body": 1, "engine": 1}
    assert facts["ignored"] == {"frames_of_ignored_channels": 1}


def test_time_that_runs_backward_is_refused_unless_sorted(tmp_path: Path) -> None:
    table = random_table(30_000, 23)
    shuffled = table.rows(np.arange(len(table)))
    shuffled.time_us[:] = table.time_us[::-1]
    write_log(tmp_path / "a.log", table.channels, [shuffled])
    message = refused("log", "import", tmp_path / "a.log", "--out", tmp_path / "a.xlog")
    assert "time runs backward" in message
    assert "--sort" in message
    assert not (tmp_path / "a.xlog").exists()
    facts = imported(tmp_path / "a.log", "--out", tmp_path / "a.xlog", "--sort")
    assert facts["frames_moved_by_sorting"] > 0
    times = Store(tmp_path / "a.xlog").read().time_us
    assert times.tolist() == table.time_us.tolist()


def test_different_time_bases_are_refused_with_the_way_out(tmp_path: Path) -> None:
    text(tmp_path / "a.log", LINE)
    text(tmp_path / "b.log", "(0.000500) engine 124#00")
    files = (tmp_path / "a.log", tmp_path / "b.log")
    message = refused("log", "import", *files, "--out", tmp_path / "a.xlog")
    assert "different time bases" in message
    assert "b.log at 0.000500 s" in message
    facts = imported(*files, "--out", tmp_path / "a.xlog", "--offset", "b.log=1700000000")
    assert facts["last_us"] - facts["first_us"] == 400


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "is empty"),
        (b"(1.0) body 125##100\n", "no CAN frame in it (only 1 can fd frames)"),
        (b"(1.0) body 123#01\n(2.0) body 123#0\n", 'a.log:2: found "(2.0) body 123#0"'),
        (b"(1.000000) body 123#01\nnonsense\n", 'a.log:2: found "nonsense"'),
        (b"(1.000000) body 123#01\n(5000.000000) body 123#01\n", "a pause of 4999.000000 s"),
    ],
)
def test_a_doubtful_log_is_refused(tmp_path: Path, content: bytes, told: str) -> None:
    path = tmp_path / "a.log"
    path.write_bytes(content)
    assert told in refused("log", "import", path, "--out", tmp_path / "a.xlog")
    assert [each.name for each in tmp_path.iterdir()] == ["a.log"]


def test_damaged_lines_are_counted_when_asked(tmp_path: Path) -> None:
    path = text(tmp_path / "a.log", LINE, "(17000", LINE)
    facts = imported(path, "--out", tmp_path / "a.xlog", "--skip-damaged")
    assert facts["rejected"] == {"damaged_lines": 1}
    assert facts["frames"] == 2


@pytest.mark.parametrize("suffix", [".blf", ".log.gz"])
def test_a_binary_log_cut_short_is_refused(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"a{suffix}"
    write_log(
        path if suffix == ".blf" else tmp_path / "b.log",
        ("body", "engine"),
        [random_table(3000, 3)],
    )
    if suffix == ".log.gz":
        path.write_bytes(gzip.compress((tmp_path / "b.log").read_bytes()))
        (tmp_path / "b.log").unlink()
    path.write_bytes(path.read_bytes()[:-40])
    assert "cut short" in refused("log", "import", path, "--out", tmp_path / "a.xlog")
    assert [each.name for each in tmp_path.iterdir()] == [path.name]


def test_wrong_names_are_said_in_one_line(tmp_path: Path) -> None:
    path = text(tmp_path / "a.log", LINE)
    target = tmp_path / "a.xlog"
    assert "*.xlog" in refused("log", "import", path, "--out", tmp_path / "a.zip")
    assert "NAME=BUS" in refused("log", "import", path, "--out", target, "--channel", "can0")
    assert "FILE=SECONDS" in refused("log", "import", path, "--out", target, "--offset", "a=b")
    assert "no such file" in refused("log", "import", tmp_path / "b.log", "--out", target)
    other = text(tmp_path / "b.pdf", LINE)
    assert "extension" in refused("log", "import", other, "--out", target)
    away = tmp_path / "nowhere" / "a.xlog"
    assert "does not exist" in refused("log", "import", path, "--out", away)
    with StoreWriter(target, ("body",)) as store:
        store.add(read_table([path], ImportOptions()))
    assert "body" in refused("log", "export", target, tmp_path / "c.log", "--bus", "engine")


def test_a_channel_named_in_vain_is_told_and_a_strange_log_is_refused(tmp_path: Path) -> None:
    path = text(tmp_path / "a.log", LINE)
    target = tmp_path / "a.xlog"
    vain = ("--channel", "bodi=engine", "--channel", "b.log:body=engine")
    answer = xlate("log", "import", path, "--out", target, *vain)
    assert answer.exit_code == 0
    assert answer.stderr.splitlines() == [
        "note: no frame came from channel bodi",
        "note: no frame came from channel b.log:body",
    ]
    assert xlate("log", "sleep", path, *vain[:2]).stderr.startswith("note: no frame came from")
    assert (
        xlate("log", "import", path, "--out", target, "--channel", "a.log:body=engine").stderr == ""
    )
    told = refused("log", "import", path, "--out", target, "--offset", "c.log=1")
    assert told == "--offset c.log: expected one of the logs, a.log"


def test_octets_of_no_text_are_shown_as_their_codes(tmp_path: Path) -> None:
    path = tmp_path / "a.log"
    path.write_bytes(b"\x00\x1b[31mred\n")
    assert r'a.log:1: found "\x00\x1b[31mred", expected' in refused(
        "log", "import", path, "--out", tmp_path / "a.xlog"
    )


@pytest.mark.parametrize(
    "part", [("--from-s", "9"), ("--to-s", "-1"), ("--from-s", "3", "--to-s", "2")]
)
def test_a_part_without_a_frame_is_refused(tmp_path: Path, part: tuple[str, ...]) -> None:
    store = tmp_path / "a.xlog"
    imported(text(tmp_path / "a.log", *[f"({n}.5) body 123#01" for n in range(4)]), "--out", store)
    told = refused("log", "export", store, tmp_path / "b.log", *part)
    assert told == f"{store}: found no frame in this part, expected one of 3.0 s"
    assert not (tmp_path / "b.log").exists()


def test_export_takes_the_asked_time_only(tmp_path: Path) -> None:
    lines = [f"({second}.000000) body 123#{second:02X}" for second in range(10)]
    path = text(tmp_path / "a.log", *lines)
    imported(path, "--out", tmp_path / "a.xlog")
    part = tmp_path / "b.log"
    assert xlate(
        "log", "export", tmp_path / "a.xlog", part, "--from-s", "2", "--to-s", "4.5"
    ).exit_code == 0  # fmt: skip
    assert part.read_text(encoding="utf-8").splitlines() == lines[2:5]
