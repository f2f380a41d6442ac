"""Which change of a source shows at which outputs, and what functions take for it themselves.

Found with the reference alone: the engine at rest, ideal buses, one value changed. Several values
are tried for each source, and for every output the one that shows soonest is kept.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from tools.timing.bounds import Bounds
from tools.timing.paths import Path, PathKind
from tools.timing.rig import MICRO_NS, Rig
from tools.timing.trials import Change
from xlate_core.frames import Frame

LOSSES = (PathKind.LOSS_PIN, PathKind.LOSS_SIGNAL)
LONGEST_MS = 3000  # so long after its change an effect is waited for
LONGEST_PATTERN = 1000  # ticks over which moments are spread
MOST_MOMENTS = 12
MOST_EARLY = 4
AHEAD = (1, 2, 3)  # control ticks before a frame is sent


@dataclass(frozen=True, slots=True)
class Effect:
    """A change that shows at the end of a way; `own` ticks are the function's."""

    change: Change
    own: int


def effects(
    rig: Rig, bounds: Bounds, source: str, ways: list[Path], tried: Iterable[Change] | None = None
) -> dict[str, Effect]:
    """Return the soonest effect of the source on the target of each way; none for the silent.

    The changes `tried` are those known to show, or all worth trying.
    """
    found: dict[str, Effect] = {}
    targets = {way.target: way for way in ways}
    for change in candidates(rig, source) if tried is None else tried:
        arrival, seen = _try(rig, change, set(targets))
        for target, tick in seen.items():
            own = _own(rig, bounds, targets[target], arrival, tick)
            if target not in found or own < found[target].own:
                found[target] = Effect(change, own)
        if len(found) == len(targets) and all(one.own == 0 for one in found.values()):
            break
    _just_before(rig, bounds, targets, found)
    _lengthen(rig, bounds, targets, found)
    return found


def _just_before(
    rig: Rig, bounds: Bounds, targets: dict[str, Path], found: dict[str, Effect]
) -> None:
    """Try changes that take no time of their own right before what they show in is sent.

    What a function adds up may not be enough there to show in the frame that is due.
    """
    control, tick_ns = rig.pairing.spec.control_ticks, rig.tick_ns
    for change in dict.fromkeys(one.change for one in found.values() if not one.own):
        message = change.source.rpartition(".")[0]
        mine = {
            name
            for name, one in found.items()
            if one.change == change and not one.own and targets[name].functions
        }
        if message not in rig.streams or not mine:
            continue
        period = rig.streams[message][1].period_us * MICRO_NS // tick_ns
        arrival, shown = _try(rig, change, mine)
        places = {arrival - tick + ahead * control for tick in shown.values() for ahead in AHEAD}
        for early in sorted({place % period for place in places}):
            arrival, seen = _try(rig, change, mine, early=early)
            for target, tick in seen.items():
                own = _own(rig, bounds, targets[target], arrival, tick)
                if own > found[target].own:
                    found[target] = Effect(change, own)


def _lengthen(rig: Rig, bounds: Bounds, targets: dict[str, Path], found: dict[str, Effect]) -> None:
    """Try the changes whose effect takes time of its own at other moments; keep the longest.

    One moment tells that time only to within the period of the sent message, and what a function
    counts may stand anywhere when the change comes.
    """
    for change in dict.fromkeys(one.change for one in found.values() if one.own):
        mine = [targets[name] for name, one in found.items() if one.own and one.change == change]
        pattern = min(max(bounds.pattern(way) for way in mine), LONGEST_PATTERN)
        wanted = {way.target for way in mine}
        for later, early in _moments(rig, change, pattern):
            arrival, seen = _try(rig, change, wanted, later, early)
            for target, tick in seen.items():
                own = _own(rig, bounds, targets[target], arrival, tick)
                if own > found[target].own:
                    found[target] = Effect(change, own)


def _moments(rig: Rig, change: Change, pattern: int) -> list[tuple[int, int]]:
    """Return when to try a change: ticks later in the pattern, and ticks its frames come early.

    Where the periods of source and sent message are commensurate, only the latter moves the one
    against the other.
    """
    message = ".".join(change.source.split(".")[:2])
    moving = change.source.count(".") == 2 and message in rig.streams
    period = rig.streams[message][1].period_us * MICRO_NS // rig.tick_ns if moving else 1
    step = max(1 if not moving else rig.pairing.spec.control_ticks, -(-pattern // MOST_MOMENTS))
    every = [
        (later, early)
        for later in range(0, pattern, step)
        for early in range(0, period, max(1, -(-period // MOST_EARLY)))
    ]
    return every[1 :: max(1, -(-len(every) // MOST_MOMENTS))]


def candidates(rig: Rig, source: str) -> list[Change]:
    """Return the changes worth trying, the plainest first."""
    if source.startswith("input."):
        name = source.removeprefix("input.")
        if name in rig.names.levels:
            index = rig.names.levels[name][0]
            return [Change(source, int(not rig.inputs.levels[index]))]
        pin = rig.pairing.spec.pins.analogues[rig.names.analogues[name]]
        low, high = pin.valid
        return [Change(source, low + (high - low) * part // 8) for part in (6, 7, 2, 1)]
    bus, message, *rest = source.split(".")
    if not rest:
        return [Change(source)]
    received = rig.names.received[f"{bus}.{message}"]
    signal = received.layout.signal(rest[0])
    if signal is None:
        return []
    low, high = signal.raw_range()
    for one in rig.pairing.spec.sources:
        if one.name == source:
            low, high = max(low, one.valid[0]), min(high, one.valid[1])
    resting = rig.values[f"{bus}.{message}"][rest[0]]
    span = high - low
    tried = [low + span * part // 16 for part in (8, 12, 15, 16, 6, 3, 2, 0)]
    tried += [resting + 1, resting - 1, resting + span // 50]
    return [
        Change(source, value)
        for value in dict.fromkeys(tried)
        if value != resting and low <= value <= high
    ]


def _try(
    rig: Rig, change: Change, targets: set[str], later: int = 0, early: int = 0
) -> tuple[int, dict[str, int]]:
    """Return the tick that took the change first, and the first tick each target shows it.

    For a loss the first is the tick that took the last frame.
    The change comes so many ticks `later` than the start from rest, and from then on the frames of
    its message so many `early`.
    """
    rig.at_rest()
    senders = rig.senders()
    message = ".".join(change.source.split(".")[:2])
    last = rig.last_arrival(message) if message in rig.streams else 0
    for now, _, arrived in rig.ticking(senders, rig.inputs, later):
        if message in rig.streams and _brings(rig, message, arrived):
            last = now
    inputs = rig.apply(change, senders) or rig.inputs
    arrival: int | None = None
    is_pin = change.source.startswith("input.")
    is_loss = not is_pin and change.source.count(".") == 1
    seen: dict[str, int] = {}
    ticks = LONGEST_MS // rig.pairing.spec.tick_ms
    if is_loss:
        ticks += rig.longest_hold_ms(message) // rig.pairing.spec.tick_ms
        arrival = last
    for now, outputs, arrived in rig.ticking(senders, inputs, ticks, (message, early)):
        if arrival is None and (is_pin or _brings(rig, message, arrived)):
            arrival = now
        for target in rig.differing_pins(outputs):
            seen.setdefault(target, now)
        for frame in (*outputs.frames[0], *outputs.frames[1]):
            for target in rig.differing(frame):
                seen.setdefault(target, now)
        if targets <= seen.keys():
            break
    return arrival or 0, {target: tick for target, tick in seen.items() if target in targets}


def _brings(rig: Rig, message: str, frames: tuple[Frame, ...]) -> bool:
    key = rig.names.received[message].layout.key
    return any(frame.key == key for frame in frames)


def _own(rig: Rig, bounds: Bounds, way: Path, arrival: int, shown: int) -> int:
    """Return the own time in ticks that explains when the effect showed.

    What the pairing says comes first (debounce, hold), then frames refused where plausibility is
    watched, then whole control ticks of the functions: the least that explains it could be less
    than it is, so it is looked for at many moments.
    """
    candidates = _waited_for(rig, bounds, way)
    if way.kind in LOSSES:
        arrival += bounds.deadline(way)
    if way.source_message is not None and any(
        one.watched and one.name.split(" as ")[0] == way.source for one in rig.pairing.spec.sources
    ):
        period = bounds.period_ticks(way.source_message)
        candidates += [period, 2 * period]
    for own in candidates:
        if bounds.shows_after_periodic(way, arrival, own) >= shown:
            return own
    step = rig.pairing.spec.control_ticks if way.functions else 1
    own = candidates[-1]
    while bounds.shows_after_periodic(way, arrival, own) < shown:
        own += step
    return own


def _waited_for(rig: Rig, bounds: Bounds, way: Path) -> list[int]:
    """Return the debounce of the pin, or the holds of what the lost message brings, shortest first.

    Of several quantities on the way any may be the one whose end shows.
    """
    spec = rig.pairing.spec
    if way.source.startswith("input."):
        name = way.source.removeprefix("input.")
        return [next((pin.debounce for pin in spec.pins.levels if pin.name == name), 0)]
    if way.kind not in LOSSES:
        return [0]
    carried = {
        spec.sources[index].quantity
        for unit in spec.units
        if spec.messages[unit.message].name == way.source
        for index in unit.sources
    }
    if bounds.stops(way):
        # The message falls silent with the first of its quantities that is gone.
        target = str(way.target_message)
        lost = {
            one
            for transmit in spec.transmits
            if rig.transmit_names[transmit.key] == target
            for one in transmit.loss_of
        }
        return [min((spec.quantities[one].hold for one in carried & lost), default=0)]
    reaching = bounds.on_the_way(way)
    return sorted({spec.quantities[one].hold for one in carried & reaching}) or [0]


def moves_by_itself(rig: Rig, ms: int) -> dict[str, int]:
    """Return the targets that change within a time though nothing else does, and after how many ms.

    Where a timer runs out on its own, what follows is no effect of a change.
    """
    rig.at_rest()
    found: dict[str, int] = {}
    tick_ms = rig.pairing.spec.tick_ms
    running = rig.ticking(rig.senders(), rig.inputs, ms // tick_ms)
    for number, (_, outputs, _) in enumerate(running):
        for target in rig.differing_pins(outputs):
            found.setdefault(target, number * tick_ms)
        for frame in (*outputs.frames[0], *outputs.frames[1]):
            for target in rig.differing(frame):
                found.setdefault(target, number * tick_ms)
    return found
