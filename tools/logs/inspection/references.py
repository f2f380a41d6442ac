"""Fields that follow a signal a person knows: from a CSV file, from OBD answers, from another bus.

For every field, and for further cuts of the payload, the reference is taken at the times of the
frames, moved by the delay that fits best, and fitted by a straight line that a fifth of wrong
points does not move (iterated least squares with Tukey's weights).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tools.logs.bits import Field, extract
from tools.logs.inspection.confidence import calibrate
from tools.logs.inspection.findings import Guess, Inspection, Material, What, doubt_of
from tools.logs.table import Array

BIN_US = 500_000
FEWEST_BINS = 20
MOST_BINS = 600
MOST_LINES = 12
SLACK_US = 5_000_000
"""How much of the log a reference may leave out at each end."""
DELAYS_US = (0, 50_000, 100_000, 200_000, 300_000, 500_000, -50_000, -100_000, -200_000)
WORTH_A_LOOK = 0.75
FOLLOWS = 0.97
_TUKEY = 4.685


@dataclass(frozen=True, slots=True)
class Reference:
    """A known signal: rising times in microseconds on the clock of the log, and its values."""

    name: str
    source: str
    time_us: Array
    values: Array


@dataclass(frozen=True, slots=True)
class Line:
    """value = raw * factor + offset, with the share of the reference's scatter it explains."""

    factor: float
    offset: float
    explained: float
    delay_us: int
    points: int


def follow(
    inspection: Inspection, materials: list[Material], references: list[Reference]
) -> list[tuple[int, Guess]]:
    """Return, by message number, the fields that follow a reference; a field only its best one."""
    found: list[tuple[int, Guess]] = []
    for number, material in enumerate(materials):
        report = inspection.messages[number]
        known = [g.place for g in report.of(What.VALUE) if g.place is not None and g.path is None]
        taken = 0
        for guess in (*report.of(What.COUNTER), *report.of(What.CHECKSUM)):
            taken |= guess.place.mask() if guess.place is not None else 0
        mine: list[Guess] = []
        for reference, place, line in _best_of_message(material, references, known, taken):
            mine.append(_guess(reference, place, line))
        mine.sort(key=lambda guess: -float(guess.facts["explained"]))
        covered = 0
        for guess in mine:
            assert guess.place is not None
            if not guess.place.mask() & covered:
                covered |= guess.place.mask()
                guess.doubt = doubt_of(report.one(What.MULTIPLEXER), report.one(What.CHECKSUM))
                found.append((number, calibrate(guess)))
    return found


def _best_of_message(
    material: Material, references: list[Reference], known: list[Field], taken: int
) -> Iterator[tuple[Reference, Field, Line]]:
    """Yield for each reference the cut of a message that follows it best."""
    bins = _bins(material)
    if bins is None:
        return
    rows, starts, counts = bins
    times, payload = material.time_us[rows], material.payload[rows]
    places = list(_cuts(payload, material.length, known, taken))
    if not places:
        return
    raws = np.stack([_means(extract(place, payload), starts, counts) for place, _ in places])
    spread = raws.std(axis=1)
    alike_raws = (raws - raws.mean(axis=1, keepdims=True)) / np.where(spread, spread, 1)[:, None]
    for reference in references:
        if (
            reference.time_us[0] > times[0] + SLACK_US
            or reference.time_us[-1] < times[-1] - SLACK_US
        ):
            continue
        wanted = np.stack([_means(_at(reference, times, d), starts, counts) for d in DELAYS_US])
        scatter = wanted.std(axis=1)
        if not bool(np.all(scatter)):
            continue
        alike_wanted = (wanted - wanted.mean(axis=1, keepdims=True)) / scatter[:, None]
        alike = np.abs(alike_raws @ alike_wanted.T) / len(starts)
        closest = alike.max(axis=1)
        order = np.argsort(-closest)[:MOST_LINES]
        chosen = [n for n in range(len(places)) if n in order or places[n][1]]
        best: tuple[float, Field, Line] | None = None
        for number in chosen:
            if closest[number] < WORTH_A_LOOK or not spread[number]:
                continue
            delay = int(alike[number].argmax())
            line = _line(raws[number], wanted[delay], DELAYS_US[delay])
            place, is_known = places[number]
            # A field with clear ends is worth more than a cut that fits by a hair better.
            worth = line.explained + (0.004 if is_known else 0.0) - 0.0001 * place.length
            if best is None or worth > best[0]:
                best = (worth, place, line)
        if best is not None and best[2].explained >= FOLLOWS:
            yield reference, best[1], best[2]


def _bins(material: Material) -> tuple[Array, Array, Array] | None:
    """Return rows in short stretches of time with the start and the size of each stretch.

    Averages over a stretch are free of most of the noise and the rounding of both sides, which
    would make the fitted scale too small.
    """
    times = material.time_us
    if len(times) < FEWEST_BINS:
        return None
    number = (times - times[0]) // BIN_US
    _, starts = np.unique(number, return_index=True)
    if len(starts) < FEWEST_BINS:
        return None
    ends = np.append(starts[1:], len(times))
    kept = np.unique(np.linspace(0, len(starts) - 1, MOST_BINS).astype(np.int64))
    rows = np.concatenate([np.arange(starts[n], ends[n]) for n in kept])
    counts = ends[kept] - starts[kept]
    return rows, np.concatenate(([0], np.cumsum(counts)[:-1])).astype(np.int64), counts


def _means(values: Array, starts: Array, counts: Array) -> Array:
    return np.asarray(np.add.reduceat(values.astype(np.float64), starts) / counts)


def _cuts(
    payload: Array, length: int, known: list[Field], taken: int
) -> Iterator[tuple[Field, bool]]:
    """Yield the found fields, then cuts at nibbles in both byte orders and with both signs."""
    for place in known:
        yield place, True
    moving = np.bitwise_or.reduce(payload ^ payload[0], axis=0)
    for width in (8, 10, 12, 16):
        for start in range(0, 8 * length, 4):
            for motorola in (False, True):
                if width == 8 and motorola:
                    continue
                place = Field(start + 3 if motorola else start, width, motorola)
                places = place.places()
                if max(places) >= 8 * length or place.mask() & taken:
                    continue
                if any(moving[bit // 8] for bit in places):
                    yield place, False
                    yield Field(place.start, width, motorola, True), False


def _at(reference: Reference, times: Array, delay_us: int) -> Array:
    return np.asarray(np.interp(times + delay_us, reference.time_us, reference.values))


def _line(raw: Array, wanted: Array, delay_us: int) -> Line:
    """Return the robust line from raw values to wanted ones."""
    weights = np.ones(len(raw))
    factor = offset = 0.0
    left = wanted
    for _ in range(12):
        total = float(weights.sum())
        middle = float((weights * raw).sum()) / total
        height = float((weights * wanted).sum()) / total
        spread = float((weights * (raw - middle) ** 2).sum())
        if spread == 0:
            break
        factor = float((weights * (raw - middle) * (wanted - height)).sum()) / spread
        offset = height - factor * middle
        left = wanted - (raw * factor + offset)
        scatter = 1.4826 * float(np.median(np.abs(left)))
        if scatter == 0:
            break
        shares = np.clip(left / (_TUKEY * scatter), -1, 1)
        weights = (1 - shares**2) ** 2
    of_wanted = float(np.median(np.abs(wanted - np.median(wanted)))) or float(np.std(wanted))
    unexplained = float(np.median(np.abs(left))) / of_wanted if of_wanted else 1.0
    return Line(factor, offset, 1 - unexplained**2, delay_us, len(raw))


def _guess(reference: Reference, place: Field, line: Line) -> Guess:
    text = f"follows {reference.name}: value = raw * {line.factor:.6g} + {line.offset:.6g}"
    evidence = (
        f"{line.explained:.2%} of the scatter explained over {line.points} stretches of 0.5 s, "
        f"reference from {reference.source}, {line.delay_us / 1000:g} ms later"
    )
    facts = {
        "reference": reference.name,
        "factor": line.factor,
        "offset": line.offset,
        "explained": round(line.explained, 5),
        "delay_us": line.delay_us,
    }
    score = max(0.0, (line.explained - FOLLOWS) / (1 - FOLLOWS))
    return Guess(What.FOLLOWS, text, place, score, evidence, facts)
