"""What the factory set-up sent against what the module sends: a verdict for every message.

Log A is the pattern: its rates, lengths, counter, checksum, constant bits, value ranges and rates
of change are looked for in log B. A difference is a sentence; no difference is "equal". The drives
need not be the same: a range counts as different when B leaves what A showed by more than a tenth.
"""

from dataclasses import dataclass, field

import numpy as np

from tools.logs.bits import Field, extract, words
from tools.logs.inspection.checksums import explained
from tools.logs.inspection.findings import Guess, Inspection, Material, MessageReport, What
from tools.logs.inspection.run import inspect, materials_of
from tools.logs.table import Array, FrameTable

PERIOD_TOLERANCE = 0.05
SHORTEST_TOLERANCE_US = 1_000
RANGE_TOLERANCE = 0.1
RATE_TOLERANCE = 1.5
ORDER_TOLERANCE_US = 20_000
SILENCE_US = 1_000_000
"""A bus quiet for longer starts anew: the order of first frames is taken after that."""
GOOD = 0.999
FEWEST = 4


@dataclass(slots=True)
class Verdict:
    """The differences of one message, none when it is equal."""

    bus: str
    identifier: str
    differences: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Comparison:
    """All verdicts, and what differs in the order of the first frames after a start."""

    verdicts: list[Verdict]
    start_up: list[str]

    @property
    def equal(self) -> bool:
        """Whether nothing differs."""
        return not self.start_up and not any(verdict.differences for verdict in self.verdicts)


def compare(
    pattern: FrameTable,
    other: FrameTable,
    buses: tuple[str, ...] = (),
    only: set[tuple[str, str]] | None = None,
) -> Comparison:
    """Return the comparison of two logs, on some buses or on all, of some messages or of all."""
    sides = [_Side(_only(table, buses), only or set()) for table in (pattern, other)]
    names = sorted(set(sides[0].reports) | set(sides[1].reports))
    verdicts = [_verdict(name, sides[0], sides[1]) for name in names]
    return Comparison(verdicts, _start_up(sides[0], sides[1]))


class _Side:
    """One of the two logs, inspected, its messages by bus and identifier."""

    def __init__(self, table: FrameTable, only: set[tuple[str, str]]) -> None:
        self.inspection: Inspection = inspect(table)
        materials = materials_of(table, self.inspection)
        self.reports: dict[tuple[str, str], MessageReport] = {}
        self.materials: dict[tuple[str, str], Material] = {}
        for report, material in zip(self.inspection.messages, materials, strict=True):
            name = (report.channel, report.key.show())
            if only and name not in only:
                continue
            self.reports[name] = report
            self.materials[name] = material
        self.start_us = _last_start(table.time_us)


def _only(table: FrameTable, buses: tuple[str, ...]) -> FrameTable:
    if not buses:
        return table
    chosen = [number for number, name in enumerate(table.channels) if name in buses]
    return table.rows(np.isin(table.bus, chosen))


def _last_start(times: Array) -> int:
    """Return when communication started the last time."""
    pauses = np.flatnonzero(np.diff(times) > SILENCE_US)
    return int(times[pauses[-1] + 1]) if len(pauses) else int(times[0]) if len(times) else 0


def _verdict(name: tuple[str, str], one: _Side, two: _Side) -> Verdict:
    verdict = Verdict(*name)
    if name not in two.reports:
        count = one.reports[name].timing.frames
        verdict.differences.append(f"missing: A has {count} frames, B none")
        return verdict
    if name not in one.reports:
        count = two.reports[name].timing.frames
        verdict.differences.append(f"extra: B has {count} frames, A none")
        return verdict
    a, b = one.reports[name], two.reports[name]
    if set(a.lengths) != set(b.lengths):
        lengths = ["/".join(str(each) for each in side.lengths) for side in (a, b)]
        verdict.differences.append(f"length: A {lengths[0]} octets, B {lengths[1]}")
        return verdict
    _rates(verdict, a, b)
    _protection(verdict, a, b, two.materials[name])
    _contents(verdict, a, one.materials[name], two.materials[name])
    return verdict


def _rates(verdict: Verdict, a: MessageReport, b: MessageReport) -> None:
    one, two = a.one(What.SENDING), b.one(What.SENDING)
    if one is None or two is None:
        if min(a.timing.frames, b.timing.frames) < FEWEST:
            verdict.notes.append("too few frames to compare rates")
        return
    if one.facts["sending"] != two.facts["sending"]:
        verdict.differences.append(f"sending: A {one.text}; B {two.text}")
        return
    wanted, found = int(one.facts["period_us"]), int(two.facts["period_us"])
    tolerance = max(PERIOD_TOLERANCE * wanted, SHORTEST_TOLERANCE_US)
    if abs(wanted - found) > tolerance:
        verdict.differences.append(f"rate: A {wanted / 1000:g} ms, B {found / 1000:g} ms")
    if b.timing.gaps > max(2 * a.timing.gaps, 2):
        verdict.differences.append(f"gaps: A {a.timing.gaps}, B {b.timing.gaps}")


def _protection(verdict: Verdict, a: MessageReport, b: MessageReport, material: Material) -> None:
    for guess in a.of(What.COUNTER)[:1]:
        mine = next((each for each in b.of(What.COUNTER) if each.place == guess.place), None)
        assert guess.place is not None
        if mine is None:
            verdict.differences.append(
                f"counter: A {guess.text} at {guess.place.show()}, B has none there"
            )
            continue
        wraps_elsewhere = mine.facts["modulo"] != guess.facts["modulo"] and mine.facts["end_seen"]
        if wraps_elsewhere or mine.facts["step"] != guess.facts["step"]:
            verdict.differences.append(f"counter: A {guess.text}, B {mine.text}")
    for guess in a.of(What.CHECKSUM)[:1]:
        good = explained(guess, material.payload)
        if float(np.mean(good)) < GOOD:
            wrong = int(np.count_nonzero(~good))
            verdict.differences.append(
                f"checksum: {wrong} of {len(good)} frames of B do not carry the {guess.text} of A"
            )


def _contents(verdict: Verdict, a: MessageReport, one: Material, two: Material) -> None:
    """Compare bits that A never changed, and the ranges and rates of A's fields."""
    if not len(one.payload) or not len(two.payload):
        return
    moving = sum(1 << bit for bit in a.changing_bits)
    fixed = ~moving & (1 << 8 * one.length) - 1
    strange = (words(two.payload) ^ words(one.payload[:1])) & np.uint64(fixed)
    changed = int(np.bitwise_or.reduce(strange)) if len(strange) else 0
    if changed:
        bits = [bit for bit in range(64) if changed >> bit & 1]
        frames = int(np.count_nonzero(strange))
        verdict.differences.append(
            f"constant bits: {', '.join(map(str, bits[:8]))}{' ...' if len(bits) > 8 else ''} "
            f"differ in {frames} of {len(two.payload)} frames of B"
        )
    selector = a.one(What.MULTIPLEXER)
    for guess in a.of(What.VALUE):
        assert guess.place is not None
        if guess.place.mask() & changed:
            continue
        first, second = (_rows(material, guess, selector) for material in (one, two))
        if len(first) < FEWEST or len(second) < FEWEST:
            continue
        _field(verdict, guess.place, (one, first), (two, second))


def _rows(material: Material, guess: Guess, selector: Guess | None) -> Array:
    if guess.path is None or selector is None or selector.place is None:
        return np.arange(len(material.payload))
    return np.flatnonzero(extract(selector.place, material.payload) == guess.path)


def _field(
    verdict: Verdict, place: Field, one: tuple[Material, Array], two: tuple[Material, Array]
) -> None:
    values = [extract(place, material.payload[rows]) for material, rows in (one, two)]
    times = [material.time_us[rows] for material, rows in (one, two)]
    ends = [(int(each.min()), int(each.max())) for each in values]
    slack = max(1.0, RANGE_TOLERANCE * (ends[0][1] - ends[0][0]))
    if ends[1][0] < ends[0][0] - slack or ends[1][1] > ends[0][1] + slack:
        verdict.differences.append(
            f"range of {place.show()}: A {ends[0][0]}..{ends[0][1]}, B {ends[1][0]}..{ends[1][1]}"
        )
        return
    rates = [_fastest(value, time) for value, time in zip(values, times, strict=True)]
    if rates[1] > RATE_TOLERANCE * rates[0] + 2 * slack:
        verdict.differences.append(
            f"rate of change of {place.show()}: A up to {rates[0]:.0f} a second, "
            f"B up to {rates[1]:.0f}"
        )
    if ends[1][0] == ends[1][1] and ends[0][0] != ends[0][1]:
        verdict.differences.append(
            f"value {place.show()} stands still at {ends[1][0]} in B, A {ends[0][0]}..{ends[0][1]}"
        )


def _fastest(values: Array, times: Array) -> float:
    """Return the fastest change a second, over at least 100 ms, but for one in a thousand."""
    stride = max(1, int(np.ceil(100_000 / max(1.0, float(np.median(np.diff(times)))))))
    if len(values) <= stride:
        return 0.0
    change = np.abs(values[stride:] - values[:-stride])
    rates = change / np.maximum(times[stride:] - times[:-stride], 1) * 1e6
    return float(np.quantile(rates, 0.999))


def _start_up(one: _Side, two: _Side) -> list[str]:
    """Return pairs of messages whose first frames after the start come in another order."""
    firsts: list[dict[tuple[str, str], int]] = []
    for side in (one, two):
        found = {}
        for name, material in side.materials.items():
            after = material.time_us[material.time_us >= side.start_us]
            if len(after):
                found[name] = int(after[0]) - side.start_us
        firsts.append(found)
    common = sorted(set(firsts[0]) & set(firsts[1]), key=lambda name: firsts[0][name])
    told = []
    for number, early in enumerate(common):
        for late in common[number + 1 :]:
            ahead = firsts[0][late] - firsts[0][early]
            behind = firsts[1][early] - firsts[1][late]
            if ahead > ORDER_TOLERANCE_US and behind > ORDER_TOLERANCE_US:
                told.append(
                    f"start-up: in A {' '.join(early)} comes {ahead / 1000:.1f} ms before "
                    f"{' '.join(late)}, in B {behind / 1000:.1f} ms after it"
                )
    return told
