"""Traffic from seeds: the same everywhere, of the promised amount and kind."""

import zlib
from collections import Counter
from itertools import islice
from pathlib import Path

import pytest

from hil.boards.reference import ReferenceBoard
from hil.comparison import compare
from hil.vectors import driving, random_traffic
from hil.vectors.vector import load_vector
from tests.vectors.broken import BrokenBoard
from tests.vectors.helpers import names
from xlate_core.bridge import ResetCause
from xlate_core.events import Reason


def fingerprint(style: str, seed: int) -> int:
    crc = 0
    for step in random_traffic.steps(names(), seed, style, 2000):
        crc = zlib.crc32(repr((step.tick, step.inputs[:4], step.stimuli)).encode(), crc)
    return crc


@pytest.mark.parametrize("style", ["driving", "disturbed", "hostile"])
def test_a_seed_means_one_traffic(style: str) -> None:
    assert fingerprint(style, 1) == fingerprint(style, 1)
    assert fingerprint(style, 1) != fingerprint(style, 2)


@pytest.mark.parametrize("style", ["driving", "disturbed", "hostile"])
def test_spans_cover_every_tick_once_and_nothing_comes_inside_them(style: str) -> None:
    next_tick = merged = 0
    former = None
    for first, reset, inputs, stimuli, until in random_traffic.spans(names(), 4, style, 5000):
        assert first == next_tick < until
        assert stimuli or reset is not None or inputs is not former
        next_tick, former = until, inputs
        merged += until - first - 1
    assert next_tick == 5000
    assert merged > 1000


def events(style: str) -> Counter[Reason]:
    board = ReferenceBoard(names().pairing, observe=True)
    seen: Counter[Reason] = Counter()
    for step in random_traffic.steps(names(), 3, style, 20_000):
        if step.reset is not None:
            board.reset(*step.reset)
        board.step(step.inputs, tuple(one.frame for one in step.stimuli))
        seen.update(event.reason for event in board.take_events())
    return seen


REJECTIONS = {Reason.CHECKSUM_WRONG, Reason.COUNTER_WRONG, Reason.FRAME_SHORT}


def test_ordinary_traffic_is_accepted_and_trouble_is_made() -> None:
    assert not events("driving").keys() & REJECTIONS
    disturbed = events("disturbed")
    assert disturbed.keys() >= REJECTIONS | {Reason.UNIT_LOST, Reason.UNIT_RECOVERED}
    assert Reason.FRAME_UNKNOWN not in disturbed
    hostile = events("hostile")
    assert hostile.keys() >= REJECTIONS | {Reason.FRAME_UNKNOWN, Reason.SECOND_SENDER}


def test_the_drive_has_a_real_cars_load_and_nothing_is_rejected() -> None:
    farm = names("farm_pickup")
    board = ReferenceBoard(farm.pairing, observe=True)
    board.reset(ResetCause.POWER_ON, False)
    inputs = driving.driving_inputs(farm)
    frames_in = frames_out = 0
    seen: Counter[Reason] = Counter()
    for arriving in driving.frames(farm.pairing, 1, 5000):
        outputs = board.step(inputs, arriving)
        frames_in += len(arriving)
        frames_out += sum(map(len, outputs.frames))
        seen.update(event.reason for event in board.take_events())
    assert 1450 <= frames_in // 5 <= 1550
    assert frames_out // 5 >= 600
    assert not seen.keys() & (REJECTIONS | {Reason.UNIT_LOST})
    assert seen[Reason.FRAME_UNKNOWN] > 1000
    index = [q.name for q in farm.pairing.spec.quantities].index("engine_speed")
    assert board.bridge.quantity(index).value > 400 * 4  # 0.25 rpm a step: it runs


def test_the_drive_is_the_same_for_the_same_seed_and_any_length() -> None:
    farm = names("farm_pickup").pairing
    long = list(islice(driving.frames(farm, 1, 900), 300))
    assert long == list(driving.frames(farm, 1, 300))
    assert long != list(driving.frames(farm, 2, 300))


def test_a_written_drive_is_a_vector_like_any_other(tmp_path: Path) -> None:
    farm = names("farm_pickup")
    vector = load_vector(driving.write(farm, 1, 2000, tmp_path))
    assert [path.name for path in tmp_path.iterdir()] == ["drive_1.vector.gz"]
    run = compare(vector, farm, BrokenBoard(pairing="farm_pickup"))
    assert run.difference is None
    assert run.ticks == 2000
