"""`xlate log find-input`, `sleep` and `redact` on logs whose truth is known."""

import json
from pathlib import Path

import numpy as np
import pytest

from tests.tools.logs import refused, xlate
from tools.logs.exporting import write_log
from tools.logs.finding_inputs import find
from tools.logs.importing import ImportOptions, read_table
from tools.logs.redacting import redact
from tools.logs.synthetic.driving import drive
from tools.logs.synthetic.networks import random_network
from tools.logs.synthetic.render import render
from tools.logs.table import FrameTable, in_time_order, joined, zeros

PRESSES_S = (7.3, 15.1, 22.8, 31.4, 44.0)
IDENTIFICATION = b"XYZ7T3FARM9P12345"  # invented


def drive_with_button(seed: int, presses: tuple[float, ...] = PRESSES_S) -> FrameTable:
    """A drive beside a message 5A0 whose bit 19 is set 120 ms after each press, for 400 ms."""
    series = drive(60, seed)
    table = render(random_network(seed, series, 20), series, 60, seed)
    button = zeros(600, table.channels)
    button.time_us[:] = np.arange(600) * 100_000 + 7
    button.identifier[:] = 0x5A0
    button.length[:] = 8
    for press in presses:
        down = (button.time_us >= press * 1e6 + 120_000) & (button.time_us < press * 1e6 + 520_000)
        button.data[down, 2] |= 1 << 3
    return in_time_order(joined([table, button]))


@pytest.mark.parametrize("seed", range(3))
def test_five_presses_find_the_bit_and_the_odds(tmp_path: Path, seed: int) -> None:
    table = drive_with_button(seed)
    write_log(tmp_path / "a.log", table.channels, [table])
    start = int(table.time_us[0]) / 1e6
    noted = [part for press in PRESSES_S for part in ("--at", f"{press - start:.2f}")]
    result = xlate("log", "find-input", tmp_path / "a.log", "--json", *noted)
    assert result.exit_code == 0, result.output
    first = json.loads(result.stdout)["candidates"][0]
    assert (first["identifier"], first["bit"], first["rises"]) == ("5A0", 19, True)
    assert (first["moments"], first["of"], first["elsewhere"]) == (5, 5, 0)
    assert first["chance"] < 1e-3
    shown = xlate("log", "find-input", tmp_path / "a.log", *noted)
    assert "body 5A0 bit 19 (octet 2, bit 3): rises at 5 of 5 moments" in shown.output


def test_moments_without_a_button_find_nothing_sure() -> None:
    sure = 0
    for seed in range(10):
        table = drive_with_button(seed, presses=())
        moments = np.random.default_rng(seed).uniform(1e6, 59e6, 5).astype(np.int64)
        sure += any(each.chance < 0.01 for each in find(table, np.sort(moments)))
    assert sure <= 1


def test_a_pin_column_gives_the_moments(tmp_path: Path) -> None:
    table = drive_with_button(4)
    write_log(tmp_path / "a.log", table.channels, [table])
    start = int(table.time_us[0]) / 1e6
    rows = ["time,pin"]
    for tick in range(6000):
        time = tick / 100
        high = any(press <= time + start < press + 0.5 for press in PRESSES_S)
        rows.append(f"{time:.2f},{5 if high else 0}")
    (tmp_path / "pin.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    pin = f"{tmp_path / 'pin.csv'}:pin"
    result = xlate("log", "find-input", tmp_path / "a.log", "--json", "--pin", pin)
    assert json.loads(result.stdout)["candidates"][0]["bit"] == 19
    wrong = refused("log", "find-input", tmp_path / "a.log", "--pin", f"{tmp_path / 'pin.csv'}:x")
    assert "has no column x" in wrong


def test_moments_that_say_nothing_are_refused(tmp_path: Path) -> None:
    log = tmp_path / "a.log"
    log.write_text("(1.000000) body 123#01\n(9.000000) body 123#00\n", encoding="utf-8")
    assert "say when" in refused("log", "find-input", log)
    assert "at least 2" in refused("log", "find-input", log, "--at", "1")
    assert "outside the log" in refused("log", "find-input", log, "--at", "1", "--at", "99")


def test_sleep_tells_the_last_the_first_and_the_waker(tmp_path: Path) -> None:
    lines = []
    for bus, identifier, begin, end in (
        ("body", "100", 0, 10), ("engine", "200", 0, 8), ("engine", "210", 0, 7.5),
        ("body", "110", 20.0, 30), ("body", "100", 20.2, 30), ("engine", "200", 20.5, 25),
    ):  # fmt: skip
        times = np.arange(begin, end, 0.1)
        lines += [(float(time), f"({time:.6f}) {bus} {identifier}#00") for time in times]
    log = tmp_path / "a.log"
    log.write_text("\n".join(line for _, line in sorted(lines)) + "\n", encoding="utf-8")
    read = json.loads(xlate("log", "sleep", log, "--json").stdout)
    engine, body, last = read["silences"]
    assert (engine["bus"], engine["begins_us"], engine["ends_us"]) == (
        "engine", 7_900_000, 20_500_000,
    )  # fmt: skip
    assert engine["last"] == ["200", "210"]
    assert (engine["woken_by"], engine["delay_us"]) == ("body", 500_000)
    assert body["first"][:2] == ["110", "100"]
    assert body["woken_by"] == ""
    assert (last["bus"], last["ends_us"]) == ("engine", None)
    shown = xlate("log", "sleep", log)
    assert "body spoke 500.000 ms before: it may have woken it" in shown.output


def transfer(identifier: int, start_us: int, text: bytes) -> FrameTable:
    """A segmented transfer of diagnostic answer 49 02 01 and a text."""
    whole = b"\x49\x02\x01" + text
    frames = [bytes((0x10 | len(whole) >> 8, len(whole) & 0xFF)) + whole[:6]]
    rest = whole[6:]
    for number in range((len(rest) + 6) // 7):
        part = rest[7 * number : 7 * number + 7]
        frames.append(bytes((0x21 + number,)) + part.ljust(7, b"\x55"))
    table = zeros(len(frames), ("body",))
    table.time_us[:] = start_us + np.arange(len(frames)) * 10_000
    table.identifier[:] = identifier
    table.length[:] = 8
    for row, frame in enumerate(frames):
        table.data[row] = list(frame)
    return table


def pages(text: bytes) -> FrameTable:
    """A message that sends a text in three numbered pages, over and over."""
    table = zeros(30, ("body",))
    table.time_us[:] = np.arange(30) * 100_000
    table.identifier[:] = 0x420
    table.length[:] = 8
    for row in range(30):
        part = text.rjust(21, b"\0")[7 * (row % 3) : 7 * (row % 3) + 7]
        table.data[row] = [row % 3, *part]
    return table


def test_identification_goes_wherever_it_is_sent() -> None:
    table = in_time_order(joined([transfer(0x7E8, 500_000, IDENTIFICATION), pages(IDENTIFICATION)]))
    before = table.data.copy()
    redaction = redact(table, {})
    assert np.array_equal(table.data, before)
    octets = redaction.table.data.tobytes()
    for size in (4, 3):
        for start in range(len(IDENTIFICATION) - size + 1):
            assert IDENTIFICATION[start : start + size] not in octets
    assert {(bus, identifier) for _, bus, identifier in redaction.removed} == {
        ("body", "7E8"), ("body", "420"),
    }  # fmt: skip
    changed = np.count_nonzero(redaction.table.data != before)
    assert changed == 17 + 17 * 10


def test_listed_numbers_go_and_everything_else_stays(tmp_path: Path) -> None:
    table = drive_with_button(6)
    table.data[500, 1:6] = [0xDE, 0xAD, 0xBE, 0xEF, 0x42]
    table.length[500] = 8
    write_log(tmp_path / "a.log", table.channels, [table])
    result = xlate(
        "log", "redact", tmp_path / "a.log", tmp_path / "b.log", "--json", "--zero-time",
        "--serial", "0xDEADBEEF42", "--serial", "NOTTHERE99",
    )  # fmt: skip
    read = json.loads(result.stdout)
    assert [(each["what"], each["frames"]) for each in read["removed"]] == [("serial number 1", 1)]
    assert read["not_found"] == ["serial number 2"]
    after = read_table([tmp_path / "b.log"], ImportOptions())
    assert after.data[500, 1:6].tolist() == [0, 0, 0, 0, 0]
    same = np.arange(len(table)) != 500
    assert np.array_equal(after.data[same], table.data[same])
    assert int(after.time_us[0]) == 0
    assert "DEADBEEF" not in result.stdout


def test_secrets_that_prove_nothing_are_refused(tmp_path: Path) -> None:
    log = tmp_path / "a.log"
    log.write_text("(1.000000) body 123#01\n", encoding="utf-8")
    for serial, told in (("0x01", "at least 3"), ("0xXYZ", "hexadecimal"), ("é", "plain letters")):
        assert told in refused("log", "redact", log, tmp_path / "b.log", "--serial", serial)
    assert "its own name" in refused("log", "redact", log, log)
    assert not (tmp_path / "b.log").exists()
