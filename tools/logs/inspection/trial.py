"""How often the guesses are right: inspected invented networks, judged by what they really send.

A guess is right when a person who acts on it would be right:

* counter: its place and modulo, or its place when the guess says its end was not seen
* checksum: its place and family, or one of those the guess says cannot be told apart
* multiplexer: the selector's place, as far as its bits moved
* value: the field, but for upper bits that never moved; signed when negative values came
* sending: cyclic, on change, or mixed, and the period within 2 %
* follows: a field of that series, its scale within 1 %
"""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tools.logs.bits import Field
from tools.logs.inspection.findings import Guess, Inspection, MessageReport, What
from tools.logs.inspection.references import Reference, follow
from tools.logs.inspection.run import inspect, materials_of
from tools.logs.synthetic.driving import Series, drive
from tools.logs.synthetic.networks import random_network
from tools.logs.synthetic.render import render
from tools.logs.synthetic.truth import Role, Sending, TrueMessage, TrueNetwork

SURE = 90
JUDGED = (What.SENDING, What.COUNTER, What.CHECKSUM, What.MULTIPLEXER, What.VALUE, What.FOLLOWS)


@dataclass(slots=True)
class Tally:
    """The verdicts on the guesses of one sort, and how many truths of that sort were found."""

    scores: list[float] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    confidences: list[int] = field(default_factory=list)
    right: list[bool] = field(default_factory=list)
    truths: int = 0
    found: int = 0

    def precision(self, sure: int = 0) -> float | None:
        """Return the share of right guesses of at least a confidence, None without any."""
        chosen = [r for r, c in zip(self.right, self.confidences, strict=True) if c >= sure]
        return sum(chosen) / len(chosen) if chosen else None

    def recall(self) -> float | None:
        """Return the share of truths that were found."""
        return self.found / self.truths if self.truths else None


@dataclass(slots=True)
class Trial:
    """Tallies by sort over so many networks, and every wrong guess as a sentence."""

    tallies: dict[What, Tally] = field(default_factory=lambda: defaultdict(Tally))
    wrong: list[str] = field(default_factory=list)
    frames: int = 0
    networks: int = 0

    def marked(self, low: int, high: int) -> tuple[int, int]:
        """Return right and all guesses of any sort with a confidence of low..high percent."""
        chosen = [
            right
            for tally in self.tallies.values()
            for right, confidence in zip(tally.right, tally.confidences, strict=True)
            if low <= confidence <= high
        ]
        return sum(chosen), len(chosen)


def run_trial(
    seeds: range,
    seconds: float = 60,
    messages: int = 24,
    progress: Callable[[Trial], None] | None = None,
) -> Trial:
    """Return the verdicts over the networks of some seeds; `progress` is told those so far."""
    trial = Trial()
    for seed in seeds:
        series = drive(seconds, seed)
        network = random_network(seed, series, messages)
        table = render(network, series, seconds, seed)
        inspection = inspect(table)
        references = [_noted(each, seconds, seed) for each in series.values()]
        for place, guess in follow(inspection, materials_of(table, inspection), references):
            inspection.messages[place].add(guess)
        trial.frames += len(table)
        judge(trial, network, inspection, seed)
        trial.networks += 1
        if progress is not None:
            progress(trial)
    return trial


def _noted(series: Series, seconds: float, seed: int) -> Reference:
    """Return a series as a person's instrument shows it: 10 times a second, coarse, a bit late."""
    chance = np.random.default_rng((seed, 99))
    times = np.arange(0, int(seconds * 1e6), 100_000)
    span = float(np.ptp(series.values)) or 1.0
    values = series.at(np.maximum(times - 50_000, 0)) + chance.normal(0, 0.002 * span, len(times))
    step = span / 400
    return Reference(series.name, "an invented instrument", times, np.round(values / step) * step)


def judge(trial: Trial, network: TrueNetwork, inspection: Inspection, seed: int) -> None:
    """Judge every guess of an inspection, and count the truths that were found."""
    for report in inspection.messages:
        message = network.message(report.key)
        assert message is not None
        for guess in report.guesses:
            if guess.what not in JUDGED:
                continue
            tally = trial.tallies[guess.what]
            right = _is_right(guess, message, report)
            tally.scores.append(guess.score)
            tally.doubts.append(guess.doubt)
            tally.confidences.append(guess.confidence)
            tally.right.append(right)
            if not right:
                trial.wrong.append(
                    f"seed {seed}, {message.name}, {guess.what} {guess.confidence} %: "
                    f"{guess.place.show() if guess.place else ''} {guess.text}"
                )
        _count_truths(trial, message, report)


def _is_right(guess: Guess, message: TrueMessage, report: MessageReport) -> bool:
    if guess.what is What.SENDING:
        return _sending_right(guess, message)
    assert guess.place is not None
    if guess.what is What.COUNTER:
        return _counter_right(guess, guess.place, message)
    if guess.what is What.CHECKSUM:
        return _checksum_right(guess, guess.place, message)
    if guess.what is What.MULTIPLEXER:
        selector = message.selector
        return selector is not None and _visible(selector.place, guess.place, report)
    if guess.what is What.VALUE:
        return _value_right(guess, guess.place, message)
    return any(
        each.role is Role.VALUE
        and each.series == guess.facts["reference"]
        and each.place.mask() & guess.place.mask()
        and abs(guess.facts["factor"] / each.factor - 1) < 0.01
        for each in message.fields
    )


def _sending_right(guess: Guess, message: TrueMessage) -> bool:
    if guess.facts["sending"] != message.sending.value:
        return False
    if message.sending is Sending.CHANGE:
        return True
    return abs(int(guess.facts["period_us"]) - message.period_us) <= 0.02 * message.period_us


def _counter_right(guess: Guess, place: Field, message: TrueMessage) -> bool:
    counter = message.counter
    if counter is None:
        return False
    if not guess.facts["end_seen"]:
        return place.places()[0] == counter.place.places()[0]
    return place.same_bits(counter.place) and guess.facts["modulo"] == counter.modulo


def _checksum_right(guess: Guess, place: Field, message: TrueMessage) -> bool:
    truth = message.checksum
    if truth is None:
        return False
    here = place.same_bits(truth.place) or truth.place.show() in guess.facts["also_at"]
    families = [guess.facts["family"], *guess.facts["other_families"]]
    return here and truth.family in families


def _visible(truth: Field, guess: Field, report: MessageReport) -> bool:
    """Whether a place is the true one but for bits that never changed."""
    moving = [place for place in truth.places() if place in report.changing_bits]
    return bool(moving) and set(moving) <= set(guess.places()) <= set(truth.places())


def _value_right(guess: Guess, place: Field, message: TrueMessage) -> bool:
    """Whether a value is the true field but for upper bits that never moved."""
    for each in message.fields:
        bits = each.place.places()
        if each.role is not Role.VALUE or bits[: place.length] != place.places():
            continue
        if (each.path is None) != (guess.path is None):
            continue
        if any(guess.facts["moving_bits"] >> bit & 1 for bit in bits[place.length :]):
            continue
        whole = place.length == len(bits)
        if place.signed == (each.place.signed and whole):
            return True
    return False


def _count_truths(trial: Trial, message: TrueMessage, report: MessageReport) -> None:
    if message.counter is not None:
        tally = trial.tallies[What.COUNTER]
        tally.truths += 1
        guesses = report.of(What.COUNTER)
        tally.found += any(
            guess.place is not None and _counter_right(guess, guess.place, message)
            for guess in guesses
        )
    if message.checksum is not None:
        tally = trial.tallies[What.CHECKSUM]
        tally.truths += 1
        tally.found += any(
            guess.place is not None and _checksum_right(guess, guess.place, message)
            for guess in report.of(What.CHECKSUM)
        )
    if message.selector is not None:
        tally = trial.tallies[What.MULTIPLEXER]
        tally.truths += 1
        tally.found += any(
            guess.place is not None and _visible(message.selector.place, guess.place, report)
            for guess in report.of(What.MULTIPLEXER)
        )
    for each in message.fields:
        if each.role is not Role.VALUE:
            continue
        if not any(place in report.changing_bits for place in each.place.places()):
            continue
        tally = trial.tallies[What.VALUE]
        tally.truths += 1
        tally.found += any(
            guess.place is not None
            and each.place.places()[: guess.place.length] == guess.place.places()
            for guess in report.of(What.VALUE)
        )
    _count_planted(trial, message, report)


def _count_planted(trial: Trial, message: TrueMessage, report: MessageReport) -> None:
    """Count the series that are sent in a message, each once, and those found with their scale."""
    planted: dict[str, list[float]] = defaultdict(list)
    for each in message.fields:
        moved = sum(place in report.changing_bits for place in each.place.places())
        if each.role is Role.VALUE and each.path is None and moved >= 4:
            planted[each.series].append(each.factor)
    tally = trial.tallies[What.FOLLOWS]
    for series, factors in planted.items():
        tally.truths += 1
        tally.found += any(
            guess.facts["reference"] == series
            and any(abs(guess.facts["factor"] / factor - 1) < 0.01 for factor in factors)
            for guess in report.of(What.FOLLOWS)
        )
