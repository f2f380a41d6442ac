"""The starting point `xlate pairing new` writes: small, commented, and good as it is."""

BRIDGE_TOML = """\
# One car with one engine controller. Durations are whole milliseconds; physical numbers may be
# whole, decimal, or an exact ratio such as "1/18". `xlate pairing check` says what is wrong here,
# `xlate pairing show` where every value goes.
format = 1
name = "{name}"
description = "Starting point: one message each way, one switch, one fan relay"

[clock]
tick_ms = 1 # received frames, deadlines and sending
control_ms = 10 # functions, faults and power mode; a multiple of tick_ms

[bus.body]
bit_rate = 500000
database = "body.dbc"

[bus.engine]
bit_rate = 500000
database = "engine.dbc"

# Conditions: all given terms must hold.
[condition.ignition_on]
power_modes = ["ignition_on", "cranking", "running"]

# Pins: every switch and relay of the module.
[input.ignition_switch]
kind = "level"
active = "high"
debounce_ms = 20

[output.fan_relay]
kind = "level"
active = "high"
quantity = "fan"
reset = 0 # off in reset
unpowered = "off" # what the load does without supply

# Reception: which messages are taken, how they are protected, and when they count as lost.
[receive.engine.ENGINE_STATE]
deadline_ms = 300
first_deadline_ms = 1000
when = "ignition_on"
counter = {{ signal = "Counter", modulo = 16, max_step = 2 }}
checksum = {{ signal = "Check", kind = "crc8", parameters = "CRC-8/SAE-J1850" }}

# Quantities: engineering values with unit, resolution, range, and what replaces them on loss.
[quantity.ignition]
range = [0, 1]
from = "input.ignition_switch"

[quantity.engine_speed]
unit = "rpm"
resolution = "1/4"
range = [0, 8000]
from = "engine.ENGINE_STATE.Speed"
hold_ms = 100
substitute = 0

[quantity.coolant_temperature]
unit = "degC"
range = [-40, 210]
from = {{ signal = "engine.ENGINE_STATE.Coolant", valid = [0, 250], not_available = [[255, 255]] }}
hold_ms = 500
substitute = "not available"
initial = 20

[quantity.fan]
range = [0, 1]

# Transmission: what the car is told, how often, and what it is told on loss.
[transmit.body.CLUSTER]
period_ms = 20
on_loss = "not_available"
counter = {{ signal = "Alive", modulo = 16 }}

[transmit.body.CLUSTER.signals]
EngineSpeed = {{ quantity = "engine_speed", valid = [0, 32000], not_available = 0xFFFF }}
Coolant = {{ quantity = "coolant_temperature", valid = [0, 250], not_available = 0xFF }}
FanOn = "fan"

[power]
ignition = "ignition"
engine_speed = "engine_speed"
running_above = 400
running_below = 200
after_run_ms = 5000

# Functions run in the listed order.
[[function]]
name = "cooling"
kind = "cooling_fan"
coolant = "coolant_temperature"
stages = [{{ output = "fan", on = 98, off = 94 }}]
min_on_ms = 3000
min_off_ms = 2000
on_loss_stage = 1 # fan on while coolant data is lost
"""

_HEAD = """\
VERSION ""

NS_ :

BS_:

BU_: MODULE {node}

"""

_ATTRIBUTES = """\

BA_DEF_ BO_ "GenMsgCycleTime" INT 0 65535;
BA_DEF_DEF_ "GenMsgCycleTime" 0;
"""

BODY_DBC = (
    _HEAD.format(node="CAR")
    + """\
BO_ 800 CLUSTER: 6 MODULE
 SG_ EngineSpeed : 7|16@0+ (0.25,0) [0|8000] "rpm" CAR
 SG_ Coolant : 16|8@1+ (1,-40) [-40|210] "degC" CAR
 SG_ FanOn : 24|1@1+ (1,0) [0|1] "" CAR
 SG_ Alive : 44|4@1+ (1,0) [0|15] "" CAR
"""
    + _ATTRIBUTES
    + 'BA_ "GenMsgCycleTime" BO_ 800 20;\n'
)

ENGINE_DBC = (
    _HEAD.format(node="ECU")
    + """\
BO_ 416 ENGINE_STATE: 6 ECU
 SG_ Speed : 0|16@1+ (0.25,0) [0|8000] "rpm" MODULE
 SG_ Coolant : 16|8@1+ (1,-40) [-40|210] "degC" MODULE
 SG_ Counter : 32|4@1+ (1,0) [0|15] "" MODULE
 SG_ Check : 40|8@1+ (1,0) [0|255] "" MODULE
"""
    + _ATTRIBUTES
    + 'BA_ "GenMsgCycleTime" BO_ 416 20;\n'
)


def files(name: str) -> dict[str, str]:
    """Return file name -> text of a new pairing."""
    return {
        "bridge.toml": BRIDGE_TOML.format(name=name),
        "body.dbc": BODY_DBC,
        "engine.dbc": ENGINE_DBC,
    }
