"""Problems of counter-plus-CRC profiles, each told once and in its place."""

import shutil
from pathlib import Path

import pytest

from tests.core.test_bridge import PAIRINGS
from tests.pairing.spoiled import problems_of
from xlate_core.pairing import load

PROFILE_1 = 'data_id = 0x3D, data_id_mode = "low", max_without_new = 1, sync_checks = 0'
PROFILE_5 = "data_id = 0xB31C, max_step = 3, period_ms = 30"
LOAD_IDS = (
    "data_ids = [0xA1, 0x52, 0x0C, 0xF7, 0x33, 0x98, 0x6E, 0x1D, 0xC4, 0x85, 0x4B, 0xE2, 0x70, "
    "0x29, 0xBF, 0x16]"
)
GEAR = 'nibble = "IdHigh", data_id = 0x5C3, data_id_mode = "nibble"'
BRAKE, HEAT = "receive.body.BRAKE.profile", "receive.engine.HEAT.profile"
LOAD, GEAR_PATH = "receive.engine.LOAD.profile", "receive.engine.GEAR.profile"

# Name, old text, new text, key path, found, expected.
CASES = [
    ("no data ID", PROFILE_1, PROFILE_1[16:], f"{BRAKE}.data_id", "no such key", "0..0xFF"),
    (
        "data ID too large",
        PROFILE_1,
        PROFILE_1.replace("0x3D", "0x13D"),
        f"{BRAKE}.data_id",
        "0x13D",
        'at most 0xFF in mode "low"',
    ),
    (
        "no mode",
        PROFILE_1,
        PROFILE_1.replace('data_id_mode = "low", ', ""),
        f"{BRAKE}.data_id_mode",
        "no such key",
        "both, alternating, low, nibble",
    ),
    (
        "mode of another profile",
        GEAR,
        GEAR.replace('"nibble"', '"low"'),
        f"{GEAR_PATH}.data_id_mode",
        '"low"',
        "both, nibble",
    ),
    (
        "mode where there is none",
        PROFILE_5,
        f'{PROFILE_5}, data_id_mode = "both"',
        f"{HEAT}.data_id_mode",
        '"both"',
        "profile 5 has none",
    ),
    (
        "nibble missing",
        GEAR,
        GEAR.replace('nibble = "IdHigh", ', ""),
        f"{GEAR_PATH}.nibble",
        "no such key",
        "bits 11..8",
    ),
    (
        "nibble misspelt",
        GEAR,
        GEAR.replace("IdHigh", "IdHihg"),
        f"{GEAR_PATH}.nibble",
        "IdHihg",
        "a signal of GEAR",
    ),
    (
        "list too short",
        LOAD_IDS,
        LOAD_IDS.replace("0xA1, ", ""),
        f"{LOAD}.data_ids",
        "15 data IDs",
        "16, one for each counter",
    ),
    (
        "list of more than octets",
        LOAD_IDS,
        LOAD_IDS.replace("0xA1", "0x1A1"),
        f"{LOAD}.data_ids",
        "beyond an octet",
        "0..255",
    ),
    (
        "single one for a list",
        LOAD_IDS,
        f"{LOAD_IDS}, data_id = 5",
        f"{LOAD}.data_id",
        "5",
        "profile 22 has a list",
    ),
    (
        "list for a single one",
        PROFILE_5,
        f"{PROFILE_5}, data_ids = [1, 2]",
        f"{HEAT}.data_ids",
        "a list",
        "profile 5 has a single one",
    ),
    (
        "step beyond the counter",
        PROFILE_1,
        f"{PROFILE_1}, max_step = 15",
        f"{BRAKE}.max_step",
        "15",
        "at most 14 in profile 1",
    ),
    (
        "no resynchronisation told",
        PROFILE_1,
        PROFILE_1.replace(", sync_checks = 0", ""),
        f"{BRAKE}.sync_checks",
        "no such key",
        "profile 1 has no default",
    ),
    (
        "resynchronisation where there is none",
        PROFILE_5,
        f"{PROFILE_5}, sync_checks = 2",
        f"{HEAT}.sync_checks",
        "2",
        "profile 5 has none",
    ),
    (
        "no period",
        PROFILE_5,
        PROFILE_5.replace("30", "0"),
        f"{HEAT}.period_ms",
        "no period",
        "a cycle time of HEAT",
    ),
    (
        "limit beyond the window",
        "window = 4, init = { min_ok = 1",
        "window = 4, init = { min_ok = 5",
        f"{HEAT}.machine.init.min_ok",
        "5",
        "at most the window, 4",
    ),
    (
        "window too long",
        "window = 4,",
        "window = 33,",
        f"{HEAT}.machine.window",
        "33",
        "32",
    ),
    (
        "older mapping where there is one",
        "invalid = { min_ok = 2, max_errors = 0 } } }\n\n[receive.engine.GEAR]",
        (
            "invalid = { min_ok = 2, max_errors = 0 }, older_mapping = true } }\n\n"
            "[receive.engine.GEAR]"
        ),
        f"{HEAT}.machine.older_mapping",
        "true",
        "profile 5 has one mapping",
    ),
    (
        "profile and counter",
        "[receive.body.BRAKE] # every 10 ms\n",
        '[receive.body.BRAKE]\ncounter = { signal = "Alive", modulo = 15 }\n',
        "receive.body.BRAKE.counter",
        "a counter beside a profile",
        "one of both",
    ),
    (
        "profile and checksum, sent",
        "[transmit.body.MOTOR_3] # substitutes on loss\n",
        '[transmit.body.MOTOR_3]\nchecksum = { signal = "Crc", kind = "sum16" }\n',
        "transmit.body.MOTOR_3.checksum",
        "a checksum beside a profile",
        "one of both",
    ),
    (
        "short frames",
        "[receive.body.BRAKE] # every 10 ms\n",
        "[receive.body.BRAKE]\nallow_short = true\n",
        "receive.body.BRAKE.allow_short",
        "true",
        "whole or nothing",
    ),
    (
        "signal the profile writes",
        'signals = { Engaged = "gear" }',
        'signals = { Engaged = "gear", IdHigh = "gear" }',
        "transmit.body.MOTOR_4.signals.IdHigh",
        "which the profile writes",
        "every signal once",
    ),
    (
        "one signal twice",
        'number = 11, checksum = "Crc", counter = "Alive", data_id = 0x0123',
        'number = 11, checksum = "Crc", counter = "Crc", data_id = 0x0123',
        "transmit.engine.CAR_5.profile",
        "one signal for two parts",
        "a signal of its own",
    ),
    (
        "unknown number",
        'number = 22, checksum = "Crc", counter = "Alive", data_ids = [1',
        'number = 4, checksum = "Crc", counter = "Alive", data_ids = [1',
        "transmit.body.MOTOR_5.profile.number",
        "4",
        "22",
    ),
]

# Name, database, old text, new text, key path, expected.
PLACES = [
    (
        "CRC not first in profile 2",
        "engine.dbc",
        (
            'SG_ Crc : 0|8@1+ (1,0) [0|255] "" Bridge\n SG_ Alive : 8|4@1+ (1,0) [0|15] "" Bridge\n'
            " SG_ Position"
        ),
        (
            'SG_ Crc : 24|8@1+ (1,0) [0|255] "" Bridge\n'
            ' SG_ Alive : 32|4@1+ (1,0) [0|15] "" Bridge\n'
            " SG_ Position"
        ),
        "receive.engine.PEDAL.profile.checksum",
        "octet 0 in profile 2",
    ),
    (
        "CRC of profile 5 in Motorola order",
        "engine.dbc",
        "SG_ Crc : 0|16@1+",
        "SG_ Crc : 7|16@0+",
        f"{HEAT}.checksum",
        "two whole octets, Intel",
    ),
    (
        "CRC across octets",
        "body.dbc",
        "SG_ Crc : 56|8@1+",
        "SG_ Crc : 52|8@1+",
        "receive.body.CABIN.profile.checksum",
        "one whole octet",
    ),
    (
        "counter of profile 22 elsewhere",
        "engine.dbc",
        "SG_ Alive : 24|4@1+",
        "SG_ Alive : 28|4@1+",
        f"{LOAD}.counter",
        "the low half of octet 3",
    ),
    (
        "counter of profile 5 elsewhere",
        "engine.dbc",
        "SG_ Alive : 16|8@1+",
        "SG_ Alive : 32|8@1+",
        f"{HEAT}.counter",
        "the octet 2",
    ),
    (
        "counter of profile 1 across halves",
        "body.dbc",
        "SG_ Alive : 12|4@1+",
        "SG_ Alive : 18|4@1+",
        "receive.body.CABIN.profile.counter",
        "one half of an octet",
    ),
    (
        "signed counter",
        "engine.dbc",
        "SG_ Alive : 24|4@1+ (1,0) [0|15]",
        "SG_ Alive : 24|4@1- (1,0) [-8|7]",
        f"{LOAD}.counter",
        "an unsigned integer signal",
    ),
]


def spoiled(folder: Path, file: str, old: str, new: str) -> Path:
    target = folder / "dairy_van"
    shutil.copytree(PAIRINGS / "dairy_van", target)
    path = target / file
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, old
    path.write_text(text.replace(old, new), encoding="utf-8")
    return target


@pytest.mark.parametrize(
    ("old", "new", "key_path", "found", "expected"),
    [case[1:] for case in CASES],
    ids=[case[0] for case in CASES],
)
def test_problem_is_told_in_its_place(
    old: str, new: str, key_path: str, found: str, expected: str, tmp_path: Path
) -> None:
    problems = problems_of(spoiled(tmp_path, "bridge.toml", old, new))
    matching = [one for one in problems if one.key_path == key_path]
    assert len(matching) == 1, "\n".join(map(str, problems))
    assert found in matching[0].found
    assert expected in matching[0].expected
    assert matching[0].line is not None


@pytest.mark.parametrize(
    ("file", "old", "new", "key_path", "expected"),
    [case[1:] for case in PLACES],
    ids=[case[0] for case in PLACES],
)
def test_wrong_place_is_told(
    file: str, old: str, new: str, key_path: str, expected: str, tmp_path: Path
) -> None:
    problems = problems_of(spoiled(tmp_path, file, old, new))
    matching = [one for one in problems if one.key_path == key_path]
    assert len(matching) == 1, "\n".join(map(str, problems))
    assert expected in matching[0].expected


def test_the_nearest_name_is_offered(tmp_path: Path) -> None:
    folder = spoiled(tmp_path, "bridge.toml", GEAR, GEAR.replace("IdHigh", "IdHihg"))
    assert [one.nearest for one in problems_of(folder)] == ["IdHigh"]


def test_a_period_defaults_to_the_cycle_time() -> None:
    spec = load(PAIRINGS / "dairy_van").spec
    periods = {one.name: one.profile.period for one in spec.messages if one.profile is not None}
    assert periods["engine.DRIVE"] == 10
    assert periods["engine.GEAR"] == 20
    assert periods["engine.HEAT"] == 30
