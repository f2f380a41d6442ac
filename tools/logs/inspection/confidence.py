"""From the score of a guess to a confidence: the share of such guesses that were right before.

`calibration.json` beside this module holds, per sort of guess, rising steps of score and the share
that was right on invented networks; `xlate log try-inspect --calibrate` writes it anew. The seeds
it is made from are not the seeds it is tried on. Guesses that stand on another guess (a field under
a multiplexer) are a sort of their own: they are wrong together, and not for what their score sees.
"""

import json
from bisect import bisect_right
from collections.abc import Iterable
from functools import cache
from pathlib import Path

from tools.logs.inspection.findings import Guess, What

FILE = Path(__file__).with_name("calibration.json")
HIGHEST, LOWEST = 99, 1
DOUBTFUL = 89
"""The most for a counter or checksum of a score at which one was wrong before: acted upon, a wrong
one spoils every frame, so 90 % and more is kept for scores that never were."""
NEVER_WRONG = (What.COUNTER, What.CHECKSUM)
FEWEST = 40
Steps = list[tuple[float, int]]
"""Lowest score of a step, and its confidence in percent; rising."""


@cache
def steps_by_sort() -> dict[str, Steps]:
    """Return the steps of every sort; empty when nothing was calibrated yet."""
    if not FILE.is_file():
        return {}
    with FILE.open(encoding="utf-8") as file:
        read = json.load(file)
    return {what: [(float(s), int(c)) for s, c in steps] for what, steps in read["steps"].items()}


def sort_of(what: What, doubt: str) -> str:
    """Return the name a sort of guess has in the calibration."""
    return f"{what.value} beside {doubt}" if doubt else what.value


def fitted_by_sort(judged: Iterable[tuple[What, str, float, bool]]) -> dict[str, Steps]:
    """Return the steps of every sort from guesses as (what, doubt, score, right).

    What came less than `FEWEST` times with a doubt is left to the steps of its sort without.
    """
    by_sort: dict[tuple[What, str], tuple[list[float], list[bool]]] = {}
    for what, doubt, score, right in judged:
        scores, rights = by_sort.setdefault((what, doubt), ([], []))
        scores.append(score)
        rights.append(right)
    return {
        sort_of(what, doubt): fitted(
            scores, rights, doubtful=DOUBTFUL if what in NEVER_WRONG else HIGHEST
        )
        for (what, doubt), (scores, rights) in sorted(by_sort.items())
        if not doubt or len(scores) >= FEWEST
    }


def calibrate(guess: Guess) -> Guess:
    """Fill in the confidence of a guess and return it."""
    sorts = steps_by_sort()
    steps = sorts.get(sort_of(guess.what, guess.doubt), sorts.get(guess.what.value, []))
    place = bisect_right([score for score, _ in steps], guess.score) - 1
    guess.confidence = steps[place][1] if place >= 0 else 50 if not steps else LOWEST
    return guess


def fitted(
    scores: list[float], right: list[bool], fewest: int = FEWEST, doubtful: int = HIGHEST
) -> Steps:
    """Return rising steps from judged guesses: pool neighbours until the shares rise.

    A step holds at least `fewest` guesses, so that its share means something; one with a wrong
    guess in it gets at most `doubtful`.
    """
    groups: list[tuple[float, int, int]] = []  # lowest score, right ones, all
    at_score: dict[float, tuple[int, int]] = {}
    for score, is_right in zip(scores, right, strict=True):
        good, count = at_score.get(score, (0, 0))
        at_score[score] = good + is_right, count + 1
    for score, (good, count) in sorted(at_score.items()):
        groups.append((score, good, count))
        while len(groups) > 1:
            before, last = groups[-2], groups[-1]
            falls = before[1] * last[2] >= last[1] * before[2]
            if before[2] >= fewest and not falls:
                break
            groups[-2:] = [(before[0], before[1] + last[1], before[2] + last[2])]
    if len(groups) > 1 and groups[-1][2] < fewest:
        before, last = groups[-2], groups[-1]
        groups[-2:] = [(before[0], before[1] + last[1], before[2] + last[2])]
    steps: Steps = []
    for lowest, good, count in groups:
        share = round(100 * good / count)
        most = HIGHEST if good == count else doubtful
        steps.append((round(lowest, 4), min(most, max(LOWEST, share))))
    return steps
