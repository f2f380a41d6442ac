"""PROTOCOL.md says what is declared: every kind, every record, every field, the example."""

import re
from pathlib import Path

from hil.link import layouts
from hil.link.framing import Decoder, Packet, encode
from hil.link.layouts import Kind, Op, Refusal

PAGE = (Path(layouts.__file__).parents[1] / "PROTOCOL.md").read_text(encoding="utf-8")
ROWS = [
    [cell.strip() for cell in line.strip().strip("|").split("|")]
    for line in PAGE.splitlines()
    if line.startswith("|")
]


def rows_of(section: str) -> dict[str, list[str]]:
    text = PAGE.split(section)[1].split("\n## ")[0]
    lines = [line for line in text.splitlines() if re.match(r"\| [0-9A-F]{2}", line)]
    return {
        line.split("|")[1].strip(): [cell.strip() for cell in line.split("|")[2:]] for line in lines
    }


def test_every_kind_is_told() -> None:
    told = {
        number: cells[0].replace(" ", "_").upper() for number, cells in rows_of("## 2.").items()
    }
    assert told == {f"{kind.value:02X}": kind.name for kind in Kind}


def test_every_record_is_told() -> None:
    told = {
        number: cells[0].replace(" ", "_").upper() for number, cells in rows_of("## 4.").items()
    }
    ranges = {"40..7F": "FRAME", "80..BF": "SHORT_TICKS"}
    assert told == {f"{op.value:02X}": op.name for op in Op} | ranges
    assert (layouts.FRAME, layouts.SHORT_TICKS, layouts.MOST_SHORT_TICKS) == (0x40, 0x80, 0x40)


def test_every_record_field_is_told_with_its_octets() -> None:
    rows = rows_of("## 4.")
    for op, layout in layouts.RECORDS.items():
        text = rows[f"{op.value:02X}"][1]
        for name, part, _ in layouts.fields(layout):
            width = part.sizeof()
            assert f"`{name}`" in text, (op, name)
            assert re.search(rf"`{name}`[^(]*\({width}( each)?\)", text), (op, name, width)


def test_every_field_of_identity_and_status_is_told() -> None:
    section = PAGE.split("## 3.")[1].split("\n## ")[0]
    for layout in (layouts.IDENTITY, layouts.STATUS):
        for name, _, _ in layouts.fields(layout):
            assert f"`{name.removeprefix('firmware_')}`" in section, name


def test_every_refusal_is_told() -> None:
    sentence = PAGE.split("Reasons of a refusal")[1].split("\n\n")[0]
    for reason in Refusal:
        words = reason.name.lower().replace("record_cut", "record_cut_short").replace("_", " ")
        assert f"{reason.value} {words}" in sentence.replace("\n", " ")


def test_the_example_is_what_the_code_sends() -> None:
    lines = re.findall(r"^    ((?:[0-9a-f]{2} )+00)$", PAGE, re.MULTILINE)
    octets = bytes.fromhex("".join(lines))
    hello = Packet(Kind.HELLO, 0, 0x1234, 0, 0, layouts.HELLO.build({"link": layouts.LINK_VERSION}))
    work = Packet(Kind.WORK, 0, 0x1234, 0, 0, bytes((0x81, Op.DIGEST)))
    assert octets == b"\0" + encode(hello) + encode(work)
    assert Decoder().feed(octets) == [hello, work]
