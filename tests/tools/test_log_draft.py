"""`xlate log draft`: a pairing that loads, says what it knows, and leaves nothing half-made."""

from pathlib import Path

import numpy as np
import pytest

from tests.tools.logs import refused, xlate
from tools.logs.bits import Field
from tools.logs.draft_checksum import checksum_entry
from tools.logs.exporting import write_log
from tools.logs.importing import ImportOptions, read_table
from tools.logs.inspection.findings import Guess, What
from tools.logs.synthetic.driving import drive
from tools.logs.synthetic.networks import random_network
from tools.logs.synthetic.render import render
from tools.logs.synthetic.truth import TrueMessage
from xlate_core.pairing import Pairing, load
from xlate_core.protection import checksum_good


def invented(path: Path, seed: int) -> tuple[TrueMessage, ...]:
    series = drive(30, seed)
    network = random_network(seed, series, 16)
    table = render(network, series, 30, seed)
    write_log(path, table.channels, [table])
    return network.messages


@pytest.mark.parametrize("seed", [42, 43, 44, 46])
def test_a_draft_passes_the_check_and_holds_what_was_sent(tmp_path: Path, seed: int) -> None:
    messages = invented(tmp_path / "a.log", seed)
    sent = [message for message in messages if message.key.bus == 0][:3]
    wishes = [part for m in sent for part in ("--send", f"body:{m.key.show()}")]
    folder = tmp_path / "draft"
    result = xlate("log", "draft", tmp_path / "a.log", "--out", folder, *wishes)
    assert result.exit_code == 0, result.output
    assert xlate("pairing", "check", folder).exit_code == 0, xlate(
        "pairing", "check", folder
    ).output
    pairing = load(folder)
    for message in messages:
        bus = ("body", "engine")[message.key.bus]
        drafted = pairing.message(bus, f"{bus.upper()}_{message.key.show()}")
        assert drafted is not None
        assert drafted.length == message.length
    text = (folder / "bridge.toml").read_text(encoding="utf-8")
    for message in sent:
        assert f"[transmit.body.BODY_{message.key.show()}]" in text
    for line in text.splitlines():
        assert not line.startswith("#") or len(line) <= 100
    _check_protection(pairing, tmp_path / "a.log")


def _check_protection(pairing: Pairing, log: Path) -> None:
    """The reference accepts the checksums of the very frames the draft was made from."""
    table = read_table([log], ImportOptions())
    judged = 0
    for spec in pairing.spec.messages:
        if spec.checksum is None:
            continue
        bus = table.channels.index(("body", "engine")[spec.key.bus])
        key = (table.bus == bus) & (table.identifier == spec.key.identifier)
        for row in np.flatnonzero(key)[:50]:
            data = table.data[row, : table.length[row]].tobytes()
            assert checksum_good(spec.checksum, data), spec.name
            judged += 1
    entries = sum(spec.checksum is not None for spec in pairing.spec.messages)
    assert judged >= 10 * entries


def guess(family: str, place: Field, **facts: object) -> Guess:
    whole = {"family": family, "octets": [0, 1, 2, 3, 4, 5, 6], **facts}
    return Guess(What.CHECKSUM, "", place, 1.0, "", whole)


@pytest.mark.parametrize(
    ("found", "entry"),
    [
        (
            guess("xor8", Field(56, 8), fold="none"),
            '{ signal = "Check", kind = "xor8", first_octet = 0, last_octet = 6 }',
        ),
        (
            guess("CRC-8/AUTOSAR", Field(56, 8), fold="data_id after", data_id=0x5B),
            (
                '{ signal = "Check", kind = "crc8", parameters = "CRC-8/AUTOSAR", first_octet = 0, '
                'last_octet = 6, fold = [{ item = "data_id", place = "after", value = 0x5B, '
                "octets = 1 }] }"
            ),
        ),
        (
            guess("CRC-16/ARC", Field(48, 16), fold="none"),
            (
                '{ signal = "Check", kind = "crc", parameters = { width = 16, poly = '
                "0x8005, init = 0x0, "
                "reflected = true, xorout = 0x0 }, first_octet = 0, last_octet = 6 }"
            ),
        ),
        (
            guess("sum8 inverted", Field(56, 8), fold="constant", constant=0xF0),
            (
                '{ signal = "Check", kind = "sum8_inverted", first_octet = 0, last_octet = '
                "6, fold = "
                '[{ item = "data_id", place = "before", value = 0x0F, octets = 1 }] }'
            ),
        ),
        (
            guess(
                "CRC-8/AUTOSAR",
                Field(0, 8),
                fold="data_id list after",
                data_ids=[1, 255],
                counters=[0, 1],
            ),
            (
                '{ signal = "Check", kind = "crc8", parameters = "CRC-8/AUTOSAR", first_octet = 0, '
                'last_octet = 6, fold = [{ item = "data_id_list", place = "after", values = '
                "[0x01, 0xFF] }] }"
            ),
        ),
        (guess("sum4 inverted", Field(60, 4), fold="none"), ""),
        (guess("sum8 with carry", Field(56, 8), fold="constant", constant=3), ""),
    ],
)
def test_checksums_are_written_as_the_pairing_takes_them(found: Guess, entry: str) -> None:
    assert checksum_entry(found) == entry


def test_wrong_wishes_are_refused_and_leave_no_folder(tmp_path: Path) -> None:
    log = tmp_path / "a.log"
    log.write_text("(1.000000) can0 123#01\n(1.010000) can0 123#02\n", encoding="utf-8")
    folder = tmp_path / "draft"
    assert "--channel can0=body" in refused("log", "draft", log, "--out", folder)
    named = ("--channel", "can0=body", "--out", folder)
    assert "no such message" in refused("log", "draft", log, *named, "--send", "body:124")
    assert "BUS:IDENTIFIER" in refused("log", "draft", log, *named, "--send", "124")
    assert not folder.exists()
    folder.mkdir()
    assert "exists already" in refused("log", "draft", log, *named)


def test_a_log_of_one_bus_makes_a_draft_that_loads(tmp_path: Path) -> None:
    series = drive(20, 46)
    table = render(random_network(46, series, 10), series, 20, 46)
    write_log(tmp_path / "a.log", table.channels, [table.rows(table.bus == 0)])
    result = xlate("log", "draft", tmp_path / "a.log", "--out", tmp_path / "draft")
    assert result.exit_code == 0, result.output
    checked = xlate("pairing", "check", tmp_path / "draft")
    assert checked.exit_code == 0, checked.output
    assert "no frame of the engine bus" in (tmp_path / "draft" / "engine.dbc").read_text("utf-8")


def test_error_frames_alone_say_nothing(tmp_path: Path) -> None:
    log = tmp_path / "a.log"
    log.write_text("(1.000000) body 20000088#0000000000000000\n" * 2, encoding="utf-8")
    assert "no data frame" in refused("log", "draft", log, "--out", tmp_path / "draft")
    assert "neither has a data frame" in refused("log", "compare", log, log)
    assert not (tmp_path / "draft").exists()
    shown = xlate("log", "inspect", log)
    assert "2 error frames" in shown.output
