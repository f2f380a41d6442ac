"""From the score of a guess to a confidence: the share of such guesses that were right before.

`calibration.json` beside this module holds, per sort of guess, rising steps of score and the share
that was right on invented networks; `xlate log try-inspect --calibrate` writes it anew. The seeds
it is made from are not the seeds it is tried on.
"""

import json
from bisect import bisect_right
from functools import cache
from pathlib import Path

from tools.logs.inspection.findings import Guess

FILE = Path(__file__).with_name("calibration.json")
HIGHEST, LOWEST = 99, 1
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


def calibrate(guess: Guess) -> Guess:
    """Fill in the confidence of a guess and return it."""
    steps = steps_by_sort().get(guess.what.value, [])
    place = bisect_right([score for score, _ in steps], guess.score) - 1
    guess.confidence = steps[place][1] if place >= 0 else 50 if not steps else LOWEST
    return guess


def fitted(scores: list[float], right: list[bool], fewest: int = 40) -> Steps:
    """Return rising steps from judged guesses: pool neighbours until the shares rise.

    A step holds at least `fewest` guesses, so that its share means something.
    """
    order = sorted(range(len(scores)), key=lambda number: scores[number])
    groups: list[tuple[float, int, int]] = []  # lowest score, right ones, all
    for number in order:
        groups.append((scores[number], int(right[number]), 1))
        while len(groups) > 1:
            before, last = groups[-2], groups[-1]
            too_small = before[2] < fewest
            falls = before[1] * last[2] >= last[1] * before[2]
            same_score = before[0] == last[0]
            if not (too_small or falls or same_score):
                break
            groups[-2:] = [(before[0], before[1] + last[1], before[2] + last[2])]
    if len(groups) > 1 and groups[-1][2] < fewest:
        before, last = groups[-2], groups[-1]
        groups[-2:] = [(before[0], before[1] + last[1], before[2] + last[2])]
    steps: Steps = []
    for lowest, good, count in groups:
        share = round(100 * good / count)
        steps.append((round(lowest, 4), min(HIGHEST, max(LOWEST, share))))
    return steps
