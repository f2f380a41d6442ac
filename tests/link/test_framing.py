"""Framing: every packet comes back as it was, whatever the line does to the pieces."""

import zlib
from binascii import crc_hqx

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hil.link import layouts
from hil.link.framing import OVERHEAD, Decoder, Packet, crc16, decode, encode, line_octets

NUMBER = st.integers(0, 0xFFFF)
OCTET = st.integers(0, 0xFF)
PACKET = st.builds(Packet, OCTET, OCTET, NUMBER, NUMBER, NUMBER, st.binary(max_size=600))
LONG = st.sampled_from([b"\0" * 700, b"\1" * 700, b"\1" * 253 + b"\0", b"\xff" * 254, b""])


@given(PACKET)
def test_a_packet_comes_back_whole(packet: Packet) -> None:
    framed = encode(packet)
    assert framed[-1] == 0
    assert 0 not in framed[:-1]
    assert len(framed) <= line_octets(len(packet.payload))
    assert decode(framed[:-1]) == packet


@given(LONG, NUMBER)
def test_long_runs_come_back_whole(payload: bytes, number: int) -> None:
    packet = Packet(0x10, 0, number, number, 0, payload)
    assert decode(encode(packet)[:-1]) == packet


@given(st.lists(PACKET, max_size=4), st.data())
def test_pieces_of_any_size_give_the_same_packets(
    packets: list[Packet], data: st.DataObject
) -> None:
    line = b"\0" + b"".join(map(encode, packets))
    decoder = Decoder()
    found: list[Packet] = []
    while line:
        cut = data.draw(st.integers(1, len(line)))
        found += decoder.feed(line[:cut])
        line = line[cut:]
    assert found == packets
    assert decoder.damaged == 0


@given(st.binary(max_size=300))
def test_garbage_is_counted_and_the_next_packet_is_found(garbage: bytes) -> None:
    packet = Packet(0x90, 1, 7, 3, 4, b"abc")
    decoder = Decoder()
    found = decoder.feed(garbage + b"\0" + encode(packet))
    assert found[-1] == packet
    assert decoder.octets == len(garbage) + 1 + len(encode(packet))


@pytest.mark.parametrize("place", range(0, 24, 3))
@pytest.mark.parametrize("bit", range(8))
def test_a_changed_bit_is_noticed(place: int, bit: int) -> None:
    packet = Packet(0x10, 0, 0x1234, 5, 6, bytes(range(1, 16)))
    framed = bytearray(encode(packet)[:-1])
    framed[place % len(framed)] ^= 1 << bit
    decoder = Decoder()
    assert packet not in decoder.feed(bytes(framed) + b"\0")


def test_endless_octets_without_a_zero_are_dropped() -> None:
    decoder = Decoder(longest=100)
    for _ in range(50):
        assert decoder.feed(b"\1" * 10) == []
    assert decoder.damaged >= 4


def test_the_check_is_crc_16_ibm_3740() -> None:
    # Check value from the catalogue of parametrised CRC algorithms: CRC-16/IBM-3740 of "123456789".
    assert crc16(b"123456789") == 0x29B1
    assert crc16(b"anything") == crc_hqx(b"anything", 0xFFFF)  # the standard library's own


def test_the_length_alone_does_not_save_a_wrong_packet() -> None:
    assert decode(b"\1" * (OVERHEAD - 2)) is None
    assert decode(b"") is None


def test_the_firmware_header_is_the_declared_one() -> None:
    from hil.firmware.programs import LINK

    stored = (LINK / "xb_packets.h").read_text(encoding="utf-8")
    assert stored == layouts.c_header(), "run `xlate firmware link`"


def test_the_stream_check_is_crc_32_iso_hdlc() -> None:
    # Check value from the catalogue of parametrised CRC algorithms.
    assert zlib.crc32(b"123456789") == 0xCBF43926


@pytest.mark.parametrize("name", [*layouts.PACKETS])
def test_every_layout_has_a_fixed_length_and_places(name: str) -> None:
    layout = layouts.PACKETS[name]
    end = 0
    for _, part, place in layouts.fields(layout):
        assert place == end
        end = place + part.sizeof()
    assert end == layout.sizeof()
