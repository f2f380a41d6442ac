"""Raw bits in and out against bitstruct.

Source: bitstruct (PyPI, MIT), called as an independent oracle. It packs fields one behind the
other, most significant bit first. That is the Motorola order as it stands; an Intel payload becomes
such a row of fields when its octets are turned round.
"""

import random

import bitstruct
import pytest

from tests.layouts import PLACES, random_layout, random_raw
from xlate_core.signals import ByteOrder, SignalSpec, extract, insert


def distance(spec: SignalSpec, octets: int) -> int:
    """Bits before the signal's most significant bit in the row of fields."""
    if spec.byte_order is ByteOrder.INTEL:
        return 8 * octets - spec.start - spec.length
    return 8 * (spec.start // 8) + 7 - spec.start % 8


def row_of_fields(data: bytes, byte_order: ByteOrder) -> bytes:
    return data[::-1] if byte_order is ByteOrder.INTEL else data


def field_format(spec: SignalSpec) -> str:
    return f"{'s' if spec.signed else 'u'}{spec.length}"


@pytest.mark.parametrize("byte_order", ByteOrder)
@pytest.mark.parametrize("signed", [False, True])
def test_every_place_reads_alike(byte_order: ByteOrder, signed: bool) -> None:
    rng = random.Random(f"{byte_order} {signed}")
    for start, length, order in PLACES:
        if order is not byte_order:
            continue
        spec = SignalSpec("signal", start, length, order, signed)
        data = rng.randbytes(8)
        row = row_of_fields(data, order)
        (expected,) = bitstruct.unpack_from(field_format(spec), row, distance(spec, 8))
        assert extract(spec, data) == expected, (spec, data.hex())


@pytest.mark.parametrize("byte_order", ByteOrder)
def test_random_layouts_read_and_write_alike(byte_order: ByteOrder) -> None:
    rng = random.Random(f"layouts {byte_order}")
    for _ in range(1500):
        octets = rng.randint(1, 8)
        layout = random_layout(rng, octets, byte_order)
        background = rng.randbytes(octets)
        row = bytearray(row_of_fields(background, byte_order))
        data = background
        for spec in layout:
            raw = random_raw(rng, spec)
            # Into what is already there: the neighbours and the unused bits stay as they were.
            bitstruct.pack_into(
                field_format(spec), row, distance(spec, octets), raw, fill_padding=False
            )
            data = insert(spec, data, raw)
            assert data == row_of_fields(bytes(row), byte_order), (spec, raw, background.hex())
            assert extract(spec, data) == raw
