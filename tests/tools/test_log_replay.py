"""`xlate log replay`: a log of any format through a bridge, and every way a log can be wrong.

The pairing `minimal` is supervised once its key switch (debounce 2 ms) is on; STATE has a deadline
of 5 ms, GAUGE leaves every 10 ms from tick 1 on and on change.
"""

import csv
import gzip
import json
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import can
import pytest
from click.testing import CliRunner, Result

from tools.cli.main import main
from tools.logs.decoding import Decoder, scale_of
from tools.logs.reading import Reading, ReadingOptions, parse_channels
from xlate_core.pairing import load
from xlate_core.protection import seal

ROOT = Path(__file__).resolve().parents[2]
MINIMAL = ROOT / "fixtures" / "pairings" / "minimal"
J1939 = ROOT / "fixtures" / "pairings" / "j1939_instruments"
ROWS = ROOT / "fixtures" / "logs" / "j1939_rows.log"
STATE = 0x120
KEY_ON = ("--input", "key_switch=active")
SPEED_4000 = bytes.fromhex("A00F3C000000")  # 4000 * 0.25 rpm, 60 - 40 degC, 0 Nm


def xlate(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def replay(log: Path, *arguments: str | Path) -> dict[str, Any]:
    result = xlate("log", "replay", MINIMAL, log, "--json", *arguments)
    assert result.exit_code == 0, result.output
    return dict(json.loads(result.stdout))


def refused(*arguments: str | Path) -> str:
    """The one message of a refused replay; nothing may be on standard output."""
    result = xlate("log", "replay", *arguments)
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    message = result.stderr.strip()
    assert len(message.splitlines()) == 1, message
    return message


def state_octets(counter: int) -> bytes:
    message = load(MINIMAL).spec.messages[0]
    return seal(message.counter, message.checksum, SPEED_4000, counter)


def line(microseconds: int, frame: str, channel: str = "engine") -> str:
    return f"(1700000000.{microseconds:06d}) {channel} {frame}\n"


def state_lines(count: int = 10, period_us: int = 2000) -> list[str]:
    return [line(i * period_us, f"120#{state_octets(i % 16).hex()}") for i in range(count)]


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Ten good STATE frames, one every 2 ms."""
    path = tmp_path / "in.log"
    path.write_text("".join(state_lines()), encoding="utf-8")
    return path


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# WHAT COMES OUT


def test_ticks_signals_and_loss_are_those_a_person_expects(log: Path, tmp_path: Path) -> None:
    signals, events = tmp_path / "signals.csv", tmp_path / "events.jsonl"
    facts = replay(log, *KEY_ON, "--tail-ms", "30", "--csv", signals, "--events", events)

    assert facts["frames_read"] == {"body": 0, "engine": 10}
    assert facts["accepted"] == {"engine": 10}
    assert facts["ticks"] == 18 + 1 + 30  # the last frame comes before tick 18
    assert facts["sent"]["body.GAUGE"] >= 5  # ticks 1, 11, 21, 31, 41 at least

    rows = rows_of(signals)
    assert list(rows[0]) == ["tick", "time_s", "bus", "message", "signal", "physical", "unit"]
    speeds = [row for row in rows if row["signal"] == "Speed"]
    assert [int(row["tick"]) for row in speeds] == list(range(0, 20, 2))
    assert {(row["bus"], row["message"], row["physical"], row["unit"]) for row in speeds} == {
        ("engine", "STATE", "1000", "rpm")
    }
    turns = {int(row["tick"]): row["physical"] for row in rows if row["signal"] == "Turns"}
    assert turns[11] == "1000"
    assert turns[41] == "0"

    told = [json.loads(text) for text in events.read_text(encoding="utf-8").splitlines()]
    lost = [event["tick"] for event in told if event["reason"] == "unit_lost"]
    assert lost == [18 + 5]


def test_a_frame_between_two_ticks_belongs_to_the_later_one(tmp_path: Path) -> None:
    log = tmp_path / "in.log"
    times = (0, 1, 1000, 1001, 3000)
    log.write_text(
        "".join(line(at, f"120#{state_octets(number).hex()}") for number, at in enumerate(times)),
        encoding="utf-8",
    )
    replay(log, *KEY_ON, "--csv", tmp_path / "out.csv")
    rows = rows_of(tmp_path / "out.csv")
    assert [row["tick"] for row in rows if row["signal"] == "Speed"] == ["0", "1", "1", "2", "3"]


def test_the_recorded_engine_shows_on_the_instruments(tmp_path: Path) -> None:
    """Rows 15, 17 and 21 of fixtures/logs/README.md, worked out by hand there."""
    signals = tmp_path / "signals.csv"
    result = xlate(
        "log", "replay", J1939, ROWS, "--input", "ignition_switch=active", "--csv", signals
    )
    assert result.exit_code == 0, result.output
    assert "body.DIAL_TURNS" in result.stdout
    turns = [
        (int(row["tick"]), int(row["physical"]))
        for row in rows_of(signals)
        if row["signal"] == "Turns"
    ]
    for row, expected in ((15, 223), (17, 231), (21, 2184)):
        arrived = (row - 1) * 100
        shown = [value for tick, value in turns if arrived + 50 <= tick < arrived + 100]
        assert shown
        assert set(shown) == {expected}


def test_a_wrong_frame_is_counted_and_its_signals_are_not_believed(tmp_path: Path) -> None:
    log = tmp_path / "in.log"
    lines = state_lines(4)
    lines[2] = lines[2].replace(f"{state_octets(2)[-1]:02x}\n", f"{state_octets(2)[-1] ^ 1:02x}\n")
    lines.append(line(6500, "7FF#00"))
    lines.append(line(6600, "220#000000000000", "body"))  # the bridge sends GAUGE itself
    lines.append(line(6700, "120#0000"))
    log.write_text("".join(lines), encoding="utf-8")
    facts = replay(log, *KEY_ON, "--csv", tmp_path / "out.csv")
    assert facts["rejected"] == {
        "checksum_wrong": 1,
        "frame_short": 1,
        "frame_unknown": 1,
        "second_sender": 1,
    }
    assert facts["accepted"] == {"engine": 3}
    received = [row for row in rows_of(tmp_path / "out.csv") if row["signal"] == "Speed"]
    assert [row["tick"] for row in received] == ["0", "2", "6"]


def test_what_is_no_frame_for_the_bridge_is_counted_by_kind(tmp_path: Path) -> None:
    log = tmp_path / "in.log"
    log.write_text(
        line(0, "20000080#0000000000000000")
        + line(0, "20000004#0004000000000000")  # an error class its reader takes for data
        + line(0, "120#R")
        + line(0, "120##1AABB")
        + line(0, "123#00", "can7")
        + line(0, f"120#{state_octets(0).hex()}")
        + line(1, "7FE#0011223344556677_A")
        + "\n"
        + line(2, "7FD# R"),
        encoding="utf-8",
    )
    facts = replay(log, "--channel", "can7=ignore")
    assert facts["ignored"] == {
        "error_frames": 2,
        "remote_frames": 1,
        "can_fd_frames": 1,
        "unmapped_channel": 1,
    }
    assert facts["frames_read"]["engine"] == 3


def test_a_switch_given_as_active_is_active_at_its_own_level(log: Path) -> None:
    assert "unit_lost" not in replay(log)["events"]  # the key is off: nothing is supervised
    assert replay(log, *KEY_ON)["events"]["unit_lost"] == 1


def test_inactive_means_the_other_level_for_a_switch_that_is_active_low() -> None:
    from tools.logs.replay import parse_inputs

    pairing = load(ROOT / "fixtures" / "pairings" / "farm_pickup")
    given = parse_inputs(pairing, ("ignition_switch=active", "fuel_sender=1234"), 13_800)
    by_name = dict(zip(pairing.level_inputs, given.levels, strict=True))
    assert by_name == {
        "accessory_switch": False,
        "ignition_switch": True,
        "starter_switch": True,
        "crash_switch": True,
        "pump_enable_wire": False,
    }
    assert given.counts == (1234,)
    assert given.supply_mv == 13_800


# FORMATS


def write_log(path: Path, named: bool) -> None:
    """STATE frames on channel 2 (or `engine`) and an unknown frame on channel 1 (or `body`)."""
    with can.Logger(path) as writer:
        for number in range(10):
            for bus, identifier, data in (
                (1, STATE, state_octets(number)),
                (0, 0x18FF1234, bytes(range(number))),
            ):
                writer.on_message_received(
                    can.Message(
                        timestamp=1_700_000_000 + number * 0.002,
                        arbitration_id=identifier,
                        is_extended_id=bus == 0,
                        data=data[:8],
                        channel=("body", "engine")[bus] if named else bus,
                    )
                )


@pytest.mark.parametrize(
    ("name", "channels"),
    [
        ("in.log", ()),
        ("in.log.gz", ()),
        ("in.asc", ("1=body", "2=engine")),
        ("in.asc.gz", ("1=body", "2=engine")),
        ("in.ASC", ("1=body", "2=engine")),
        ("in.blf", ("1=body", "2=engine")),
        ("in.trc", ("1=body", "2=engine")),
        ("in.csv", ("none=engine",)),
        ("in.db", ("none=engine",)),
    ],
)
def test_every_format_gives_the_same_replay(
    tmp_path: Path, name: str, channels: tuple[str, ...]
) -> None:
    plain = tmp_path / "plain.log"
    write_log(plain, named=True)
    expected = tmp_path / "expected.log"
    replay(plain, *KEY_ON, "--out", expected)

    write_log(tmp_path / name, named=".log" in name)
    out = tmp_path / "out.log"
    options = [part for channel in channels for part in ("--channel", channel)]
    facts = replay(tmp_path / name, *KEY_ON, *options, "--out", out)
    assert facts["accepted"] == {"engine": 10}
    assert facts["rejected"] == {"frame_unknown": 10}
    assert out.read_bytes() == expected.read_bytes()


@pytest.mark.parametrize("suffix", [".log", ".log.gz", ".asc", ".blf", ".trc", ".csv", ".db"])
def test_sent_frames_keep_tick_times_in_every_format(
    log: Path, tmp_path: Path, suffix: str
) -> None:
    def content(path: Path) -> list[tuple[int, int, bytes]]:
        messages = can.LogReader(path)
        start = messages.start_timestamp if isinstance(messages, can.BLFReader) else 0.0
        with messages:
            return [
                (round((m.timestamp - start) * 1000), m.arbitration_id, bytes(m.data))
                for m in messages
            ]

    log.write_text(line(0, "7FF#00") + line(900, "7FF#00"), encoding="utf-8")
    plain, other = tmp_path / "plain.log", tmp_path / f"other{suffix}"
    replay(log, *KEY_ON, "--out", plain)
    facts = replay(log, *KEY_ON, "--out", other)
    assert facts["written"] == [str(other)]
    frames = content(plain)
    assert frames[0][:2] == (1, 0x220)  # nothing known yet, so GAUGE leaves first at its offset
    assert content(other) == frames


def test_the_candump_log_names_the_buses(log: Path, tmp_path: Path) -> None:
    replay(log, "--out", tmp_path / "out.log")
    first = (tmp_path / "out.log").read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith("(0.000000) body 220#")


# ORDER


def test_sorted_frames_give_the_same_as_frames_in_order(log: Path, tmp_path: Path) -> None:
    mixed = tmp_path / "mixed.log"
    lines = state_lines()
    mixed.write_text("".join(lines[5:] + lines[:5]), encoding="utf-8")
    message = refused(MINIMAL, mixed)
    assert message.startswith(f"{mixed}:6: time runs backward")
    assert "--sort" in message
    replay(log, *KEY_ON, "--out", tmp_path / "a.log")
    replay(mixed, *KEY_ON, "--sort", "--out", tmp_path / "b.log")
    assert (tmp_path / "a.log").read_bytes() == (tmp_path / "b.log").read_bytes()


def test_frames_of_one_time_stay_in_the_order_of_the_file(tmp_path: Path) -> None:
    log = tmp_path / "in.log"
    identifiers = [0x500 - number for number in range(50)]
    log.write_text("".join(line(0, f"{i:03X}#") for i in identifiers), encoding="utf-8")
    reading = Reading(log, ReadingOptions(parse_channels(()), sort=True))
    assert [timed.frame.identifier for timed in reading.frames()] == identifiers


def test_a_log_is_read_as_it_is_needed_not_as_a_whole(tmp_path: Path) -> None:
    log = tmp_path / "in.log"
    log.write_text(line(0, "123#00") * 1000 + "no frame\n", encoding="utf-8")
    frames = Reading(log, ReadingOptions(parse_channels(()))).frames()
    assert next(frames).place == f"{log}:1"
    assert next(frames).place == f"{log}:2"


# WHAT IS REFUSED


def test_an_unmapped_channel_names_all_channels_and_the_option(tmp_path: Path) -> None:
    log = tmp_path / "in.log"
    log.write_text(
        line(0, "120#00", "can0") + line(1, "121#00", "can0") + line(2, "122#00", "can1"),
        encoding="utf-8",
    )
    message = refused(MINIMAL, log)
    assert "can0 (2 frames), can1 (1 frame)" in message
    assert "--channel can0=BUS --channel can1=BUS" in message
    assert "channel can1 belongs to no bus" in refused(MINIMAL, log, "--channel", "can0=engine")
    assert replay(log, "--channel", "can0=engine", "--channel", "can1=body")["frames_read"] == {
        "engine": 2,
        "body": 1,
    }


def test_a_channel_that_never_spoke_is_noted(log: Path) -> None:
    assert replay(log, "--channel", "can9=body")["notes"] == ["no frame came from channel can9"]


def damaged_gzip(path: Path) -> None:
    path.write_bytes(gzip.compress("".join(state_lines(500, 1000)).encode())[:-200])


def cut_binary(path: Path) -> None:
    with can.BLFWriter(path) as writer:
        for number in range(50):
            writer.on_message_received(
                can.Message(timestamp=number, arbitration_id=number, data=b"12", channel=0)
            )
    path.write_bytes(path.read_bytes()[:-40])


def foreign_binary(path: Path) -> None:
    path.write_bytes(bytes(range(256)) * 4)


def text(content: str) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        path.write_text(content, encoding="utf-8")

    return write


@pytest.mark.parametrize(
    ("name", "make", "said"),
    [
        ("missing.log", None, "cannot be read (no such file"),
        ("folder.log", Path.mkdir, "is a folder"),
        ("empty.log", Path.touch, "is empty"),
        ("blank.log", text("\n\n"), "has no CAN frame"),
        ("note.log", text(line(0, "120#00") + "see you\n"), "note.log:2: cannot be read"),
        ("half.log", text(line(0, "120#00") + "(1700000000.1) engine 120#0"), "half.log:2: "),
        ("picture.log", foreign_binary, "picture.log:1: cannot be read"),
        ("story.asc", text("once upon a time\n"), "has no CAN frame"),
        ("cut.asc", text("base hex\n0.1 1 120 Rx d 8 11 22\n"), "found 2 octets, expected 8"),
        ("story.trc", text("once upon a time\n"), "story.trc:1: "),
        ("story.csv", text("a\nonce upon a time\n"), "story.csv:2: "),
        ("story.db", text("once upon a time\n" * 100), "cannot be read as a .db log"),
        ("story.blf", foreign_binary, "does not begin with LOGG"),
        ("cut.blf", cut_binary, "is cut short: object 1 at octet 144"),
        ("tiny.blf", text("LOGG"), "is no .blf log"),
        ("cut.log.gz", damaged_gzip, "is cut short"),
        ("plain.log.gz", text(line(0, "120#00")), "cannot be read"),
        ("notes.pdf", text("x"), 'has extension ".pdf"; a log is one of .asc, .blf'),
        ("noextension", text("x"), "has no extension"),
        ("relative.asc", text("base hex timestamps relative\n0.1 1 120 Rx d 1 11\n"), "absolute"),
        ("errors.log", text(line(0, "20000080#00")), "no frame for the bridge (left out: 1 error"),
        ("jump.log", text(line(0, "120#00") + line(0, "120#00").replace("17", "18")), "clock set"),
    ],
)
def test_an_unusable_log_is_one_clear_message(
    tmp_path: Path, name: str, make: Callable[[Path], None] | None, said: str
) -> None:
    log = tmp_path / name
    if make is not None:
        make(log)
    out = tmp_path / "out" / "sent.log"
    out.parent.mkdir()
    channels = ("--channel", "1=engine", "--channel", "none=engine")
    message = refused(MINIMAL, log, *channels, "--out", out)
    assert name in message
    assert said in message
    assert list(out.parent.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--channel", "can0"), "expected NAME=BUS"),
        (("--channel", "can0=engin"), "nearest valid name: engine"),
        (("--input", "key_swich=active"), "nearest valid name: key_switch"),
        (("--input", "key_switch=activ"), "nearest valid name: active"),
        (("--input", "key_switch"), "expected NAME=VALUE"),
        (("--out", "sent.xyz"), 'has extension ".xyz"; sent frames are written as one of .asc'),
        (("--out", "sent"), "has no extension"),
        (("--out", "sent.blf.gz"), "cannot be written as a .blf log"),
    ],
)
def test_a_wrong_option_is_one_clear_message(
    log: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...], said: str
) -> None:
    monkeypatch.chdir(log.parent)
    assert said in refused(MINIMAL, log, *arguments)
    assert [path.name for path in log.parent.iterdir()] == [log.name]


def test_a_wrong_value_of_an_analogue_input_is_refused(log: Path) -> None:
    pickup = ROOT / "fixtures" / "pairings" / "farm_pickup"
    for value in ("-1", "65536", "full", "٣"):
        assert "expected counts 0..65535" in refused(pickup, log, "--input", f"fuel_sender={value}")


def test_a_missing_pairing_is_one_clear_message(log: Path, tmp_path: Path) -> None:
    assert "bridge.toml" in refused(tmp_path / "nowhere", log)


@pytest.mark.parametrize("option", ["--out", "--csv", "--events"])
def test_a_place_that_cannot_be_written_is_refused_before_the_replay(
    log: Path, tmp_path: Path, option: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "cannot be written in this folder" in refused(
        MINIMAL, log, option, tmp_path / "nowhere" / "x.log"
    )
    assert "cannot be written in this folder" in refused(MINIMAL, log, option, log / "x.log")
    folder = tmp_path / "folder.log"
    folder.mkdir()
    assert "is a folder" in refused(MINIMAL, log, option, folder)

    def forbidden(**_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(tempfile, "mkstemp", forbidden)
    assert "permission denied" in refused(MINIMAL, log, option, tmp_path / "x.log")


def test_the_log_itself_is_never_overwritten(log: Path, tmp_path: Path) -> None:
    before = log.read_bytes()
    assert "is the log that is read" in refused(MINIMAL, log, "--out", log)
    twice = tmp_path / "x.log"
    assert "named twice" in refused(MINIMAL, log, "--csv", twice, "--out", twice)
    assert log.read_bytes() == before


def test_a_replay_that_fails_late_leaves_old_files_and_nothing_else(tmp_path: Path) -> None:
    log, folder = tmp_path / "in.log", tmp_path / "out"
    log.write_text("".join(state_lines()) + "the end\n", encoding="utf-8")
    folder.mkdir()
    old = folder / "sent.log"
    old.write_text("precious", encoding="utf-8")
    files = ("--out", old, "--csv", folder / "s.csv", "--events", folder / "e.jsonl")
    assert "in.log:11: " in refused(MINIMAL, log, *KEY_ON, *files)
    assert [path.name for path in folder.iterdir()] == ["sent.log"]
    assert old.read_text(encoding="utf-8") == "precious"


@pytest.mark.parametrize("moment", ["on_message_received", "stop"])
@pytest.mark.parametrize(
    ("error", "reason"),
    [
        (OSError(28, "No space left on device"), "no space left on device"),
        (OSError("the writer has no room"), "the writer has no room"),
    ],
)
def test_a_full_disk_is_one_clear_message(
    log: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    moment: str,
    error: OSError,
    reason: str,
) -> None:
    def full(*_: object) -> None:
        raise error

    monkeypatch.setattr(can.CanutilsLogWriter, moment, full)
    folder = tmp_path / "out"
    folder.mkdir()
    message = refused(MINIMAL, log, "--out", folder / "sent.log")
    assert f"sent.log: cannot be written ({reason})" in message
    assert list(folder.iterdir()) == []


# EXACT VALUES


@pytest.mark.parametrize(
    ("raw", "shown"), [(0, "0"), (1, "0.25"), (2, "0.5"), (4000, "1000"), (65535, "16383.75")]
)
def test_physical_values_are_exact_decimals(raw: int, shown: str) -> None:
    signal = Decoder(load(MINIMAL)).message(load(MINIMAL).spec.messages[0].key)
    assert signal is not None
    speed = signal.signal("Speed")
    assert speed is not None
    assert scale_of(speed).show(raw) == shown


def test_only_the_multiplexer_path_in_the_frame_is_shown() -> None:
    from xlate_core.frames import Frame

    pairing = load(ROOT / "fixtures" / "pairings" / "farm_pickup")
    layout = pairing.message("body", "BED_AND_TANK")
    assert layout is not None
    selector = next(signal for signal in layout.signals if signal.is_selector)
    paths = {
        page: {s.name for s in layout.signals if s.selected_by == ((page, page),)}
        for page in (0, 1)
    }
    assert paths[0]
    assert paths[1]
    assert selector.spec.start == 0  # the page number is in the low bits of octet 0
    for page in (0, 1):
        frame = Frame(*layout.key, bytes([page]) + bytes(layout.length - 1))
        names = {decoded.signal for decoded in Decoder(pairing).signals(frame)}
        assert paths[page] <= names
        assert not paths[1 - page] & names
