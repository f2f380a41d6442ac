"""A small pairing that is good, and the means to spoil it in one place."""

from pathlib import Path

BRIDGE = """\
format = 1
name = "small"

[clock]
tick_ms = 2
control_ms = 10

[bus.body]
database = "body.dbc"
[bus.engine]
database = "engine.dbc"

[condition.ignition_on]
power_modes = ["ignition_on", "running"]
quantities = [{ quantity = "speed", is = "<", value = 9000 }]

[input.key]
kind = "level"
debounce_ms = 20
[input.sender]
kind = "analogue"
curve = "sender_curve"
valid = [100, 4000]
[output.fan_relay]
kind = "level"
quantity = "fan"

[receive.engine.MOTOR]
deadline_ms = 50
when = "ignition_on"
counter = { signal = "Count", modulo = 15 }
checksum = { signal = "Check", kind = "crc8", parameters = "CRC-8/SAE-J1850" }
[receive.engine.SERVICE]
deadline_ms = 500
[receive.engine.SERVICE.unit.tail]
signals = ["Tail"]
deadline_ms = 100
[receive.engine.SERVICE.path."3..7"]
deadline_ms = 400

[quantity.key]
range = [0, 1]
from = "input.key"
[quantity.fuel]
unit = "%"
resolution = "0.5"
range = [0, 100]
from = "input.sender"
[quantity.speed]
unit = "rpm"
resolution = "1/4"
range = [0, 10000]
from = ["engine.MOTOR.Speed"]
hold_ms = 100
substitute = 0
return_per_s = 2000
max_change = 500
frozen_after_frames = 100
[quantity.coolant]
unit = "degC"
range = [-40, 200]
from = { signal = "engine.MOTOR.Coolant", not_available = [[255, 255]] }
substitute = "not available"
[quantity.oil]
unit = "degC"
range = [-40, 200]
from = "engine.SERVICE.Oil"
[quantity.tail]
range = [0, 255]
from = "engine.SERVICE.Tail"
[quantity.fan]
range = [0, 1]
[quantity.needle]
unit = "%"
resolution = "0.1"
range = [0, 100]
[quantity.word]
range = [0, 15]
[quantity.coolant_fault]
range = [0, 1]

[transmit.body.CLUSTER]
offset_ms = 4
on_change = true
min_gap_ms = 10
when = "ignition_on"
loss_of = ["speed"]
counter = { signal = "Alive", modulo = 16 }
checksum = { signal = "Xor", kind = "xor8", fold = [{ item = "identifier" }] }
[transmit.body.CLUSTER.signals]
Speed = "speed"
Needle = { quantity = "needle", valid = [0, 200], not_available = 255 }
Word = "word"
Version = { constant = 2 }

[transmit.body.PAGES]
period_ms = 100
[transmit.body.PAGES.signals]
Page = { constant = 1 }
Fuel = "fuel"
Oil = "oil"
Fault = "coolant_fault"
Tail = "tail"
Mode = "power_mode"

[route.diagnosis]
from = "engine.ANSWER"
to = "body"
queue = { fifo = 8 }

[curve.sender_curve]
x_unit = "counts"
y_unit = "%"
points = [[100, 100], [4000, 0]]
[curve.needle_curve]
x_unit = "degC"
y_unit = "%"
points = [[50, 0], [80, 48], [100, 50], [130, 100]]

[fault.coolant_data]
quantity = "coolant"
statuses = ["stale", "error"]
limit = 50
output = "coolant_fault"

[power]
ignition = "key"
engine_speed = "speed"
running_above = 400
running_below = 200
after_run_ms = 5000

[[function]]
name = "cooling"
kind = "cooling_fan"
coolant = "coolant"
stages = [{ output = "fan", on = 98, off = 94 }]
requests = [{ quantity = "coolant_fault", stage = 1 }]
min_on_ms = 3000
[[function]]
name = "gauge"
kind = "gauge"
input = "coolant"
curve = "needle_curve"
output = "needle"
hysteresis = 1
on_loss = 0
[[function]]
name = "words"
kind = "mapping"
input = "tail"
output = "word"
table = [[0, 0], [1, 3], [2, 5]]
otherwise = 0
on_loss = 0
"""

BODY = """\
VERSION ""
NS_ :
BS_:
BU_: CAR MODULE
BO_ 512 CLUSTER: 8 MODULE
 SG_ Speed : 7|16@0+ (0.25,0) [0|16000] "rpm" CAR
 SG_ Needle : 16|8@1+ (0.5,0) [0|100] "%" CAR
 SG_ Word : 24|4@1+ (1,0) [0|15] "" CAR
 SG_ Version : 28|4@1+ (1,0) [0|15] "" CAR
 SG_ Alive : 32|4@1+ (1,0) [0|15] "" CAR
 SG_ Kind : 36|4@1+ (1,0) [0|15] "" CAR
 SG_ Xor : 56|8@1+ (1,0) [0|255] "" CAR
BO_ 513 PAGES: 8 MODULE
 SG_ Page M : 0|8@1+ (1,0) [0|255] "" CAR
 SG_ Fuel m1 : 8|8@1+ (0.5,0) [0|100] "%" CAR
 SG_ Oil m1 : 16|8@1+ (1,-40) [-40|210] "degC" CAR
 SG_ Other m2 : 8|16@1+ (1,0) [0|65535] "" CAR
 SG_ Fault : 32|1@1+ (1,0) [0|1] "" CAR
 SG_ Tail : 40|8@1+ (1,0) [0|255] "" CAR
 SG_ Mode : 48|4@1+ (1,0) [0|15] "" CAR
BO_ 514 WISH: 2 CAR
 SG_ Wish : 0|8@1+ (1,0) [0|255] "" MODULE
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 65535;
BA_DEF_ SG_ "GenSigStartValue" INT 0 65535;
BA_DEF_DEF_ "GenMsgCycleTime" 0;
BA_DEF_DEF_ "GenSigStartValue" 0;
BA_ "GenMsgCycleTime" BO_ 512 20;
BA_ "GenSigStartValue" SG_ 512 Kind 9;
"""

ENGINE = """\
VERSION ""
NS_ :
BS_:
BU_: ECU MODULE
BO_ 256 MOTOR: 8 ECU
 SG_ Speed : 0|16@1+ (0.25,0) [0|16000] "rpm" MODULE
 SG_ Coolant : 16|8@1+ (1,-40) [-40|210] "degC" MODULE
 SG_ Torque : 24|12@1- (0.5,0) [-1000|1000] "Nm" MODULE
 SG_ Count : 36|4@1+ (1,0) [0|14] "" MODULE
 SG_ Check : 56|8@1+ (1,0) [0|255] "" MODULE
BO_ 2147483904 SERVICE: 8 ECU
 SG_ Selector M : 0|8@1+ (1,0) [0|255] "" MODULE
 SG_ Oil m3 : 8|8@1+ (1,-40) [-40|210] "degC" MODULE
 SG_ Ratio m9 : 8|32@1- (1,0) [0|0] "" MODULE
 SG_ Tail : 48|8@1+ (1,0) [0|255] "" MODULE
BO_ 1800 ANSWER: 8 ECU
 SG_ Answer : 0|64@1+ (1,0) [0|0] "" MODULE
BO_ 1801 WIDE: 8 ECU
 SG_ Distance : 0|40@1+ (1,0) [0|0] "" MODULE
 SG_ Speed : 40|16@1+ (0.25,0) [0|0] "rpm" MODULE
SIG_VALTYPE_ 2147483904 Ratio : 1;
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 65535;
BA_DEF_ BO_ "GenMsgSendType" ENUM "cyclic","event";
BA_DEF_DEF_ "GenMsgCycleTime" 0;
BA_DEF_DEF_ "GenMsgSendType" "cyclic";
BA_ "GenMsgCycleTime" BO_ 256 20;
BA_ "GenMsgCycleTime" BO_ 1801 0;
BA_ "GenMsgSendType" BO_ 1801 1;
VAL_ 256 Count 14 "last" 0 "first" ;
SG_MUL_VAL_ 2147483904 Oil Selector 3-7;
"""

FILES = {"bridge.toml": BRIDGE, "body.dbc": BODY, "engine.dbc": ENGINE}


def write(folder: Path, *changes: tuple[str, str, str]) -> Path:
    """Write the small pairing with (file, old text, new text) replaced; return its folder."""
    texts = dict(FILES)
    for file, old, new in changes:
        assert texts[file].count(old) == 1, f"{old!r} is {texts[file].count(old)} times in {file}"
        texts[file] = texts[file].replace(old, new)
    target = folder / "small"
    target.mkdir(parents=True, exist_ok=True)
    for file, text in texts.items():
        (target / file).write_text(text, encoding="utf-8", newline="\n")
    return target


def line_of(folder: Path, file: str, text: str) -> int:
    """Return the line, from 1, of a text that stands in one line of a file."""
    lines = (folder / file).read_text(encoding="utf-8").splitlines()
    found = [number for number, line in enumerate(lines, start=1) if text in line]
    assert len(found) == 1, f"{text!r} is in {len(found)} lines of {file}"
    return found[0]
