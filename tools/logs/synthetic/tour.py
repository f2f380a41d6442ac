"""The small invented log of the README tour: one factory message to be sent by the module.

The body bus carries CLUSTER (320), sent by the factory engine controller, and WHEELS (1B0), sent by
the car. The engine bus carries STATE (1A0), sent by the new controller, which ran beside the old
one and saw the same engine.
"""

from tools.logs.bits import Field
from tools.logs.synthetic.truth import (
    Role,
    Sending,
    TrueChecksum,
    TrueCounter,
    TrueField,
    TrueMessage,
    TrueNetwork,
)
from tools.logs.table import Key

SERIES = ("engine_speed", "coolant", "road_speed")

NETWORK = TrueNetwork(
    ("body", "engine"),
    (
        TrueMessage(
            Key(0, 0x320, False), "CLUSTER", 8, Sending.CYCLIC, 20_000, 150, 0,
            (
                TrueField("Speed", Field(7, 16, motorola=True), Role.VALUE, "engine_speed", 0.25),
                TrueField("Coolant", Field(16, 8), Role.VALUE, "coolant", 1.0, -40.0),
                TrueField("Variant", Field(24, 8), Role.CONSTANT, constant=0x5A),
            ),
            TrueCounter(Field(48, 4), 16),
            TrueChecksum(Field(56, 8), "CRC-8/AUTOSAR", 0, 7, after=(b"\x5b",)),
            4_000,
        ),
        TrueMessage(
            Key(0, 0x1B0, False), "WHEELS", 8, Sending.CYCLIC, 10_000, 100, 0,
            (
                TrueField("Front", Field(0, 16), Role.VALUE, "road_speed", 0.01),
                TrueField("Rear", Field(16, 16), Role.VALUE, "road_speed", 0.01, -0.3),
            ),
            TrueCounter(Field(52, 4), 15),
            TrueChecksum(Field(56, 8), "sum8", 0, 7),
            1_000,
        ),
        TrueMessage(
            Key(1, 0x1A0, False), "STATE", 8, Sending.CYCLIC, 10_000, 100, 0,
            (
                TrueField("Speed", Field(0, 16), Role.VALUE, "engine_speed", 0.25),
                TrueField("Coolant", Field(16, 8), Role.VALUE, "coolant", 1.0, -40.0),
            ),
            TrueCounter(Field(48, 4), 16),
            TrueChecksum(Field(56, 8), "CRC-8/SAE-J1850", 0, 7),
            0,
        ),
    ),
    SERIES,
)  # fmt: skip
