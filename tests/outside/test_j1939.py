"""The pairing `j1939_instruments` against SAE J1939 and a recorded engine.

Sources: SAE J1939-71 for the places, scales and offsets of the parameters (rows named by SPN and
PGN) and for the indicator ranges of its table "transmitted signal ranges"; SAE J1939-73 for the
lamps of DM1; SAE J1939-21 for the identifier. The recorded frames are those of an outboard engine,
2023-12-10, published with canboat (GitHub, Apache-2: analyzer/tests/j1939-pgn-test.in and .out).
"""

import tomllib
from fractions import Fraction
from pathlib import Path

import pytest

from xlate_core.bridge import Bridge, Inputs
from xlate_core.frames import Bus, Frame
from xlate_core.pairing import load
from xlate_core.pairing.layouts import DbcMessage, DbcSignal
from xlate_core.quantities import Status
from xlate_core.signals import ByteOrder, insert

DIRECTORY = Path(__file__).parents[2] / "fixtures" / "pairings" / "j1939_instruments"
PAIRING = load(DIRECTORY)
IGNITION_OFF = Inputs(levels=(False,), counts=())

# SAE J1939-71: SPN, PGN, start bit, length, scale, offset. The lamps: SAE J1939-73.
PARAMETERS = [
    (190, 61444, 24, 16, "1/8", "0"),
    (899, 61444, 0, 4, "1", "0"),
    (513, 61444, 16, 8, "1", "-125"),
    (1675, 61444, 48, 4, "1", "0"),
    (29, 61443, 32, 8, "0.4", "0"),
    (558, 61443, 0, 2, "1", "0"),
    (92, 61443, 16, 8, "1", "0"),
    (110, 65262, 0, 8, "1", "-40"),
    (175, 65262, 16, 16, "0.03125", "-273"),
    (100, 65263, 24, 8, "4", "0"),
    (98, 65263, 16, 8, "0.4", "0"),
    (109, 65263, 48, 8, "2", "0"),
    (84, 65265, 8, 16, "1/256", "0"),
    (70, 65265, 2, 2, "1", "0"),
    (596, 65265, 26, 2, "1", "0"),
    (597, 65265, 28, 2, "1", "0"),
    (599, 65265, 32, 2, "1", "0"),
    (600, 65265, 34, 2, "1", "0"),
    (602, 65265, 38, 2, "1", "0"),
    (86, 65265, 40, 8, "1", "0"),
    (183, 65266, 0, 16, "0.05", "0"),
    (184, 65266, 16, 16, "1/512", "0"),
    (624, 65226, 2, 2, "1", "0"),
    (623, 65226, 4, 2, "1", "0"),
    (168, 65271, 32, 16, "0.05", "0"),
    (167, 65271, 16, 16, "0.05", "0"),
    (904, 65215, 0, 16, "1/256", "0"),
    (905, 65215, 16, 8, "0.0625", "-7.8125"),
    (907, 65215, 32, 8, "0.0625", "-7.8125"),
    (908, 65215, 40, 8, "0.0625", "-7.8125"),
    (1808, 61449, 24, 16, "1/8192", "-3.92"),
    (1809, 61449, 40, 16, "1/2048", "-15.687"),
    (105, 65270, 16, 8, "1", "-40"),
]

# SAE J1939-71, "transmitted signal ranges": both ends of every range by length. What is parameter
# specific or reserved carries no value.
INDICATORS = {
    2: [(0, 1, Status.VALID), (2, 2, Status.ERROR), (3, 3, Status.NOT_AVAILABLE)],
    8: [
        (0x00, 0xFA, Status.VALID),
        (0xFB, 0xFB, Status.OUT_OF_RANGE),  # parameter specific
        (0xFC, 0xFD, Status.OUT_OF_RANGE),  # reserved
        (0xFE, 0xFE, Status.ERROR),
        (0xFF, 0xFF, Status.NOT_AVAILABLE),
    ],
    16: [
        (0x0000, 0xFAFF, Status.VALID),
        (0xFB00, 0xFBFF, Status.OUT_OF_RANGE),  # parameter specific
        (0xFC00, 0xFDFF, Status.OUT_OF_RANGE),  # reserved
        (0xFE00, 0xFEFF, Status.ERROR),
        (0xFF00, 0xFFFF, Status.NOT_AVAILABLE),
    ],
}


def parameter_group(identifier: int) -> int:
    """The PGN of an identifier of PDU2 form (SAE J1939-21); the pairing has no other."""
    assert identifier >> 16 & 0xFF >= 240
    return identifier >> 8 & 0x3FFFF


def find(pgn: int, bit: int) -> tuple[DbcMessage, DbcSignal]:
    """The message of a PGN in the pairing and its signal at a start bit."""
    for message in PAIRING.databases["engine"]:
        if parameter_group(message.identifier) == pgn:
            for signal in message.signals:
                if signal.spec.start == bit:
                    return message, signal
    raise AssertionError(f"the pairing has no signal at bit {bit} of PGN {pgn}")


def quantity_of(message: DbcMessage, signal: DbcSignal) -> str | None:
    """The quantity that comes from a signal first of all, by the pairing's own text."""
    wanted = f"engine.{message.name}.{signal.name}"
    for name, entry in document()["quantity"].items():
        first = entry.get("from", [None])[0]
        if (first["signal"] if isinstance(first, dict) else first) == wanted:
            return str(name)
    return None


def document() -> dict:
    return tomllib.loads((DIRECTORY / "bridge.toml").read_text(encoding="utf-8"))


def quantity_index(name: str) -> int:
    return [quantity.name for quantity in PAIRING.spec.quantities].index(name)


def after(*frames: Frame, ticks: int = 1) -> tuple[Bridge, dict[int, bytes]]:
    """The bridge after the frames came in tick 0, and the newest data sent by identifier."""
    bridge = Bridge(PAIRING.spec)
    sent: dict[int, bytes] = {}
    for frame in frames:
        bridge.receive(frame)
    for _ in range(ticks):
        for of_bus in bridge.tick(IGNITION_OFF).frames:
            sent.update({frame.identifier: frame.data for frame in of_bus})
    return bridge, sent


@pytest.mark.parametrize(("spn", "pgn", "bit", "length", "scale", "offset"), PARAMETERS)
def test_parameter_lies_and_scales_as_published(
    spn: int, pgn: int, bit: int, length: int, scale: str, offset: str
) -> None:
    _, signal = find(pgn, bit)
    assert (signal.spec.length, signal.spec.byte_order, signal.spec.signed) == (
        length,
        ByteOrder.INTEL,
        False,
    ), spn
    assert (signal.factor, signal.offset) == (Fraction(scale), Fraction(offset)), spn


RECEIVED = [
    (spn, pgn, bit, length, scale, offset, name)
    for spn, pgn, bit, length, scale, offset in PARAMETERS
    if (name := quantity_of(*find(pgn, bit))) is not None
]


def test_most_of_the_published_parameters_become_quantities() -> None:
    assert len(RECEIVED) >= 12


@pytest.mark.parametrize(("spn", "pgn", "bit", "length", "scale", "offset", "quantity"), RECEIVED)
def test_indicator_ranges_of_a_received_parameter(
    spn: int, pgn: int, bit: int, length: int, scale: str, offset: str, quantity: str
) -> None:
    message, signal = find(pgn, bit)
    resolution = Fraction(str(document()["quantity"][quantity]["resolution"]))
    for lowest, highest, status in INDICATORS[length]:
        for raw in {lowest, (lowest + highest) // 2, highest}:
            data = insert(signal.spec, b"\xff" * 8, raw)
            bridge, _ = after(Frame(Bus.ENGINE, True, message.identifier, data))
            state = bridge.quantity(quantity_index(quantity))
            assert state.status == status, (spn, raw)
            if status is Status.VALID:
                physical = raw * Fraction(scale) + Fraction(offset)
                assert state.value * resolution == physical, (spn, raw)


# Recorded frames and the published engineering value; then what the instrument must be sent, by
# hand: rpm in whole steps, degC + 50, kPa halved, V in tenths, halves away from zero.
ENGINE_SPEED = [
    ("FFFFFFF506FFFFFF", "222.625", 223),
    ("FFFFFFB706FFFFFF", "214.875", 215),
    ("FFFFFF3407FFFFFF", "230.5", 231),
    ("FFFFFF4D08FFFFFF", "265.625", 266),
    ("FFFFFF4329FFFFFF", "1320.375", 1320),
    ("FFFFFFDD39FFFFFF", "1851.625", 1852),
    ("FFFFFF3D44FFFFFF", "2183.625", 2184),
    ("FFFFFF033EFFFFFF", "1984.375", 1984),
    ("FFFFFF6433FFFFFF", "1644.5", 1645),
    ("FFFFFF5D2FFFFFFF", "1515.625", 1516),
    ("FFFFFF9031FFFFFF", "1586.0", 1586),
    ("FFFFFFD430FFFFFF", "1562.5", 1563),
    ("FFFFFF052EFFFFFF", "1472.625", 1473),
    ("FFFFFFD32BFFFFFF", "1402.375", 1402),
    ("FFFFFFD92AFFFFFF", "1371.125", 1371),
    ("FFFFFFC72DFFFFFF", "1464.875", 1465),
]
VOLTAGE = [
    ("FFFFFFFFD600FFFF", "10.7", 107),
    ("FFFFFFFFF100FFFF", "12.05", 121),
    ("FFFFFFFF0001FFFF", "12.8", 128),
    ("FFFFFFFF0301FFFF", "12.95", 130),
    ("FFFFFFFF0401FFFF", "13.0", 130),
    ("FFFFFFFF0501FFFF", "13.05", 131),
    ("FFFFFFFF0601FFFF", "13.1", 131),
]
INTAKE = [
    ("FFFF3D32FFFFFFFF", 21, 100, 71, 50),
    ("FFFF3D31FFFFFFFF", 21, 98, 71, 49),
    ("FFFF3D1BFFFFFFFF", 21, 54, 71, 27),
    ("FFFF3E1AFFFFFFFF", 22, 52, 72, 26),
]
EEC1, EEC2, ET1, IC1, VEP1, DM1 = (
    0x0CF00400,
    0x0CF00300,
    0x18FEEE00,
    0x18FEF600,
    0x18FEF700,
    0x18FECA00,
)
TURNS, WARMTH, PRESSURE, SUPPLY, LAMPS = 0x110, 0x120, 0x122, 0x124, 0x130


def recorded(identifier: int, data: str) -> Frame:
    return Frame(Bus.ENGINE, True, identifier, bytes.fromhex(data))


def physical(bridge: Bridge, quantity: str) -> Fraction:
    state = bridge.quantity(quantity_index(quantity))
    assert state.status == Status.VALID
    return state.value * Fraction(str(document()["quantity"][quantity]["resolution"]))


@pytest.mark.parametrize(("data", "rpm", "turns"), ENGINE_SPEED)
def test_recorded_engine_speed(data: str, rpm: str, turns: int) -> None:
    # The pedal frame was recorded too: SPN 91 is 0.0 %, the load (SPN 92) not available.
    pedal = recorded(EEC2, "FC00FFFFFFFFFFFF")
    bridge, sent = after(recorded(EEC1, data), pedal, ticks=101)
    assert physical(bridge, "engine_speed") == Fraction(rpm)
    assert physical(bridge, "pedal") == 0
    assert sent[TURNS] == turns.to_bytes(2, "big") + b"\xff\x00"
    unavailable = ("engine_torque", "load")  # SPN 513 and 92
    for quantity in unavailable:
        assert bridge.quantity(quantity_index(quantity)).status == Status.NOT_AVAILABLE


@pytest.mark.parametrize(("data", "volt", "tenths"), VOLTAGE)
def test_recorded_voltage(data: str, volt: str, tenths: int) -> None:
    bridge, sent = after(recorded(VEP1, data), ticks=401)
    assert physical(bridge, "battery_voltage") == Fraction(volt)
    assert sent[SUPPLY] == bytes((tenths, 0))


@pytest.mark.parametrize(("data", "degrees", "kpa", "raw_degrees", "raw_pressure"), INTAKE)
def test_recorded_intake(
    data: str, degrees: int, kpa: int, raw_degrees: int, raw_pressure: int
) -> None:
    # With the recorded coolant frame: SPN 110 is 22 degC, the oil temperature not available. The
    # needle's first point is at 40 degC: it rests at 0.
    bridge, sent = after(recorded(IC1, data), recorded(ET1, "3EFFFFFFFFFFFFFF"), ticks=401)
    assert physical(bridge, "intake_temperature") == degrees
    assert physical(bridge, "intake_pressure") == kpa
    assert physical(bridge, "coolant_temperature") == 22
    assert sent[WARMTH] == bytes((72, 0xFF, raw_degrees, 0))
    assert sent[PRESSURE] == bytes((0xFF, raw_pressure))  # no oil pressure frame yet


def test_recorded_lamps_without_fault() -> None:
    bridge, sent = after(recorded(DM1, "00FF00000000FFFF"), ticks=601)
    lamps = ("protect_lamp", "amber_warning_lamp", "red_stop_lamp", "malfunction_lamp")
    assert [physical(bridge, lamp) for lamp in lamps] == [0, 0, 0, 0]
    assert sent[LAMPS][0] == 0


@pytest.mark.parametrize(
    ("lamp", "bit", "shown"),
    [
        # SAE J1939-73, octet 1 of DM1: protect 1-2, amber 3-4, red 5-6, malfunction 7-8.
        ("protect_lamp", 0, 0x40),
        ("amber_warning_lamp", 2, 0x04),
        ("red_stop_lamp", 4, 0x01),
        ("malfunction_lamp", 6, 0x10),
    ],
)
def test_each_lamp_lights_its_own(lamp: str, bit: int, shown: int) -> None:
    bridge, sent = after(recorded(DM1, f"{1 << bit:02X}FF00000000FFFF"), ticks=601)
    assert physical(bridge, lamp) == 1
    assert sent[LAMPS][0] == shown


# What the chassis says, as SAE J1939-71 puts it on the engine's bus, by hand: SPN 904 is 1/256
# km/h, SPN 905..908 (km/h + 7.8125) * 16, SPN 1808 (rad/s + 3.92) * 8192, SPN 1809
# (m/s2 + 15.687) * 2048.
@pytest.mark.parametrize(
    ("axles", "expected"),
    [
        ("2710 00 00 00 00 00", "0064 7d7d7d7d ffff"),  # 100.00 km/h, no difference
        ("61A8 83 7d ff 01 00", "00fa 00fa7c7e ffff"),  # 250 km/h; -7.8125, 7.8125, -1/16, 1/16
        ("0001 00 00 00 00 00", "0300 7d7d7d7d ffff"),  # 0.01 km/h is 2.56 steps
        ("FFFF 00 00 00 00 00", "ffff 7d7d7d7d ffff"),  # not available
    ],
)
def test_axle_speeds_are_sent_as_published(axles: str, expected: str) -> None:
    _, sent = after(Frame(Bus.BODY, False, 0xC8, bytes.fromhex(axles)), ticks=201)
    assert sent[0x18FEBF0B] == bytes.fromhex(expected)


@pytest.mark.parametrize(
    ("yaw", "lateral", "expected"),
    [
        (0, 0, "ffffff 717d 7f7d ff"),  # 32112.64 and 32126.976 steps
        (-3920, -1568, "ffffff 0000 0e00 ff"),  # 0 and 14.336
        (3920, 1568, "ffffff e1fa f0fa ff"),  # 64225.28 and 64239.616
    ],
)
def test_sway_is_sent_as_published(yaw: int, lateral: int, expected: str) -> None:
    data = b"".join(raw.to_bytes(2, "little", signed=True) for raw in (yaw, lateral))
    _, sent = after(Frame(Bus.BODY, False, 0xCA, data), ticks=21)
    assert sent[0x18F0090B] == bytes.fromhex(expected)
