"""Simulated senders against payloads worked out by hand.

STATE: Speed octets 0-1 Intel 0.25 rpm, Coolant octet 2 offset -40, Torque Motorola, Counter low
half of octet 4, Check octet 5 CRC-8/SAE-J1850 over the other octets.
"""

from itertools import pairwise

import pytest

from tests.vectors.helpers import frames, steps
from xlate_core.frames import Frame
from xlate_core.protection import CRC8_CATALOGUE, crc_function

CRC = crc_function(CRC8_CATALOGUE["CRC-8/SAE-J1850"])
SEND = "send engine.STATE every 2 ms\n"


def counters(body: str, lasts: str = "20 ms") -> list[int]:
    return [data[4] & 0x0F for _, data in frames(body, lasts)]


def test_period_phase_and_end() -> None:
    body = "send engine.STATE every 10 ms from 3 ms until 33 ms\n"
    assert [tick for tick, _ in frames(body)] == [3, 13, 23]


def test_the_default_period_is_the_cycle_time() -> None:
    assert [tick for tick, _ in frames("send engine.STATE\n", "7 ms")] == [0, 2, 4, 6]


def test_values_are_packed_and_the_checksum_is_good() -> None:
    body = SEND + "set engine.STATE.Speed 850\nset engine.STATE.Coolant 80\n"
    _, data = frames(body)[0]
    assert data[:3] == bytes((3400 & 0xFF, 3400 >> 8, 120))
    assert data[5] == CRC(data[:5])


def test_a_signal_starts_at_its_initial_value_inside_its_range() -> None:
    _, data = frames(SEND)[0]  # the database gives none: physical 0, so Coolant is raw 40
    assert data[:4] == bytes((0, 0, 40, 0))


def test_a_ramp_is_straight_and_stays_at_its_end() -> None:
    body = SEND + "from 4 ms ramp engine.STATE.Speed 100 to 200 over 10 ms\n"
    speeds = [int.from_bytes(data[:2], "little") for _, data in frames(body, "20 ms")]
    assert speeds == [0, 0, 400, 480, 560, 640, 720, 800, 800, 800]


def test_counters_count_and_wrap() -> None:
    assert counters(SEND, "40 ms") == [*range(16), 0, 1, 2, 3]


def test_a_payload_that_comes_back_is_sealed_as_ever() -> None:
    body = SEND + "at 8 ms set engine.STATE.Speed 850\nat 20 ms set engine.STATE.Speed 0\n"
    seen = frames(body, "80 ms")
    assert all(data[5] == CRC(data[:5]) for _, data in seen)
    assert len({data for _, data in seen[:4]} | {data for _, data in seen[20:36]}) == 16
    assert [data[:2] for _, data in seen[3:5]] == [bytes(2), bytes((3400 & 0xFF, 3400 >> 8))]


def test_frozen_counters_repeat_the_last_one_with_a_good_checksum() -> None:
    body = SEND + "at 4 ms freeze counter of engine.STATE for 2 frames\n"
    assert counters(body) == [0, 1, 1, 1, 2, 3, 4, 5, 6, 7]
    assert all(data[5] == CRC(data[:5]) for _, data in frames(body))


def test_a_jump_leaves_numbers_out_and_a_set_counter_counts_on() -> None:
    assert counters(SEND + "at 4 ms jump counter of engine.STATE by 3\n")[:4] == [0, 1, 5, 6]
    assert counters(SEND + "at 4 ms set counter of engine.STATE to 15\n")[:4] == [0, 1, 15, 0]


def test_corrupted_checksums_are_inverted_for_so_many_frames() -> None:
    body = SEND + "at 4 ms corrupt checksum of engine.STATE for 2 frames\n"
    wrong = [data[5] ^ CRC(data[:5]) for _, data in frames(body, "12 ms")]
    assert wrong == [0, 0, 0xFF, 0xFF, 0, 0]


def test_dropped_frames_are_lost_and_the_sender_counts_on() -> None:
    body = SEND + "at 4 ms drop 2 frames of engine.STATE\n"
    got = [(tick, data[4] & 0x0F) for tick, data in frames(body, "12 ms")]
    assert got == [(0, 0), (2, 1), (8, 4), (10, 5)]


def test_shortened_and_lengthened_frames_and_length_codes() -> None:
    body = SEND + (
        "at 0 ms shorten engine.STATE to 3 octets\nat 2 ms lengthen engine.STATE to 7 octets\n"
        "at 4 ms length code 12 of engine.STATE\nat 6 ms shorten engine.STATE to 0 octets\n"
    )
    got = [one for step in steps(body, "10 ms") for one in step.stimuli]
    assert [(len(one.frame.data), one.length_code) for one in got] == [
        (3, 3),
        (7, 7),
        (8, 12),
        (0, 0),
        (6, 6),
    ]


def test_stop_and_resume() -> None:
    body = SEND + "at 4 ms stop engine.STATE\nat 9 ms resume engine.STATE\n"
    got = [(tick, data[4] & 0x0F) for tick, data in frames(body, "14 ms")]
    assert got == [(0, 0), (2, 1), (9, 2), (11, 3), (13, 4)]


def test_once_sends_beside_the_period() -> None:
    body = SEND + "at 3 ms send engine.STATE once\n"
    got = [(tick, data[4] & 0x0F) for tick, data in frames(body, "6 ms")]
    assert got == [(0, 0), (2, 1), (3, 2), (4, 3)]


def test_single_frames_come_behind_the_senders_in_written_order() -> None:
    body = "at 2 ms frame body 123 01\nat 2 ms frame engine 456 02\n" + SEND
    step = steps(body)[2]
    assert [one.frame.identifier for one in step.stimuli] == [288, 0x123, 0x456]


def test_foreign_traffic_repeats_until_its_end() -> None:
    body = "from 1 ms frame body 7A1 0011 every 20 ms until 61 ms\n"
    assert [tick for tick, _ in frames(body)] == [1, 21, 41]


def test_a_second_sender_uses_an_identifier_of_ours() -> None:
    got = steps("at 2 ms second sender of body.GAUGE\n")[2].stimuli
    assert [one.frame for one in got] == [Frame(0, False, 544, bytes(6))]


def test_inputs_change_only_when_something_is_set() -> None:
    got = steps("at 2 ms pulse input key_switch active for 3 ms\n", "8 ms")
    assert [step.inputs.levels[0] for step in got] == [False] * 2 + [True] * 3 + [False] * 3
    changes = [a.inputs is not b.inputs for a, b in pairwise(got)]
    assert changes == [False, True, False, False, True, False, False]


def test_supply_and_counts_ramp_exactly() -> None:
    got = steps("from 1 ms ramp supply 12000 to 9000 mV over 3 ms\n", "6 ms")
    assert [step.inputs.supply_mv for step in got] == [12000, 12000, 11000, 10000, 9000, 9000]
    body = "from 1 ms ramp input fuel_sender 0 to 10 counts over 4 ms\n"
    farm = steps(body, "6 ms", "farm_pickup")
    assert [step.inputs.counts[0] for step in farm] == [0, 0, 3, 5, 8, 10]  # 2.5 and 7.5 go up


def test_send_all_spreads_the_messages_over_their_periods() -> None:
    first: dict[int, int] = {}
    for step in steps("send all\n", "1200 ms", "farm_pickup"):
        for one in step.stimuli:
            first.setdefault(one.frame.identifier, step.tick)
    assert max(first.values()) == 19  # the clock of the cabin, last in the pairing
    assert len(first) == 18  # all but the two that a tester sends


@pytest.mark.parametrize("word", ["all", "engine"])
def test_a_bus_or_all_can_be_stopped(word: str) -> None:
    assert [tick for tick, _ in frames(SEND + f"at 4 ms stop {word}\n")] == [0, 2]
    assert frames(SEND + "at 4 ms stop body\n", "8 ms")[-1][0] == 6


def test_the_selector_takes_its_values_in_turn() -> None:
    body = "send body.BED_AND_TANK every 10 ms selecting 0 3\nset body.BED_AND_TANK.TankLevel 9\n"
    got = [data for _, data in frames(body, "40 ms", "farm_pickup")]
    assert [data[0] & 0x0F for data in got] == [0, 3, 0, 3]
    assert [data[1] for data in got][::2] == [18, 18]  # 0.5 l a bit, only behind selector 0
