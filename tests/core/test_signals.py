"""Raw bits out of a payload and back, judged bit by bit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.layouts import PLACES, read_bits, signals, walk
from xlate_core.signals import (
    ByteOrder,
    SignalSpec,
    extract,
    from_word,
    insert,
    intel_word,
    into_word,
    motorola_word,
    sawtooth,
)

PAYLOADS = st.binary(min_size=8, max_size=8)


@given(signals(), PAYLOADS)
def test_extract_reads_bit_by_bit(spec: SignalSpec, data: bytes) -> None:
    assert extract(spec, data) == read_bits(data, spec)


@given(signals(), PAYLOADS, st.data())
def test_what_was_inserted_is_extracted(spec: SignalSpec, data: bytes, draw: st.DataObject) -> None:
    raw = draw.draw(st.integers(spec.minimum, spec.maximum))
    assert extract(spec, insert(spec, data, raw)) == raw


@given(signals(), PAYLOADS)
def test_inserting_what_is_there_changes_nothing(spec: SignalSpec, data: bytes) -> None:
    assert insert(spec, data, extract(spec, data)) == data


@given(signals(), PAYLOADS, st.integers(-(1 << 64), 1 << 64))
def test_insert_touches_its_own_bits_only(spec: SignalSpec, data: bytes, raw: int) -> None:
    changed = insert(spec, data, raw)
    differing = {bit for bit in range(64) if (data[bit // 8] ^ changed[bit // 8]) >> bit % 8 & 1}
    assert differing <= spec.bits


@given(signals(), signals(), PAYLOADS)
def test_bits_are_disjoint_exactly_when_neighbours_stay_untouched(
    one: SignalSpec, other: SignalSpec, data: bytes
) -> None:
    cleared, filled = insert(one, data, 0), insert(one, data, -1)
    untouched = extract(other, cleared) == extract(other, data) == extract(other, filled)
    assert untouched is one.bits.isdisjoint(other.bits)


def test_bits_last_octet_and_fits_of_every_place() -> None:
    fitting = set(PLACES)
    for byte_order in ByteOrder:
        for start in range(64):
            for length in range(1, 65):
                spec = SignalSpec("signal", start, length, byte_order, False)
                assert spec.fits is ((start, length, byte_order) in fitting)
                if spec.fits:
                    bits = walk(start, length, byte_order)
                    assert bits is not None
                    assert spec.bits == set(bits)
                    assert spec.last_octet == max(bits) // 8


@pytest.mark.parametrize(("start", "length"), [(0, 0), (-1, 4), (64, 1), (60, 5)])
def test_a_place_outside_does_not_fit(start: int, length: int) -> None:
    assert not SignalSpec("signal", start, length, ByteOrder.INTEL, False).fits


@given(signals(), st.data())
def test_octets_behind_the_last_one_do_not_matter(spec: SignalSpec, draw: st.DataObject) -> None:
    data = draw.draw(PAYLOADS)
    needed = data[: spec.last_octet + 1]
    assert extract(spec, needed) == extract(spec, data)
    raw = draw.draw(st.integers(spec.minimum, spec.maximum))
    assert insert(spec, needed, raw) == insert(spec, data, raw)[: spec.last_octet + 1]


@pytest.mark.parametrize(
    ("length", "signed", "minimum", "maximum"),
    [
        (1, False, 0, 1),
        (1, True, -1, 0),
        (8, False, 0, 255),
        (8, True, -128, 127),
        (64, False, 0, 2**64 - 1),
        (64, True, -(2**63), 2**63 - 1),
    ],
)
def test_raw_range(length: int, signed: bool, minimum: int, maximum: int) -> None:
    spec = SignalSpec("signal", 0, length, ByteOrder.INTEL, signed)
    assert (spec.minimum, spec.maximum) == (minimum, maximum)


@pytest.mark.parametrize(
    ("start", "length", "byte_order", "signed", "data", "raw"),
    [
        # 0x80 is octet 0 bit 7, 0x03 octet 1 bits 0 and 1: Intel start 7 reads 111 binary.
        (7, 3, ByteOrder.INTEL, False, "8003", 7),
        # Motorola start 1: octet 0 bits 1, 0, then octet 1 bits 7, 6: 10 01 binary.
        (1, 4, ByteOrder.MOTOROLA, False, "0240", 9),
        (1, 4, ByteOrder.MOTOROLA, True, "0240", -7),
        (0, 16, ByteOrder.INTEL, False, "3412", 0x1234),
        (7, 16, ByteOrder.MOTOROLA, False, "1234", 0x1234),
        (0, 16, ByteOrder.INTEL, True, "feff", -2),
        (7, 16, ByteOrder.MOTOROLA, True, "fffe", -2),
    ],
)
def test_examples_by_hand(
    start: int, length: int, byte_order: ByteOrder, signed: bool, data: str, raw: int
) -> None:
    spec = SignalSpec("signal", start, length, byte_order, signed)
    payload = bytes.fromhex(data)
    assert extract(spec, payload) == raw
    assert insert(spec, bytes(len(payload)), raw) == payload


def test_sawtooth_is_its_own_inverse_and_starts_at_bit_seven() -> None:
    assert [sawtooth(place) for place in range(10)] == [7, 6, 5, 4, 3, 2, 1, 0, 15, 14]
    assert [sawtooth(sawtooth(bit)) for bit in range(64)] == list(range(64))


@given(signals(), st.binary(max_size=8), st.integers(-(1 << 64), 1 << 64))
def test_the_words_of_a_short_payload_are_filled_up_with_zero_octets(
    spec: SignalSpec, data: bytes, raw: int
) -> None:
    full = data + bytes(8 - len(data))
    assert intel_word(data) == intel_word(full)
    assert motorola_word(data) == motorola_word(full)
    word = intel_word(full) if spec.byte_order is ByteOrder.INTEL else motorola_word(full)
    assert from_word(spec, word) == extract(spec, full)
    octets = into_word(spec, word, raw).to_bytes(
        8, "little" if spec.byte_order is ByteOrder.INTEL else "big"
    )
    assert octets == insert(spec, full, raw)
