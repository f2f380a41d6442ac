"""What disturbs in the timing model: errors, mailboxes, unlisted frames; the board's time."""

import json
import random
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from hil import parallel
from hil.measuring import figures
from tools.cli.main import main
from tools.timing.assumptions import Assumed
from tools.timing.board_time import ASSUMED_US, board_time
from tools.timing.bounds import Bounds
from tools.timing.bus_model import BusModel, Offer, Priority
from tools.timing.errors import Disturbing
from tools.timing.mailboxes import Mailboxes
from tools.timing.observation import observe
from tools.timing.rig import Rig
from tools.timing.streams import bus_timings
from tools.timing.trial_run import run_trial
from tools.timing.trials import Change, Filling, Trial
from xlate_core.errors import InputError
from xlate_core.pairing import Pairing, load
from xlate_core.pairing.traffic import BusTraffic

PAIRINGS = Path(__file__).resolve().parents[2] / "fixtures" / "pairings"
MILLI_NS = 1_000_000


@pytest.fixture(scope="module")
def minimal() -> Pairing:
    """The smallest fixture pairing."""
    return load(PAIRINGS / "minimal")


def said(errors: int, interval_us: int) -> BusTraffic:
    return BusTraffic(0, 8, errors, interval_us, {})


@pytest.mark.parametrize("seed", range(20))
def test_no_window_holds_more_errors_than_the_analysis_counts(seed: int) -> None:
    """In any window of length t at most errors + ceil(t / interval) - 1 frames are disturbed."""
    chance = random.Random(seed)
    errors, interval_us = chance.randrange(1, 4), chance.choice((500, 1_000, 4_000))
    disturbing = Disturbing(said(errors, interval_us), 1_000)
    offer = Offer((1, 0, 0), 1, 135, 0, None)
    now, hits = 0, []
    for _ in range(400):
        now += chance.choice((1, 270_000, 500_000, 3_000_000))
        if disturbing(offer, now) is not None:
            hits.append(now)
    assert len(hits) == disturbing.count > errors
    assert hits[0] >= 1_000
    for first in range(len(hits)):
        for last in range(first, len(hits)):
            window = hits[last] - hits[first] + 1
            assert last - first + 1 <= errors - (-window // (interval_us * 1000)) - 1


def test_without_an_interval_only_the_first_ones_are_disturbed() -> None:
    disturbing = Disturbing(said(2, 0), 0)
    offer = Offer((1, 0, 0), 1, 135, 0, None)
    broken = [disturbing(offer, number * MILLI_NS) for number in range(50)]
    assert broken == [132, 132] + [None] * 48  # the last bit before the interframe space
    assert Disturbing(said(0, 5_000), 0)(offer, 0) == 132  # an interval means one at least
    assert Disturbing(said(0, 0), 0)(offer, 0) is None


@pytest.mark.parametrize("count", [1, 2, 3])
@pytest.mark.parametrize("seed", range(10))
def test_mailboxes_offer_the_most_urgent_frame_to_every_arbitration(count: int, seed: int) -> None:
    """A controller with few mailboxes sends as one with a mailbox for every frame would."""
    chance = random.Random(seed)
    handed = [(chance.randrange(40) * 97_000, chance.randrange(12)) for _ in range(60)]
    few = _order_sent(handed, count)
    assert few == _order_sent(handed, 1000)
    assert len(few) > 12


def _order_sent(handed: list[tuple[int, int]], count: int) -> list[tuple[int, int]]:
    """Return (end, identifier) of what was sent; a newer frame of an identifier overwrites."""
    bus = BusModel(500_000)
    mailboxes = Mailboxes(bus, count)
    waiting = sorted(handed)
    sent: list[tuple[int, int]] = []
    now = 0
    while True:
        upcoming = [waiting[0][0]] if waiting else []
        instant = bus.next_instant()
        if instant is not None:
            upcoming.append(max(instant, now))
        if not upcoming:
            return sent
        now = min(upcoming)
        while waiting and waiting[0][0] == now:
            _, identifier = waiting.pop(0)
            priority: Priority = (identifier, 0, 0)
            load = ("ours", identifier, object())
            mailboxes.hand_over(priority, 120, now, load, str(identifier))
        passed = bus.advance(now)
        if passed is not None:
            mailboxes.passed(passed.offer.load, now)
            sent.append((passed.ended_at, passed.offer.load[1]))


def test_frames_nobody_listed_take_their_share_of_the_bus(minimal: Pairing) -> None:
    rig = Rig(minimal)
    name = next(iter(rig.streams))
    arrivals = {}
    for percent in (0, 50, 100):
        trial = Trial(Change(""), 0, 200 * MILLI_NS, filling=Filling(percent, 3))
        arrivals[percent] = run_trial(rig, trial).arrivals[name]
    first = range(min(len(each) for each in arrivals.values()))
    waited = [sum(arrivals[p][n] - arrivals[0][n] for n in first) for p in (50, 100)]
    assert 0 < waited[0] < waited[1]


@pytest.mark.parametrize(
    "assumed",
    [Assumed(errors=2), Assumed(errors=1, error_interval_us=4_000, skew_ppm=10_000)],
    ids=["two at once", "one every 4 ms, clocks 1 % off"],
)
def test_bounds_with_errors_hold_and_are_met(minimal: Pairing, assumed: Assumed) -> None:
    pairing = assumed.of(minimal)
    plain = Bounds(minimal, Rig(minimal).starts)
    near = higher = 0
    for one in observe(pairing, 12, 5, lambda *_: None):
        assert one.bound is not None
        assert one.reactions
        share = Fraction(max(one.reactions), 1000) / one.bound.us
        assert share <= 1, one.path.name
        near += share >= Fraction(4, 5)
        before = plain.reaction(one.path, one.own)
        assert before is not None
        higher += one.bound.us > before.us
    assert near >= 6
    assert higher >= 6


def test_bounds_that_forget_errors_are_exceeded(
    minimal: Pairing, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tools.timing.streams.errors_at_once", lambda _: 0)
    pairing = Assumed(errors=6).of(minimal)
    exceeded = 0
    for one in observe(pairing, 6, 1, lambda *_: None):
        if one.bound is not None and one.reactions:
            exceeded += Fraction(max(one.reactions), 1000) > one.bound.us
    assert exceeded > 0


@pytest.mark.slow
def test_the_samples_do_not_depend_on_the_number_of_processes(
    minimal: Pairing, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parallel, "FEW", 1)  # so that other processes are started
    found = []
    for jobs in (1, 2):
        seen = observe(minimal, 2, 7, lambda *_: None, jobs=jobs)
        found.append({one.path.name: (one.reactions, one.ages) for one in seen})
    assert found[0] == found[1]


def test_the_boards_time_comes_from_the_pairing_then_the_stored_figures(minimal: Pairing) -> None:
    told = replace(minimal, traffic=replace(minimal.traffic, board_us=70))
    assert board_time(told).us == 70
    assert board_time(minimal).us == ASSUMED_US
    assert "assumed" in board_time(minimal).origin
    car = load(PAIRINGS / "farm_pickup")
    stored = json.loads(figures.path_of("farm_pickup").read_text(encoding="utf-8"))["figures"]
    longest = max(stored["tick_most_in_search"], stored["tick_most_in_vectors"])
    assert board_time(car).us == -(-longest // 168)  # 168 instructions a us
    assert str(longest) in board_time(car).origin


def test_errors_are_asked_for_on_the_command_line(minimal: Pairing) -> None:
    arguments = ["timing", "bus", str(PAIRINGS / "minimal"), "--json"]
    plain, disturbed = (
        json.loads(CliRunner().invoke(main, [*arguments, *more]).stdout)
        for more in ([], ["--errors", "2"])
    )
    row, other = (one["buses"]["engine"]["messages"][0] for one in (plain, disturbed))
    # Two times 31 bits and the longest frame up to this one, at 500 kbit/s (docstring of response).
    longest = row["bits"]
    assert other["response_ms"] - row["response_ms"] == pytest.approx(2 * (31 + longest) * 0.002)
    assert bus_timings(minimal)[1].disturbance.errors == 0


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--errors", "-1"], "--errors: found -1, expected 0 to 1000"),
        (["--error-interval-us", "3600000001"], "found 3600000001, expected 0 to 3600000000"),
        (["--skew-ppm", "20000"], "--skew-ppm: found 20000, expected 0 to 10000"),
    ],
)
def test_impossible_assumptions(arguments: list[str], told: str) -> None:
    result = CliRunner().invoke(main, ["timing", "paths", str(PAIRINGS / "minimal"), *arguments])
    assert result.exit_code == 2
    assert told in result.stderr
    with pytest.raises(InputError):
        Assumed(errors=2000)
