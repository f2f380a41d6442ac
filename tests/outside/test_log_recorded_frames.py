"""Frames of production cars: what a search in 16 frames must find, or say is missing.

Source: recordings published with opendbc 0.3.1 (PyPI, MIT), `opendbc/can/tests/test_checksums.py`;
the data IDs of the lists from `opendbc/car/volkswagen/mqbcan.py` of the same package. All frames
are protected by a counter in the low nibble of octet 1 and CRC-8 with polynomial 0x2F (start and
final value 0xFF) in octet 0 over octets 1..7 and one data ID chosen by the counter. Where the list
holds one and the same data ID, 16 frames are enough to find it; where it does not, every counter
value comes once only and nothing can be refuted.
"""

import numpy as np
import pytest

from tools.logs.bits import Field
from tools.logs.inspection.checksums import checksum
from tools.logs.inspection.counters import counters
from tools.logs.inspection.findings import Material
from tools.logs.table import Key

# Message, identifier, data IDs for counter 0..15, 16 frames with counter 0..15.
RECORDED = [
    (
        "LWI_01",
        0x86,
        "86868686868686868686868686868686",
        (
            "6b00bd0000000000 ee010a0000000000 d802a90000000000 0303bea212000000 "
            "7b04312003000000 8b05e28509000000 6306132100000000 6607050000000000 "
            "49080d0000000000 5f097e6001000000 af0a722000000000 590b1b0000000000 "
            "a80c060000000000 bc0d722000000000 f90e0f0000000000 600f62c000000000"
        ),
    ),
    (
        "Airbag_01",
        0x40,
        "40404040404040404040404040404040",
        (
            "af000080c000203e 54010080c000201a 54020080c0006000 31030080c00060f2 "
            "e0040080c00060cc b3050080c00040de a4060080c0004018 94070080c0002038 "
            "2d080080c00060ae c2090080c000001c 1f0a0080c000602c 7f0b0080c0000000 "
            "030c0080c00040d6 560d0080c0002050 4a0e0080c00020f2 e50f0080c00040f6"
        ),
    ),
    (
        "Getriebe_11",
        0xAD,
        "3f6939dc94f91464d86a34cea255b52c",
        (
            "f8e0bfff5f202020 b0e1bfffc6982180 d2e2bfff5f202020 00e3bfffaa202010 "
            "f1e4bfff5f202020 c4e5bfff5f202020 dae6bfff5f202020 85e7bfff5f202020 "
            "12e8bfff5f202020 45e9bfffaa202010 03eabfffcc202010 fcebbfff5f202120 "
            "feecbfffad202010 bdedbfffaa202010 67eebfffaa202010 36efbfffaa202010"
        ),
    ),
    (
        "ESP_21",
        0xFD,
        "b4eff8491ee5c2c097193cc9f198d661",
        (
            "66d01f8045050000 87d11f8052050000 cdd21f8050060000 fdd31f8035020000 "
            "fad41f8022050000 fdd51f8084040000 2ed61f80f0030000 9fd71f8000000000 "
            "1ed81f80b3030000 61d91f806d050000 44da1f8047020000 86db1f803a020000 "
            "39dc1f80cb010000 19dd1f8000000000 8cde1f80ba040000 fbdf1f8046000000"
        ),
    ),
    (
        "ESP_05",
        0x106,
        "07070707070707070707070707070707",
        (
            "908064000000e710 f48164000000e710 908263000000e810 a08363000000e610 "
            "e78463000000e810 2e8578040000ea30 7b8663000000e610 718779040000d030 "
            "508879040000ea30 818964000000e110 6a8a68000004d010 178b6a040000e610 "
            "c78c63000000d110 538d64040000e210 248e63000000e710 3f8f82040000e630"
        ),
    ),
    (
        "ESP_10",
        0x116,
        "acacacacacacacacacacacacacacacac",
        (
            "2d00d5989f26250f 240160632c5e3b0f 0802b22fee9a290f 7c0317071de58c0f "
            "aa04d6e3eb98e80f 4e05bbd96543ca0f 590678bd25c6f2ff af07428553bebe0f "
            "2a08a6cd958c120f ce096e176d1b2f0f 600ad3e63a8df00f c50bfc695750210f "
            "700cdef39de96bff 620dc41adb617a0f 760e7969e332670f 150f51595635b10f"
        ),
    ),
    (
        "TSK_06",
        0x120,
        "c4e24fe4f82f56819fe58344053f97df",
        (
            "c10000020008ff21 340100020008ff21 cc0200020008ff21 1e0300020008ff21 "
            "480400020008ff21 4a0500020008ff21 a50600020008ff21 a70700020008ff21 "
            "fe0800020008ff21 a80900020008ff21 730a00020008ff21 df0b00020008ff21 "
            "050c00020008ff21 b50d00020008ff21 de0e00020008ff21 0b0f00020008ff21"
        ),
    ),
    (
        "Motor_20",
        0x121,
        "e965ae6b7b35e55f4ec786a2bbddebb4",
        (
            "b90000c039467efe 853120001a467efe c71200401a467efe 5393000019467efe "
            "a43400801a467efe 0e55206018467efe 3f0600c0374c7efe 0c07004039467efe "
            "2a0800003a467efe 7f4920801a467efe 2f0a00c039467efe 70bb000017467efe "
            "060c000039467efe 4b9d20e0164c7efe 73fe004016467efe af0f2080394c7efe"
        ),
    ),
    (
        "HCA_01",
        0x126,
        "dadadadadadadadadadadadadadadada",
        (
            "00300dc005fe0700 3e3154c005fe0700 a732bb4005fe0700 963329c005fe0700 "
            "5f34000003fe0700 3b35ae4005fe0700 c7367a4005fe0700 6f37764005fe0700 "
            "b138000003fe0700 d539000003fe0700 ba3a69c005fe0700 653b104005fe0700 "
            "493c72c005fe0700 c63ddf4005fe0700 1d3e2cc105fe0700 9b3f204005fe0700"
        ),
    ),
    (
        "GRA_ACC_01",
        0x12B,
        "6a38b42722efe1bbf8808449c79e1e2b",
        (
            "8640802a00000000 f441802a00000000 5042802a00000000 0843802a00000000 "
            "8844802a00000000 2d45802a00000000 3446802a00000000 1147802a00000000 "
            "c448802a00000000 cc49802a00000000 dc4a802a00000000 794b802a00000000 "
            "3c4c802a00000000 684d802a00000000 274e802a00000000 0d4f802a00000000"
        ),
    ),
    (
        "Motor_EV_01",
        0x187,
        "7fed17c27ceb442101fadb154a6b2305",
        (
            "70801500000000f0 07811500000000f0 7a821500000000f0 26831500000000f0 "
            "be841500000000f0 5a851500000000f0 fc861500000000f0 9e871500000000f0 "
            "af881500000000f0 35891500000000f0 c58a1500000000f0 118b1500000000f0 "
            "d08c1500000000f0 e88d1500000000f0 f58e1500000000f0 008f1500000000f0"
        ),
    ),
    (
        "ESP_33",
        0x1AB,
        "13219b6a9a62d46518f1ab163289e726",
        (
            "6400800200000000 1901000000000000 fc02001001000000 8b03800200000000 "
            "a404001001000000 9705000200000100 d506800200000100 a007800200000100 "
            "8908000000000000 e309000000000000 0e0a000000000000 900b000000000000 "
            "320c001001000000 300d000000000000 c20e001001000000 680f800200000000"
        ),
    ),
    (
        "SWA_01",
        0x30F,
        "0c0c0c0c0c0c0c0c0c0c0c0c0c0c0c0c",
        (
            "1000100000000000 7401100000000000 d802100000000000 bc03100000000000 "
            "af04100000000000 cb05100000000000 6706100000000000 0307100000000000 "
            "4108100000000000 2509100000000000 890a100000000000 ed0b100000000000 "
            "fe0c100000000000 9a0d100000000000 360e100000000000 520f100000000000"
        ),
    ),
    (
        "ACC_04",
        0x324,
        "27272727272727272727272727272727",
        (
            "ba00000000000010 de01000000000010 7202000000000010 1603000000000010 "
            "0504000000000010 4405000000000000 e806000000000000 a907000000000010 "
            "eb08000000000010 8f09000000000010 060a000000000000 470b000000000010 "
            "710c000000000000 150d000000000000 b90e000000000000 dd0f000000000000"
        ),
    ),
    (
        "Licht_Anf_01",
        0x3D5,
        "c539c7f992d824cef1b57ac4bc60e3d1",
        (
            "c800000400000000 9f01000400000000 5e02000400000000 5203000400000000 "
            "f204000400000000 7905000400000000 e606000400000000 fd07000400000000 "
            "f808000400000000 c609000400000000 f50a000400000000 1a0b000400000000 "
            "650c000400000000 410d000400000000 7f0e000400000000 980f000400000000"
        ),
    ),
    (
        "ESP_20",
        0x65D,
        "acb3abeb7ae13bf773ba7c9e065f02d9",
        (
            "98302b1000002281 c8312b1000002281 9d322b1000002281 1f332b1000002281 "
            "6e342b1000002281 61352b1000002281 6f362b1000002281 e5372b1000002281 "
            "f8382b1000002281 e1392b1000002281 aa3a2b1000002281 e63b2b1000002281 "
            "ef3c2b1000002281 bb3d2b1000002281 9b3e2b1000002281 723f2b1000002281"
        ),
    ),
]
CONSTANT = [row for row in RECORDED if len(set(bytes.fromhex(row[2]))) == 1]
CHANGING = [row for row in RECORDED if len(set(bytes.fromhex(row[2]))) > 1]

# The same package, same file: messages whose last octet is CRC-8/SAE-J1850 over all before it.
LAST_OCTET = [
    ("EPS_1", 0xDE, ["175197cc00df", "175197c901a3"]),
    ("EPS_2", 0x106, ["7c4357600000a1", "7c6358e00001d5"]),
    ("EPS_3", 0x122, ["7b3000f8", "7b100190"]),
    ("ABS_2", 0xFE, ["7e38007d1031812f", "7e38007d20318220"]),
]


def material(identifier: int, frames: list[str]) -> Material:
    payload = np.zeros((len(frames), 8), np.uint8)
    for row, frame in enumerate(frames):
        octets = bytes.fromhex(frame)
        payload[row, : len(octets)] = list(octets)
    times = np.arange(len(frames), dtype=np.int64) * 20_000
    return Material(Key(0, identifier, False), len(frames[0]) // 2, times, payload)


@pytest.mark.parametrize(("name", "identifier", "data_ids", "frames"), CONSTANT)
def test_counter_family_and_data_id_are_found_from_16_frames(
    name: str, identifier: int, data_ids: str, frames: str
) -> None:
    recorded = material(identifier, frames.split())
    found = counters(recorded)
    assert [(guess.place, guess.facts["modulo"]) for guess in found][:1] == [(Field(8, 4), 16)]
    guess, missing = checksum(recorded, found)
    assert guess is not None, missing
    assert guess.place == Field(0, 8)
    assert guess.facts["family"] == "CRC-8/AUTOSAR"
    assert guess.facts["fold"] == "data_id after"
    assert guess.facts["data_id"] == int(data_ids[:2], 16)
    assert guess.facts["confirming"] == 16
    assert guess.facts["could_refute"] == 15


@pytest.mark.parametrize(("name", "identifier", "data_ids", "frames"), CHANGING)
def test_a_list_of_data_ids_cannot_be_found_from_16_frames_and_that_is_said(
    name: str, identifier: int, data_ids: str, frames: str
) -> None:
    recorded = material(identifier, frames.split())
    found = counters(recorded)
    assert [(guess.place, guess.facts["modulo"]) for guess in found][:1] == [(Field(8, 4), 16)]
    guess, missing = checksum(recorded, found)
    assert guess is None
    assert "list of data IDs" in missing
    assert "16 of 16 do not yet" in missing


@pytest.mark.parametrize(("name", "identifier", "frames"), LAST_OCTET)
def test_two_frames_are_too_few_and_that_is_said(
    name: str, identifier: int, frames: list[str]
) -> None:
    guess, missing = checksum(material(identifier, frames), [])
    assert guess is None
    assert "2 different payloads; at least 4 are needed" in missing
