"""Every example of SCENARIOS.md is a valid line, and spoilt ones are refused, never a crash."""

import re
from functools import cache
from pathlib import Path
from random import Random

import pytest

from hil.vectors import reading
from hil.vectors.errors import ScenarioError
from hil.vectors.names import Names, names_of
from hil.vectors.reading import read_scenario
from tests.vectors.helpers import HEADER, ROOT
from xlate_core.pairing import load

MANUAL = (ROOT / "hil" / "vectors" / "SCENARIOS.md").read_text(encoding="utf-8")
EXAMPLES = [
    line
    for line in re.findall(r"^\| `([^`]+)` \|", MANUAL, flags=re.MULTILINE)
    if line.split()[0] not in reading.HEADER
]

ENGINE_DBC = """\
VERSION ""
NS_ :
BS_:
BU_: Engine Bridge
BO_ 256 MOTOR_1: 6 Engine
 SG_ Speed : 0|16@1+ (0.25,0) [0|16383.75] "rpm" Bridge
 SG_ Alive : 16|4@1+ (1,0) [0|15] "" Bridge
 SG_ Spare : 24|16@1+ (1,0) [0|65535] "" Bridge
 SG_ Check : 40|8@1+ (1,0) [0|255] "" Bridge
BO_ 512 MOTOR_TEMP: 2 Engine
 SG_ Coolant : 0|8@1+ (1,-40) [-40|210] "degC" Bridge
BO_ 513 GEARBOX: 1 Engine
 SG_ Lever : 0|4@1+ (1,0) [0|15] "" Bridge
BO_ 514 SERVICE: 2 Engine
 SG_ Page M : 0|4@1+ (1,0) [0|15] "" Bridge
 SG_ Hours m1 : 8|8@1+ (1,0) [0|255] "h" Bridge
BA_DEF_ BO_ "GenMsgCycleTime" INT 0 10000;
BA_DEF_DEF_ "GenMsgCycleTime" 100;
BA_ "GenMsgCycleTime" BO_ 256 10;
VAL_ 513 Lever 1 "Park" 4 "Drive" ;
"""
BODY_DBC = """\
VERSION ""
NS_ :
BS_:
BU_: Bridge Cluster
BO_ 768 CLUSTER_1: 4 Bridge
 SG_ EngineSpeed : 0|16@1+ (0.25,0) [0|16000] "rpm" Cluster
 SG_ Rest : 16|16@1+ (1,0) [0|65535] "" Cluster
"""
BRIDGE = """\
format = 1
name = "manual"
description = "What the manual of the scenario language speaks of"
[clock]
tick_ms = 1
control_ms = 10
[bus.body]
bit_rate = 500000
database = "body.dbc"
[bus.engine]
bit_rate = 500000
database = "engine.dbc"
[input.ignition_switch]
kind = "level"
active = "high"
debounce_ms = 20
[input.brake_switch]
kind = "level"
active = "low"
debounce_ms = 20
[input.fuel_sender]
kind = "analogue"
curve = "fuel"
[curve.fuel]
x_unit = "counts"
y_unit = "l"
points = [[0, 0], [4000, 60]]
[output.fan_relay_1]
kind = "level"
active = "high"
quantity = "fan"
reset = 0
unpowered = "off"
[output.pump_driver]
kind = "duty"
quantity = "needle"
reset = 0
unpowered = "off"
[output.tacho_pin]
kind = "frequency"
quantity = "needle"
reset = 0
unpowered = "off"
[receive.engine.MOTOR_1]
deadline_ms = 50
counter = { signal = "Alive", modulo = 16, max_step = 1 }
[receive.engine.MOTOR_1.checksum]
signal = "Check"
kind = "xor8"
first_octet = 0
last_octet = 5
[receive.engine.MOTOR_TEMP]
deadline_ms = 500
[receive.engine.GEARBOX]
deadline_ms = 0
[receive.engine.SERVICE]
deadline_ms = 0
[receive.engine.SERVICE.path.1]
deadline_ms = 400
[quantity.ignition]
resolution = 1
range = [0, 1]
from = ["input.ignition_switch"]
[quantity.brake]
resolution = 1
range = [0, 1]
from = ["input.brake_switch"]
watch_only = true
[quantity.fuel]
unit = "l"
resolution = 1
range = [0, 60]
from = ["input.fuel_sender"]
watch_only = true
[quantity.engine_speed]
unit = "rpm"
resolution = "1/4"
range = [0, 16000]
from = ["engine.MOTOR_1.Speed"]
substitute = 0
[quantity.coolant]
unit = "degC"
resolution = 1
range = [-40, 210]
from = ["engine.MOTOR_TEMP.Coolant"]
substitute = 20
[quantity.fan]
resolution = 1
range = [0, 1]
[quantity.needle]
resolution = 1
range = [0, 10000]
[transmit.body.CLUSTER_1]
period_ms = 20
[transmit.body.CLUSTER_1.signals]
EngineSpeed = "engine_speed"
[power]
ignition = "ignition"
after_run_ms = 1000
cycle_off_ms = 2000
[[function]]
name = "fans"
kind = "cooling_fan"
coolant = "coolant"
stages = [{ output = "fan", on = 98, off = 94 }]
min_on_ms = 3000
min_off_ms = 2000
on_loss_stage = 1
[[function]]
name = "needle"
kind = "gauge"
input = "coolant"
curve = "needle"
output = "needle"
hysteresis = 1
on_loss = 0
[curve.needle]
x_unit = "degC"
y_unit = ""
points = [[50, 0], [130, 10000]]
"""


@cache
def manual_names(folder: Path) -> Names:
    folder.mkdir(exist_ok=True)
    for name, text in (
        ("engine.dbc", ENGINE_DBC),
        ("body.dbc", BODY_DBC),
        ("bridge.toml", BRIDGE),
    ):
        (folder / name).write_text(text, encoding="utf-8")
    return names_of(load(folder))


@pytest.fixture(scope="module")
def known(tmp_path_factory: pytest.TempPathFactory) -> Names:
    return manual_names(tmp_path_factory.mktemp("pairings") / "manual")


def read(line: str, known: Names) -> None:
    text = HEADER.format(pairing="manual", lasts="90 s") + line + "\n"
    read_scenario(Path("sample.scenario"), text, known)


def refusal(line: str, known: Names) -> str:
    """The sentence a line is refused with, or nothing; any other exception is a bug."""
    try:
        read(line, known)
    except ScenarioError as error:
        return str(error)
    return ""


def test_the_manual_has_its_examples() -> None:
    assert len(EXAMPLES) > 55


@pytest.mark.parametrize("line", EXAMPLES)
def test_every_example_is_valid(line: str, known: Names) -> None:
    read(line, known)


def test_spoilt_examples_are_refused_with_one_sentence_each(known: Names) -> None:
    chance = Random(1)
    refused = 0
    vocabulary = sorted({word for line in EXAMPLES for word in line.split()} | {"0", "-1", "1/0"})
    for _ in range(3000):
        words = EXAMPLES[chance.randrange(len(EXAMPLES))].split()
        place = chance.randrange(len(words))
        spoil = chance.randrange(3)
        if spoil == 0:
            del words[place]
        elif spoil == 1:
            words[place] = chance.choice(vocabulary)
        else:
            words.insert(place, chance.choice(vocabulary))
        text = refusal(" ".join(words), known)
        if text:
            refused += 1
            assert text.startswith("sample.scenario:7: ")
            assert "\n" not in text
    assert refused > 1500
