"""Searches for the input that keeps the core busy longest, by climbing from random starts.

A try is: reset, every received message once with the pins at rest, a wait that settles the phase of
every cyclic message, then a few ticks before which any messages arrive with any contents and pins
move. The search changes one thing at a time and keeps what does not get better only by chance.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random

from hil.boards.interface import Stimulus
from hil.measuring.corpus import frame_words
from hil.measuring.meter import Meter, Plan
from xlate_core.bridge import BridgeSpec, Inputs
from xlate_core.frames import Frame
from xlate_core.pairing.model import Pairing
from xlate_core.protection import seal

SHOTS = 3  # ticks with traffic at the end of a try
MOST_WAIT = 1500  # ticks; longer than first deadlines, start-up times and every period
RESTART_EVERY = 50  # tries; so a shorter search is the beginning of a longer one


@dataclass(frozen=True, slots=True)
class Shot:
    """One tick of a try: which messages arrive before it with which octets, and its inputs."""

    messages: tuple[tuple[int, bytes], ...]
    inputs: Inputs


@dataclass(frozen=True, slots=True)
class Try:
    """A whole try; `wait` in ticks."""

    rest: Inputs
    wait: int
    shots: tuple[Shot, ...]


@dataclass(slots=True)
class Worst:
    """The worst input found, in counts."""

    counts: int
    found: Try | None
    tries: int


def random_inputs(spec: BridgeSpec, chance: Random) -> Inputs:
    """Return any inputs, with a supply that most pairings take for good."""
    return Inputs(
        levels=tuple(chance.random() < 0.5 for _ in spec.pins.levels),
        counts=tuple(chance.randrange(4096) for _ in spec.pins.analogues),
        supply_mv=chance.choice((12000, 12000, 13500, 8000)),
    )


def random_messages(spec: BridgeSpec, chance: Random) -> tuple[tuple[int, bytes], ...]:
    """Return most messages of the pairing with any octets."""
    return tuple(
        (index, chance.randbytes(8)) for index in range(len(spec.messages)) if chance.random() < 0.8
    )


def random_try(spec: BridgeSpec, chance: Random) -> Try:
    """Return a start of the search."""
    shots = tuple(
        Shot(random_messages(spec, chance), random_inputs(spec, chance)) for _ in range(SHOTS)
    )
    return Try(random_inputs(spec, chance), chance.randrange(MOST_WAIT), shots)


def neighbour(spec: BridgeSpec, chance: Random, former: Try) -> Try:
    """Return the try with one thing changed."""
    kind = chance.randrange(5)
    if kind == 0:
        return replace(former, wait=chance.randrange(MOST_WAIT))
    if kind == 1:
        return replace(former, wait=max(0, former.wait + chance.randrange(-12, 13)))
    if kind == 2:
        return replace(former, rest=random_inputs(spec, chance))
    place = chance.randrange(SHOTS)
    shot = former.shots[place]
    if kind == 3:
        shot = replace(shot, inputs=random_inputs(spec, chance))
    else:
        kept = dict(shot.messages)
        for _ in range(chance.randrange(1, 4)):
            index = chance.randrange(max(len(spec.messages), 1))
            if index in kept and chance.random() < 0.3:
                del kept[index]
            elif index < len(spec.messages):
                kept[index] = chance.randbytes(8)
        shot = replace(shot, messages=tuple(sorted(kept.items())))
    shots = (*former.shots[:place], shot, *former.shots[place + 1 :])
    return replace(former, shots=shots)


def frame_of(spec: BridgeSpec, index: int, octets: bytes, counters: list[int]) -> Stimulus:
    """Return the next good frame of a message with these octets."""
    message = spec.messages[index]
    if message.counter is not None:
        counters[index] = (counters[index] + 1) % message.counter.modulo
    data = seal(message.counter, message.checksum, octets[: message.length], counters[index])
    return Stimulus(Frame(*message.key, data), len(data))


def plan_of(spec: BridgeSpec, one: Try) -> tuple[Plan, list[int]]:
    """Return the records of a try, and the places of the answers that count."""
    plan, places = Plan(), []
    counters = [0] * len(spec.messages)
    plan.reset()
    for index in range(len(spec.messages)):
        plan.frame(frame_of(spec, index, bytes(8), counters))
    plan.tick(one.rest)
    plan.wait(one.wait)
    places.append(len(plan.records) - 1)
    for shot in one.shots:
        for index, octets in shot.messages:
            plan.frame(frame_of(spec, index, octets, counters))
        plan.tick(shot.inputs)
        places.append(len(plan.records) - 1)
    return plan, places


def search(
    meter: Meter,
    pairing: Pairing,
    tries: int,
    seed: int,
    progress: Callable[[str], None] = lambda _: None,
) -> Worst:
    """Climb from several starts, `tries` tries in all; the same seed finds the same."""
    spec = pairing.spec
    chance = Random(seed)
    worst = Worst(0, None, tries)
    best, best_counts = random_try(spec, chance), 0
    for number in range(tries):
        fresh = number % RESTART_EVERY == 0
        one = random_try(spec, chance) if fresh else neighbour(spec, chance, best)
        plan, places = plan_of(spec, one)
        answers = meter.run(plan)
        counts = max(answers[place] for place in places)
        if fresh or counts >= best_counts:
            best, best_counts = one, counts
        if counts > worst.counts:
            worst.counts, worst.found = counts, one
            progress(f"try {number + 1}/{tries}: {counts}")
    return worst


def words(spec: BridgeSpec, one: Try) -> list[str]:
    """Return a try as text, so that a person can repeat it."""
    counters = [0] * len(spec.messages)
    for index in range(len(spec.messages)):
        frame_of(spec, index, bytes(8), counters)
    start = (
        "reset; every received message once, data 0, in the order of the pairing; "
        f"levels {one.rest.levels}, counts {one.rest.counts}, supply {one.rest.supply_mv} mV; "
        f"then {one.wait} ticks"
    )
    lines = [start]
    for number, shot in enumerate(one.shots):
        frames = [frame_of(spec, index, octets, counters) for index, octets in shot.messages]
        text = "; ".join(frame_words(stimulus.frame) for stimulus in frames)
        lines.append(
            f"tick {number + 1}: levels {shot.inputs.levels}, counts {shot.inputs.counts}, "
            f"supply {shot.inputs.supply_mv} mV; {text or 'no frame'}"
        )
    return lines
