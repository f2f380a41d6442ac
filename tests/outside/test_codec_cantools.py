"""Raw bits in and out against cantools, and codec vectors of its published example databases.

Source: cantools (PyPI, MIT), called as an independent oracle on layouts drawn here, written as DBC
text so that the start-bit convention of the DBC format is part of what is compared; the vectors are
messages of the DBC files in the cantools 45.1.0 source distribution with the octets cantools gives.
"""

import random

import cantools.database
import pytest

from tests.layouts import random_layout, random_raw
from xlate_core.signals import ByteOrder, SignalSpec, extract, insert

MESSAGES = 1200


def dbc_line(spec: SignalSpec) -> str:
    """The signal as the DBC format writes it: `@1` is Intel, `@0` Motorola; `+` unsigned."""
    order = 1 if spec.byte_order is ByteOrder.INTEL else 0
    sign = "-" if spec.signed else "+"
    return f' SG_ {spec.name} : {spec.start}|{spec.length}@{order}{sign} (1,0) [0|0] "" Any'


@pytest.fixture(scope="module")
def layouts() -> list[tuple[int, list[SignalSpec], cantools.database.Message]]:
    """(octets, signals, the same message as cantools reads it from DBC text) of many messages."""
    rng = random.Random("layouts against cantools")
    drawn = []
    text = ['VERSION ""', "NS_ :", "BS_:", "BU_: Any"]
    for number in range(MESSAGES):
        octets = rng.randint(1, 8)
        layout = random_layout(rng, octets)
        drawn.append((octets, layout))
        text += [f"BO_ {number} M{number}: {octets} Any", *map(dbc_line, layout), ""]
    database = cantools.database.load_string("\n".join(text), "dbc")  # strict: refuses overlaps
    return [
        (octets, layout, database.get_message_by_name(f"M{number}"))
        for number, (octets, layout) in enumerate(drawn)
    ]


def test_extract_equals_the_raw_decode(layouts: list) -> None:
    rng = random.Random("payloads")
    compared = 0
    for octets, layout, message in layouts:
        for _ in range(3):
            data = rng.randbytes(octets)
            decoded = message.decode(data, decode_choices=False, scaling=False)
            for spec in layout:
                assert extract(spec, data) == decoded[spec.name], (spec, data.hex())
                compared += 1
    assert compared > 9000


def test_insert_equals_the_raw_encode(layouts: list) -> None:
    rng = random.Random("values")
    for octets, layout, message in layouts:
        for _ in range(3):
            values = {spec.name: random_raw(rng, spec) for spec in layout}
            data = bytes(octets)
            for spec in rng.sample(layout, len(layout)):
                data = insert(spec, data, values[spec.name])
            assert data == message.encode(values, scaling=False), (layout, values)


def test_last_octet_tells_which_frames_are_long_enough(layouts: list) -> None:
    # cantools decodes a truncated frame to its complete signals only.
    rng = random.Random("truncated")
    for octets, layout, message in layouts[:400]:
        data = rng.randbytes(rng.randrange(octets))
        decoded = message.decode(data, decode_choices=False, scaling=False, allow_truncated=True)
        assert {spec.name for spec in layout if spec.last_octet < len(data)} == set(decoded)


# Raw values; where the database scales, the raw value was derived by hand from the published
# physical one: Temperature 250.55 at (0.01,250) is raw 55, 229.53 is raw -2047, 250.1 is raw 10;
# AverageRadius 3.2 at (0.1,0) is raw 32.
VECTORS = [
    ("motohawk.dbc ExampleMessage", "7|1@0+ 6|6@0+ 0|12@0-", [1, 32, 55], "c006e00000000000"),
    ("motohawk.dbc ExampleMessage", "7|1@0+ 6|6@0+ 0|12@0-", [0, 0, -2047], "0100200000000000"),
    ("motohawk.dbc ExampleMessage", "7|1@0+ 6|6@0+ 0|12@0-", [1, 32, 10], "c001400000000000"),
    ("foobar.dbc Fum", "0|12@1- 12|12@1-", [9, 5], "0950000000"),
    (
        "padding_bit_order.dbc MSG0",
        "7|1@0+ 6|15@0+ 39|1@0+ 38|15@0+",
        [1, 713, 0, 713],
        "82c9000002c90000",
    ),
    (
        "padding_bit_order.dbc MSG1",
        "0|1@1+ 1|15@1+ 32|1@1+ 33|15@1+",
        [1, 713, 0, 713],
        "9305000092050000",
    ),
    ("padding_bit_order.dbc MSG3", "7|64@0+", [81985529216486895], "0123456789abcdef"),
    ("padding_bit_order.dbc MSG4", "0|64@1+", [81985529216486895], "efcdab8967452301"),
    (
        "multiplex.dbc Message1, selector 8",
        "2|6@1+ 18|1@1+ 19|1@1+ 23|1@1+ 24|1@1+",
        [8, 1, 1, 1, 1],
        "20008c0100000000",
    ),
    (
        "multiplex.dbc Message1, selector 24",
        "2|6@1+ " + " ".join(f"{bit}|1@1+" for bit in (18, 19, 23, 24, 26, 28, 29, 32, 33, 38, 39)),
        [24] + [1] * 11,
        "60008c35c3000000",
    ),
    ("signed.dbc Message32", "0|32@1-", [-1], "ffffffff00000000"),
    ("signed.dbc Message33big", "7|33@0-", [-1], "ffffffff80000000"),
    ("signed.dbc Message33", "0|33@1-", [-4294967296], "0000000001000000"),
    ("signed.dbc Message63big_1", "6|63@0-", [-1], "7fffffffffffffff"),
    ("signed.dbc Message63", "0|63@1-", [-5], "fbffffffffffff7f"),
    ("signed.dbc Message64big", "7|64@0-", [-5], "fffffffffffffffb"),
    ("signed.dbc Message64", "0|64@1-", [-5], "fbffffffffffffff"),
    (
        "signed.dbc Message378910",
        "1|7@1- 0|8@0- 17|9@1- 26|8@1- 39|3@0- 34|3@1- 40|10@0- 62|7@0-",
        [1, -1, -256, 127, 3, -3, 511, -64],
        "03fe00fe7500ffc0",
    ),
]


def place(text: str) -> SignalSpec:
    """The signal at a place written as the DBC format writes it, such as `0|12@1-`."""
    start, rest = text.split("|")
    length, rest = rest.split("@")
    order = ByteOrder.INTEL if rest[0] == "1" else ByteOrder.MOTOROLA
    return SignalSpec(text, int(start), int(length), order, rest[1] == "-")


@pytest.mark.parametrize(("message", "places", "values", "octets"), VECTORS)
def test_published_codec_vector(message: str, places: str, values: list[int], octets: str) -> None:
    specs = [place(text) for text in places.split()]
    expected = bytes.fromhex(octets)
    data = bytes(len(expected))
    for spec, value in zip(specs, values, strict=True):
        assert extract(spec, expected) == value, (message, spec)
        data = insert(spec, data, value)
    assert data == expected, message
