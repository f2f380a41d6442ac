"""A pairing three times as large costs how many times as much? Both are written by a script.

A pairing here is a number of alike blocks: two received messages with counter and checksum, one
from each bus, six quantities, three functions, two sent messages with counter and checksum. Three
times the blocks have three times the messages, traffic and functions.
"""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from hil.vectors import driving
from hil.vectors.names import names_of
from tools.speed.rows import Floor, Measured, Row, median
from xlate_core.compiled import engine_of
from xlate_core.frames import Frame
from xlate_core.pairing import Pairing, load

BLOCKS = 5
TIMES = 3
FLOOR = Floor(3.3, True, "<= 3.3 x")
SEED = 1

DBC_HEAD = 'VERSION "1"\n\nNS_ :\n\tBA_DEF_\n\tBA_\n\tBA_DEF_DEF_\n\nBS_:\n\nBU_: Bridge Others\n\n'
DBC_TAIL = 'BA_DEF_ BO_ "GenMsgCycleTime" INT 0 10000;\nBA_DEF_DEF_ "GenMsgCycleTime" 0;\n'

BRIDGE_HEAD = """\
format = 1
name = "blocks_{count}"
description = "{count} alike blocks, written by a script to see how cost grows"

[clock]
tick_ms = 1
control_ms = 10

[bus.body]
bit_rate = 500000
database = "body.dbc"

[bus.engine]
bit_rate = 500000
database = "engine.dbc"

[input.key_switch]
kind = "level"
active = "high"
debounce_ms = 2

[quantity.key]
resolution = 1
range = [0, 1]
from = ["input.key_switch"]
initial = 0

[power]
ignition = "key"
engine_speed = "turning_0"
running_above = 400
running_below = 200
cycle_off_ms = 100
after_run_ms = 100
"""

BLOCK = """
[receive.engine.TURN_{n}]
deadline_ms = 50
first_deadline_ms = 500
counter = {{ signal = "Counter", modulo = 16, max_step = 1 }}

[receive.engine.TURN_{n}.checksum]
signal = "Check"
kind = "crc8"
parameters = "CRC-8/AUTOSAR"
first_octet = 0
last_octet = 7

[receive.body.WHEELS_{n}]
deadline_ms = 100
first_deadline_ms = 500
counter = {{ signal = "Counter", modulo = 16, max_step = 1 }}
checksum = {{ signal = "Check", kind = "xor8", first_octet = 0, last_octet = 7 }}

[quantity.turning_{n}]
resolution = "0.25"
range = [0, 8000]
from = [{{ signal = "engine.TURN_{n}.Speed", not_available = [[0xFFFF, 0xFFFF]] }}]
substitute = 0
initial = 0

[quantity.warmth_{n}]
resolution = 1
range = [-40, 210]
from = ["engine.TURN_{n}.Warmth"]
substitute = "not available"
initial = 20

[quantity.torque_{n}]
resolution = "0.5"
range = [-1024, 1023.5]
from = ["engine.TURN_{n}.Torque"]
substitute = 0
initial = 0

[quantity.left_{n}]
resolution = "0.01"
range = [0, 300]
from = ["body.WHEELS_{n}.Left"]
substitute = 0
initial = 0

[quantity.right_{n}]
resolution = "0.01"
range = [0, 300]
from = ["body.WHEELS_{n}.Right"]
substitute = 0
initial = 0

[quantity.shown_{n}]
resolution = 1
range = [0, 100]

[quantity.road_{n}]
resolution = "0.01"
range = [0, 300]

[quantity.fan_{n}]
resolution = 1
range = [0, 1]

[transmit.body.SHOW_{n}]
period_ms = 10
offset_ms = {offset}
on_loss = "substitute"
counter = {{ signal = "Counter", modulo = 15 }}

[transmit.body.SHOW_{n}.checksum]
signal = "Check"
kind = "crc8"
parameters = "CRC-8/SAE-J1850"
first_octet = 0
last_octet = 7

[transmit.body.SHOW_{n}.signals]
Turns = "turning_{n}"
Load = "torque_{n}"
Warmth = {{ quantity = "warmth_{n}", not_available = 0xFF }}
Needle = "shown_{n}"
Fan = "fan_{n}"

[transmit.engine.ROAD_{n}]
period_ms = 20
offset_ms = {offset}
on_loss = "substitute"
counter = {{ signal = "Counter", modulo = 16 }}
checksum = {{ signal = "Check", kind = "sum8", first_octet = 0, last_octet = 5 }}

[transmit.engine.ROAD_{n}.signals]
Road = "road_{n}"
Right = "right_{n}"

[[function]]
name = "needle_{n}"
kind = "mapping"
input = "warmth_{n}"
output = "shown_{n}"
scale = "1/2"
offset = 20
on_loss = 0

[[function]]
name = "fan_{n}"
kind = "cooling_fan"
coolant = "warmth_{n}"
stages = [{{ output = "fan_{n}", on = 98, off = 94 }}]
min_on_ms = 60
min_off_ms = 40
on_loss_stage = 1

[[function]]
name = "road_{n}"
kind = "mapping"
input = "left_{n}"
output = "road_{n}"
scale = 1
offset = 0
on_loss = 0
"""

COUNTED = (
    ' SG_ Counter : {place}|4@1+ (1,0) [0|15] "" {to}\n'
    ' SG_ Check : {last}|8@1+ (1,0) [0|255] "" {to}\n'
)


def write(folder: Path, count: int) -> Path:
    """Write a pairing of so many blocks into a folder of its own; return that folder."""
    target = folder / f"blocks_{count}"
    target.mkdir(parents=True)
    bridge = BRIDGE_HEAD.format(count=count)
    bridge += "".join(BLOCK.format(n=n, offset=1 + n % 9) for n in range(count))
    (target / "bridge.toml").write_text(bridge, encoding="utf-8")
    for name in ("body", "engine"):
        messages = "".join(_messages(name, n) for n in range(count))
        cycles = "".join(_cycle(name, n) for n in range(count))
        (target / f"{name}.dbc").write_text(
            DBC_HEAD + messages + DBC_TAIL + cycles, encoding="utf-8"
        )
    return target


def _messages(bus: str, n: int) -> str:
    """Return the messages of one block on one bus."""
    received = COUNTED.format(place=48, last=56, to="Bridge")
    if bus == "engine":
        return (
            f"BO_ {64 + n} TURN_{n}: 8 Others\n"
            ' SG_ Speed : 0|16@1+ (0.25,0) [0|8000] "" Bridge\n'
            ' SG_ Warmth : 16|8@1+ (1,-40) [-40|210] "" Bridge\n'
            ' SG_ Torque : 31|12@0- (0.5,0) [-1024|1023.5] "" Bridge\n'
            f"{received}\n"
            f"BO_ {512 + n} ROAD_{n}: 6 Bridge\n"
            ' SG_ Road : 0|16@1+ (0.01,0) [0|300] "" Others\n'
            ' SG_ Right : 16|16@1+ (0.01,0) [0|300] "" Others\n'
            f"{COUNTED.format(place=32, last=40, to='Others')}\n"
        )
    return (
        f"BO_ {64 + n} WHEELS_{n}: 8 Others\n"
        ' SG_ Left : 0|16@1+ (0.01,0) [0|300] "" Bridge\n'
        ' SG_ Right : 16|16@1+ (0.01,0) [0|300] "" Bridge\n'
        f"{received}\n"
        f"BO_ {512 + n} SHOW_{n}: 8 Bridge\n"
        ' SG_ Turns : 0|16@1+ (0.25,0) [0|8000] "" Others\n'
        ' SG_ Load : 31|12@0- (0.5,0) [-1024|1023.5] "" Others\n'
        ' SG_ Fan : 32|1@1+ (1,0) [0|1] "" Others\n'
        ' SG_ Warmth : 16|8@1+ (1,-40) [-40|210] "" Others\n'
        ' SG_ Needle : 40|8@1+ (1,0) [0|255] "" Others\n'
        f"{COUNTED.format(place=48, last=56, to='Others')}\n"
    )


def _cycle(bus: str, n: int) -> str:
    period = 10 if bus == "engine" else 20
    return f'BA_ "GenMsgCycleTime" BO_ {64 + n} {period};\n'


def measure(measured: Measured, seconds: int, repeats: int, said: Callable[[str], None]) -> None:
    """Add the row: processor time of the engine on three times the blocks by that on one time."""
    said(f"a pairing {TIMES} times as large: {seconds} s of driving, {repeats} times")
    with tempfile.TemporaryDirectory(prefix="xlate-speed-") as folder:
        pairings = [load(write(Path(folder), BLOCKS * times)) for times in (1, TIMES)]
    drives = [list(driving.frames(one, SEED, seconds * 1000, per_second=0)) for one in pairings]
    samples = []
    for _ in range(repeats):  # in turn, so that both see the same machine
        small, large = (run_once(one, drive) for one, drive in zip(pairings, drives, strict=True))
        samples.append(large / small)
    frames = [round(sum(map(len, drive)) / seconds) for drive in drives]
    note = f"{BLOCKS} and {BLOCKS * TIMES} blocks, {frames[0]} and {frames[1]} frames/s in"
    measured.rows.append(
        Row(
            "three_times_as_large",
            "real time: cost of a pairing 3 times as large",
            median(samples),
            "x",
            repeats,
            floor=FLOOR,
            note=note,
        )
    )


def run_once(pairing: Pairing, arriving: list[tuple[Frame, ...]]) -> float:
    """Return the processor time in seconds of the fast form, its text made before."""
    inputs = driving.driving_inputs(names_of(pairing))
    bridge = engine_of(pairing.spec)
    warm = len(arriving) // 5
    for frames in arriving[:warm]:
        bridge.receive_all(frames)
        bridge.tick(inputs)
    began = time.process_time()
    for frames in arriving[warm:]:
        bridge.receive_all(frames)
        bridge.tick(inputs)
    return time.process_time() - began
