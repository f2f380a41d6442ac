"""The discrete-event model of a bus never sees a response above the analysis."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tools.timing.bus_model import BusModel, Offer, run
from tools.timing.frame_bits import longest_bits
from tools.timing.response import Disturbance, Stream, analyse, load

BIT_RATE = 500_000
PERIODS_US = (2_000, 2_500, 3_500, 5_000, 10_000, 20_000)


@st.composite
def message_sets(draw: st.DrawFn) -> list[Stream]:
    """Draw 2 to 10 messages, identifiers all different."""
    count = draw(st.integers(2, 10))
    identifiers = draw(st.lists(st.integers(0, 0x7FF), min_size=count, max_size=count, unique=True))
    streams = []
    for number, identifier in enumerate(identifiers):
        period = draw(st.sampled_from(PERIODS_US))
        jitter = draw(st.sampled_from((0, 0, 300, 1_000, period)))
        bits = longest_bits(draw(st.integers(0, 8)), False)
        streams.append(Stream(str(number), False, identifier, bits, period, jitter, period, "x"))
    return streams


def releases(
    streams: list[Stream], chance: random.Random, together: bool, until_us: int
) -> list[tuple[int, Stream, int]]:
    """Return (queued ns, stream, event ns): nominal instants from a phase, late by the jitter.

    `together` puts the first late frame of all streams on one instant, the worst known start.
    """
    found = []
    for one in streams:
        phase = 20_000 - one.jitter_us if together else chance.randrange(one.period_us)
        number = 0
        while phase + number * one.period_us < until_us:
            event = phase + number * one.period_us
            late = one.jitter_us if number == 0 else chance.randrange(one.jitter_us + 1)
            if together and number > 0:
                late = max(0, 20_000 - event) if event < 20_000 else 0
            found.append((1000 * (event + late), one, 1000 * event))
            number += 1
    return found


def events_in_order(planned: list[tuple[int, Stream, int]]) -> dict[Stream, list[int]]:
    """Return the events of each stream in the order its frames are queued, and so leave."""
    events: dict[Stream, list[int]] = {}
    for _, stream, event in sorted(planned, key=lambda one: (one[0], one[2])):
        events.setdefault(stream, []).append(event)
    return events


@pytest.mark.slow
@settings(max_examples=1500, deadline=None)
@given(message_sets(), st.integers(0, 2**32), st.booleans())
def test_observed_never_exceeds_the_analysis(
    streams: list[Stream], seed: int, together: bool
) -> None:
    if load(streams, BIT_RATE) >= 1:
        return
    chance = random.Random(seed)
    bound = {one.stream: one.worst_us for one in analyse(streams, BIT_RATE)}
    planned = releases(streams, chance, together, 60_000)
    events = events_in_order(planned)
    for stream, _, ended in run(BIT_RATE, [(at, one) for at, one, _ in planned]):
        worst = bound[stream]
        assert worst is not None
        assert ended - events[stream].pop(0) <= 1000 * worst


@settings(max_examples=200, deadline=None)
@given(message_sets(), st.integers(0, 2**32))
def test_nor_with_disturbed_frames(streams: list[Stream], seed: int) -> None:
    interval_us = 20_000
    disturbance = Disturbance(errors=1, error_interval_us=interval_us)
    responses = analyse(streams, BIT_RATE, disturbance)
    if any(one.worst_us is None for one in responses):
        return
    chance = random.Random(seed)
    hits = {"next": 0}

    def errors(offer: Offer, now: int) -> int | None:
        # No earlier than one interval after the last; mostly near the end, where it costs most.
        if now < hits["next"]:
            return None
        hits["next"] = now + 1000 * interval_us + 1000 * 1000
        return offer.bits - 3 - chance.randrange(3)

    planned = releases(streams, chance, True, 60_000)
    events = events_in_order(planned)
    bound = {one.stream: one.worst_us for one in responses}
    for stream, _, ended in run(BIT_RATE, [(at, one) for at, one, _ in planned], errors):
        worst = bound[stream]
        assert worst is not None
        assert ended - events[stream].pop(0) <= 1000 * worst


def test_the_worst_case_is_reached() -> None:
    """All queued at once, the longest lower frame just begun: the model meets the bound exactly."""
    streams = [
        Stream(str(n), False, n, longest_bits(8, False), 10_000, 0, 10_000, "x") for n in range(5)
    ]
    low = Stream("low", False, 0x700, longest_bits(8, False), 50_000, 0, 50_000, "x")
    found = run(BIT_RATE, [(0, low), *[(1, one) for one in streams]])
    bound = {one.stream: one.worst_us for one in analyse([*streams, low], BIT_RATE)}
    for stream, queued, ended in found:
        if stream is not low:
            worst = bound[stream]
            assert worst is not None
            assert 1000 * worst - (ended - queued) <= 2  # one nanosecond late to be too late


def test_a_newer_frame_takes_the_place_of_one_that_waits() -> None:
    bus = BusModel(BIT_RATE)
    bus.offer((1, 0, 0), 100, 0, "on its way")
    assert bus.advance(0) is None
    bus.offer((2, 0, 0), 100, 10, "old")
    bus.withdraw(lambda load: load == "old")
    bus.offer((2, 0, 0), 100, 20, "new")
    first = bus.advance(200_000)
    assert first is not None
    assert first.offer.load == "on its way"
    second = bus.advance(400_000)
    assert second is not None
    assert second.offer.load == "new"
    assert bus.next_instant() is None
