"""Alive counters and checksums: sealed, checked, broken (rules 5 and 12)."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from xlate_core.frames import Bus, Frame
from xlate_core.protection import (
    CRC8_CATALOGUE,
    NO_REFERENCE,
    ChecksumKind,
    ChecksumSpec,
    CounterSpec,
    CrcSpec,
    FoldItem,
    FoldPlace,
    FoldSpec,
    checksum,
    checksum_good,
    counter_good,
    covered,
    next_counter,
    seal,
)
from xlate_core.protection.checksums import KIND_BITS, ONE_OCTET, general_sum
from xlate_core.signals import ByteOrder, SignalSpec, extract, insert, intel_word

J1850 = CRC8_CATALOGUE["CRC-8/SAE-J1850"]
LENGTH = 8


def octet(place: int) -> SignalSpec:
    return SignalSpec(f"Octet{place}", 8 * place, 8, ByteOrder.INTEL, False)


def checksum_spec(
    kind: ChecksumKind, own: int, first: int, last: int, *folds: FoldSpec
) -> ChecksumSpec:
    crc = J1850 if kind is ChecksumKind.CRC8 else None
    return ChecksumSpec(octet(own), kind, crc, first, last, folds)


def data_id(value: int, place: FoldPlace, octets: int = 2, low_first: bool = True) -> FoldSpec:
    return FoldSpec(FoldItem.DATA_ID, place, value, octets, low_first)


@st.composite
def folds(draw: st.DrawFn) -> FoldSpec:
    octets = draw(st.integers(1, 4))
    value = draw(st.integers(0, 256**octets - 1))
    fixed = [item for item in FoldItem if item is not FoldItem.DATA_ID_LIST]
    item, place = draw(st.sampled_from(fixed)), draw(st.sampled_from(FoldPlace))
    return FoldSpec(item, place, value, octets, draw(st.booleans()))


@st.composite
def checksum_specs(draw: st.DrawFn, kind: ChecksumKind | None = None) -> ChecksumSpec:
    first, last = sorted(draw(st.tuples(st.integers(0, 7), st.integers(0, 7))))
    own = draw(st.integers(0, 7))
    several = draw(st.lists(folds(), max_size=3))
    spec = checksum_spec(kind or draw(st.sampled_from(ONE_OCTET)), own, first, last, *several)
    if spec.crc is not None:
        spec = replace(spec, crc=draw(st.sampled_from(list(CRC8_CATALOGUE.values()))))
    return spec


PAYLOADS = st.binary(min_size=LENGTH, max_size=LENGTH)
COUNTER = CounterSpec(SignalSpec("Counter", 11, 4, ByteOrder.MOTOROLA, False), 15, 1)


@given(checksum_specs(), PAYLOADS, st.integers(0, 14))
def test_what_is_sealed_is_good(spec: ChecksumSpec, data: bytes, counter: int) -> None:
    if spec.checksum_octet == 1:
        counter_spec = None  # the counter lives in octet 1
    else:
        counter_spec = COUNTER
    sealed = seal(counter_spec, spec, data, counter)
    assert len(sealed) == LENGTH
    assert checksum_good(spec, sealed)
    if counter_spec is not None:
        assert extract(counter_spec.signal, sealed) == counter


@given(checksum_specs(), PAYLOADS, st.integers(0, 14))
def test_sealing_changes_counter_and_checksum_only(
    spec: ChecksumSpec, data: bytes, counter: int
) -> None:
    sealed = seal(COUNTER, spec, data, counter)
    own = {bit // 8 for bit in COUNTER.signal.bits} | {spec.checksum_octet}
    for place in set(range(LENGTH)) - own:
        assert sealed[place] == data[place]
    if spec.checksum_octet != 1:
        assert sealed[1] & 0xF0 == data[1] & 0xF0


def test_the_counter_goes_in_before_the_checksum() -> None:
    spec = checksum_spec(ChecksumKind.SUM8, own=7, first=0, last=7)
    sealed = seal(COUNTER, spec, bytes.fromhex("10 20 00 00 00 00 00 00"), 5)
    assert sealed.hex(" ") == "10 25 00 00 00 00 00 35"


def test_nothing_to_seal_leaves_the_payload() -> None:
    assert seal(None, None, b"\x01\x02", 9) == b"\x01\x02"
    assert seal(COUNTER, None, bytes(2), 9) == b"\x00\x09"


@given(checksum_specs(ChecksumKind.CRC8), PAYLOADS)
def test_a_crc_detects_every_single_flipped_bit(spec: ChecksumSpec, data: bytes) -> None:
    sealed = seal(None, spec, data, 0)
    for bit in range(8 * LENGTH):
        flipped = bytearray(sealed)
        flipped[bit // 8] ^= 1 << bit % 8
        place = bit // 8
        matters = place == spec.checksum_octet or spec.first_octet <= place <= spec.last_octet
        # What is not covered must not matter either.
        assert checksum_good(spec, bytes(flipped)) is not matters


@given(checksum_specs(ChecksumKind.CRC8), PAYLOADS)
def test_a_flipped_bit_of_a_folded_value_is_detected(spec: ChecksumSpec, data: bytes) -> None:
    sealed = seal(None, spec, data, 0)
    for number, fold in enumerate(spec.folds):
        for bit in range(8 * fold.octets):
            other = replace(fold, value=fold.value ^ 1 << bit)
            wrong = replace(spec, folds=(*spec.folds[:number], other, *spec.folds[number + 1 :]))
            assert not checksum_good(wrong, sealed)


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        # 0x11 + 0x22 + 0xF0 = 0x123; 0x11 ^ 0x22 ^ 0xF0 = 0xC3.
        (ChecksumKind.SUM8, 0x23),
        (ChecksumKind.XOR8, 0xC3),
    ],
)
def test_plain_sums_by_hand(kind: ChecksumKind, expected: int) -> None:
    spec = checksum_spec(kind, own=3, first=0, last=3)
    assert checksum(spec, bytes.fromhex("11 22 f0 99")) == expected


@pytest.mark.parametrize(
    ("own", "first", "last", "expected"),
    [
        (0, 0, 4, "b1 b2 b3 b4"),
        (2, 0, 4, "b0 b1 b3 b4"),
        (4, 0, 4, "b0 b1 b2 b3"),
        (0, 1, 4, "b1 b2 b3 b4"),
        (4, 1, 2, "b1 b2"),
        (1, 1, 1, ""),
    ],
)
def test_covered_octets_leave_the_checksum_out(
    own: int, first: int, last: int, expected: str
) -> None:
    spec = checksum_spec(ChecksumKind.CRC8, own, first, last)
    assert covered(spec, bytes.fromhex("b0 b1 b2 b3 b4")).hex(" ") == expected


@pytest.mark.parametrize(
    ("fold", "expected"),
    [
        (data_id(0x01A5, FoldPlace.BEFORE, low_first=True), "a5 01 10 20"),
        (data_id(0x01A5, FoldPlace.BEFORE, low_first=False), "01 a5 10 20"),
        (data_id(0x01A5, FoldPlace.AFTER, low_first=True), "10 20 a5 01"),
        (data_id(0x01A5, FoldPlace.AFTER, low_first=False), "10 20 01 a5"),
        (data_id(0xA5, FoldPlace.AFTER, octets=1), "10 20 a5"),
        (FoldSpec(FoldItem.IDENTIFIER, FoldPlace.BEFORE, 0x123, 2, False), "01 23 10 20"),
        (FoldSpec(FoldItem.IDENTIFIER, FoldPlace.AFTER, 0x18FEEE00, 4, True), "10 20 00 ee fe 18"),
    ],
)
def test_folded_items_stand_where_they_should(fold: FoldSpec, expected: str) -> None:
    spec = checksum_spec(ChecksumKind.SUM8, 2, 0, 2, fold)
    assert covered(spec, bytes.fromhex("10 20 ff")).hex(" ") == expected
    assert checksum(spec, bytes.fromhex("10 20 ff")) == sum(bytes.fromhex(expected)) % 256


def test_several_folds_keep_their_order() -> None:
    several = (
        data_id(0x1122, FoldPlace.BEFORE, low_first=False),
        data_id(0x33, FoldPlace.AFTER, octets=1),
        data_id(0x44, FoldPlace.BEFORE, octets=1),
        data_id(0x55, FoldPlace.AFTER, octets=1),
    )
    spec = checksum_spec(ChecksumKind.CRC8, 1, 0, 1, *several)
    assert covered(spec, bytes.fromhex("aa ff")).hex(" ") == "11 22 44 aa 33 55"


@pytest.mark.parametrize(
    ("fold", "data"),
    [
        # The check message "123456789" of the catalogue (0x4B), its ends taken as data IDs.
        (data_id(0x3132, FoldPlace.BEFORE, low_first=False), b"3456789"),
        (data_id(0x3231, FoldPlace.BEFORE, low_first=True), b"3456789"),
        (data_id(0x3839, FoldPlace.AFTER, low_first=False), b"1234567"),
        (data_id(0x3938, FoldPlace.AFTER, low_first=True), b"1234567"),
    ],
)
def test_a_folded_crc_is_that_of_the_whole_message(fold: FoldSpec, data: bytes) -> None:
    spec = checksum_spec(ChecksumKind.CRC8, 7, 0, 7, fold)
    assert checksum(spec, data + b"\x00") == 0x4B
    assert checksum_good(spec, data + b"\x4b")


@pytest.mark.parametrize("modulo", range(2, 18))
def test_a_counter_may_step_on_by_one_to_its_largest_step(modulo: int) -> None:
    for max_step in range(1, modulo):
        spec = CounterSpec(SignalSpec("Counter", 0, 8, ByteOrder.INTEL, False), modulo, max_step)
        for reference in range(modulo):
            allowed = set()
            follower = reference
            for _ in range(max_step):
                follower = next_counter(spec, follower)
                allowed.add(follower)
            good = {c for c in range(256) if counter_good(spec, reference, c)}
            assert good == allowed, (modulo, max_step, reference)


def test_a_counter_without_reference_goes_unchecked() -> None:
    assert all(counter_good(COUNTER, NO_REFERENCE, counter) for counter in range(16))


def test_a_repetition_and_a_value_beyond_the_modulo_are_wrong() -> None:
    assert not counter_good(COUNTER, 3, 3)
    assert not counter_good(COUNTER, 14, 15)  # 4 bit wide, but it counts 0..14
    assert counter_good(COUNTER, 14, 0)


@pytest.mark.parametrize("modulo", [2, 3, 15, 16, 256])
def test_a_sent_counter_goes_round_its_modulo(modulo: int) -> None:
    spec = replace(COUNTER, modulo=modulo)
    counter, seen = 0, []
    for _ in range(2 * modulo):
        seen.append(counter)
        counter = next_counter(spec, counter)
    assert seen == [*range(modulo), *range(modulo)]


def test_the_received_counter_is_the_signal() -> None:
    frame = Frame(Bus.ENGINE, False, 0x1, b"\x00\xa7")
    assert extract(COUNTER.signal, frame.data) == 7


# CHECKSUMS OF EVERY SIZE AND PLACE


@st.composite
def general_specs(draw: st.DrawFn) -> ChecksumSpec:
    """Draw a checksum of any kind anywhere in the payload, a data-ID list at times."""
    kind = draw(st.sampled_from(ChecksumKind))
    crc = None
    if kind is ChecksumKind.CRC8:
        crc = draw(st.sampled_from(list(CRC8_CATALOGUE.values())))
    elif kind is ChecksumKind.CRC:
        width = draw(st.integers(4, 32))
        most = (1 << width) - 1
        crc = CrcSpec(
            "drawn",
            width,
            draw(st.integers(0, most)) | 1,
            draw(st.integers(0, most)),
            draw(st.booleans()),
            draw(st.integers(0, most)),
        )
    width = crc.width if crc is not None else KIND_BITS.get(kind, 8)
    order = draw(st.sampled_from(ByteOrder))
    places = [
        place
        for place in (SignalSpec("Check", start, width, order, False) for start in range(64))
        if place.fits and not place.bits & COUNTER.signal.bits
    ]
    first, last = sorted(draw(st.tuples(st.integers(0, 7), st.integers(0, 7))))
    several = draw(st.lists(folds(), max_size=2))
    if draw(st.booleans()):
        values = tuple(draw(st.lists(st.integers(0, 255), min_size=15, max_size=16)))
        place = draw(st.sampled_from(FoldPlace))
        several.append(FoldSpec(FoldItem.DATA_ID_LIST, place, 0, 1, False, values))
    signal = draw(st.sampled_from(places))
    return ChecksumSpec(signal, kind, crc, first, last, tuple(several), COUNTER.signal)


@given(general_specs(), PAYLOADS, st.integers(0, 14))
def test_every_checksum_seals_what_it_accepts(
    spec: ChecksumSpec, data: bytes, counter: int
) -> None:
    sealed = seal(COUNTER, spec, data, counter)
    assert checksum_good(spec, sealed)
    assert 0 <= checksum(spec, sealed) < 1 << spec.width
    own = extract(spec.signal, sealed)
    spoiled = insert(spec.signal, sealed, own ^ 1)
    assert not checksum_good(spec, spoiled)
    others = ~sum(1 << bit for bit in spec.signal.bits | COUNTER.signal.bits)
    assert intel_word(sealed) & others == intel_word(data) & others


@pytest.mark.parametrize(
    ("kind", "octets", "result"),
    [
        (ChecksumKind.XOR4, "12 34", 0x1 ^ 0x2 ^ 0x3 ^ 0x4),
        (ChecksumKind.SUM4, "ff f1", (4 * 15 + 1 - 15) & 0xF),
        (ChecksumKind.SUM8_INVERTED, "01 02", 0xFC),
        (ChecksumKind.SUM8_CARRY, "ff 02", 0x02),  # 0x101: the carry comes back in
        (ChecksumKind.SUM8_CARRY, "ff ff ff", 0xFF),
        (ChecksumKind.SUM16, "ff ff ff", 0x02FD),
        (ChecksumKind.SUM16_INVERTED, "ff ff ff", 0xFD02),
        (ChecksumKind.SUM16_CARRY, "ff ff ff", 0x02FD),
    ],
)
def test_sums_by_hand(kind: ChecksumKind, octets: str, result: int) -> None:
    assert general_sum(kind, bytes.fromhex(octets)) == result


def test_a_shared_octet_counts_with_the_checksum_s_bits_as_zero() -> None:
    """The checksum is the high nibble of octet 0, the low nibble 0x5 is covered."""
    signal = SignalSpec("Check", 4, 4, ByteOrder.INTEL, False)
    spec = ChecksumSpec(signal, ChecksumKind.SUM4, None, 0, 1, ())
    assert covered(spec, bytes.fromhex("a5 21")) == bytes.fromhex("05 21")
    assert seal(None, spec, bytes.fromhex("a5 21"), 0) == bytes.fromhex("85 21")


def test_a_checksum_across_two_octets_leaves_out_what_is_wholly_its_own() -> None:
    """Twelve bits, Motorola: octet 0 and the high nibble of octet 1, whose low nibble counts."""
    signal = SignalSpec("Check", 7, 12, ByteOrder.MOTOROLA, False)
    crc = CrcSpec("CRC-12", 12, 0x80F, 0, False, 0)
    spec = ChecksumSpec(signal, ChecksumKind.CRC, crc, 0, 3, ())
    assert covered(spec, bytes.fromhex("ab cd ef 01")) == bytes.fromhex("0d ef 01")


def test_the_list_is_chosen_by_the_counter_of_the_frame() -> None:
    values = tuple(range(0x10, 0x20))
    fold = FoldSpec(FoldItem.DATA_ID_LIST, FoldPlace.AFTER, 0, 1, False, values)
    spec = ChecksumSpec(octet(0), ChecksumKind.CRC8, J1850, 1, 7, (fold,), COUNTER.signal)
    for counter in range(15):
        sealed = seal(COUNTER, spec, bytes(8), counter)
        assert covered(spec, sealed)[-1] == 0x10 + counter
        assert checksum_good(spec, sealed)
