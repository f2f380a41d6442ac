"""A line that drops, doubles, changes, delays, inserts and cuts: never a wrong verdict."""

from pathlib import Path

import pytest

from hil.disturbed_runs import run_many, short_cases
from hil.link.disturbance import Happened, Trouble
from hil.verdicts import BENCH, Verdict
from tests.link.helpers import VECTORS, pairings, program

GENTLE = Trouble(drop=0, double=0, change=0, delay=0, insert=0, cut=0)


@pytest.mark.slow
def test_a_thousand_disturbed_runs_end_with_the_right_verdict(tmp_path: Path) -> None:
    cases = short_cases(VECTORS, pairings(), "minimal", tmp_path)
    for tally in run_many(program(), cases, range(1000), 20_000, Trouble()):
        assert tally.wrong == []
    assert tally.runs == 1000
    done = tally.happened
    for count in (done.dropped, done.doubled, done.changed, done.delayed, done.inserted, done.cut):
        assert count > 10
    # The link mends nearly everything; only a cut line, or a board lost for good, ends a run.
    benched = sum(count for verdict, count in tally.verdicts.items() if verdict in BENCH)
    assert benched <= done.cut + 20
    assert tally.repeated > 100


def test_a_quiet_line_gives_the_plain_verdicts(tmp_path: Path) -> None:
    cases = short_cases(VECTORS, pairings(), "minimal", tmp_path)
    for tally in run_many(program(), cases, range(len(cases)), 1, GENTLE):
        assert tally.wrong == []
    assert tally.happened == Happened()
    assert tally.verdicts == {Verdict.PASS: len(cases) // 2, Verdict.MISMATCH: len(cases) // 2}
    assert tally.repeated == 0


def test_one_kind_of_trouble_alone_is_mended(tmp_path: Path) -> None:
    cases = short_cases(VECTORS, pairings(), "minimal", tmp_path)
    for kind in ("drop", "double", "change", "delay", "insert"):
        trouble = Trouble(
            **{**dict.fromkeys(("drop", "double", "change", "delay", "insert", "cut"), 0), kind: 60}
        )
        for tally in run_many(program(), cases, range(12), 300, trouble):
            assert tally.wrong == []
        assert set(tally.verdicts) <= {Verdict.PASS, Verdict.MISMATCH}, kind
        assert tally.happened.total > 0
