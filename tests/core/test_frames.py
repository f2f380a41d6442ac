"""Frames: compared by value, told apart by bus, format and identifier."""

import pytest

from xlate_core.frames import (
    BUS_NAMES,
    MAX_EXTENDED_IDENTIFIER,
    MAX_STANDARD_IDENTIFIER,
    Bus,
    Frame,
    FrameKey,
    data_length,
    received,
    show_identifier,
)


def test_frames_are_compared_by_value() -> None:
    frame = Frame(Bus.BODY, False, 0x123, b"\x01\x02")
    assert frame == Frame(0, False, 0x123, bytes((1, 2)))
    assert frame != frame._replace(data=b"\x01\x03")
    assert frame != frame._replace(data=b"\x01\x02\x00")
    assert len({frame, Frame(0, False, 0x123, b"\x01\x02")}) == 1


def test_a_key_tells_bus_format_and_identifier_apart() -> None:
    frame = Frame(Bus.ENGINE, False, 0x100, b"\x01")
    assert frame.key == FrameKey(1, False, 0x100)
    assert frame.key == frame._replace(data=b"\x02").key
    assert frame.key != frame._replace(extended=True).key
    assert frame.key != frame._replace(bus=Bus.BODY).key
    assert frame.key != frame._replace(identifier=0x101).key


def test_length_codes_beyond_eight_mean_eight() -> None:
    assert [data_length(code) for code in range(16)] == [0, 1, 2, 3, 4, 5, 6, 7] + [8] * 8


@pytest.mark.parametrize(
    ("code", "data"), [(0, ""), (3, "010203"), (8, "0102030405060708"), (15, "0102030405060708")]
)
def test_received_takes_the_length_code_from_the_buffer(code: int, data: str) -> None:
    frame = received(Bus.BODY, True, 0x18FEEE00, code, bytes(range(1, 9)))
    assert frame == Frame(Bus.BODY, True, 0x18FEEE00, bytes.fromhex(data))


@pytest.mark.parametrize(
    ("identifier", "extended", "shown"),
    [
        (0x10, False, "010"),
        (MAX_STANDARD_IDENTIFIER, False, "7FF"),
        (0x10, True, "00000010"),
        (MAX_EXTENDED_IDENTIFIER, True, "1FFFFFFF"),
    ],
)
def test_identifiers_are_shown_in_the_width_of_their_format(
    identifier: int, extended: bool, shown: str
) -> None:
    assert show_identifier(identifier, extended) == shown


def test_the_buses_have_their_names_in_order() -> None:
    assert [BUS_NAMES[bus] for bus in Bus] == [bus.name.lower() for bus in Bus]
