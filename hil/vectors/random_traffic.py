"""Traffic nobody writes by hand: from a seed, the same on every machine and every Python.

`random.Random(seed).getrandbits` is the only source of chance; its sequence is documented to stay
the same. Everything else is integer arithmetic here.

Styles: `driving` is ordinary traffic. `disturbed` adds losses, wrong checksums and counters, short
frames, silent senders, switch bounce and supply dips. `hostile` adds arbitrary identifiers, lengths
and octets, and resets. Where the pairing supervises its buses, they fail too, except in `driving`.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from random import Random

from hil.boards.interface import Stimulus
from hil.vectors.bus_statements import CONDITIONS
from hil.vectors.names import Names
from hil.vectors.scenario import Disturb, Sending
from hil.vectors.senders import Sender, Timetable, disturb, new_sender, next_frame, set_signal
from hil.vectors.stimulus import Span, Step, arriving, every_tick, initial_inputs
from xlate_core.bridge import Inputs, ResetCause
from xlate_core.buses import BusInput
from xlate_core.frames import Bus, Frame
from xlate_core.pairing.layouts import DbcSignal

GENERATOR = 1  # version of the traffic; a change makes all random vectors new
DEFAULT_PERIOD_MS = 100  # for messages without a cycle time
GOOD_BUS = BusInput()
Ranges = tuple[tuple[DbcSignal, int, int], ...]
"""The signals of a message, each with its lowest and highest valid raw value."""

NO_STIMULI: tuple[Stimulus, ...] = ()
SETTLED_MS = 200  # the first moments are quiet, so that every run reaches ordinary operation


@dataclass(slots=True)
class Chance:
    """Whole numbers of a seed."""

    source: Random
    bits: Callable[[int], int] = field(init=False)

    def __post_init__(self) -> None:
        """Look up once what is called in every tick."""
        self.bits = self.source.getrandbits

    def below(self, limit: int) -> int:
        """Return a number 0..limit-1 (limit up to 2**32; the bias of the modulo is no matter)."""
        return self.bits(48) % limit

    def one_in(self, count: int) -> bool:
        """Return true once in `count` calls on average."""
        return self.bits(48) % count == 0

    def octets(self, count: int) -> bytes:
        """Return arbitrary octets."""
        return self.source.getrandbits(8 * count).to_bytes(count, "little") if count else b""


def steps(names: Names, seed: int, style: str, ticks: int) -> Iterator[Step]:
    """Yield every tick of random traffic."""
    return every_tick(spans(names, seed, style, ticks))


def spans(names: Names, seed: int, style: str, ticks: int) -> Iterator[Span]:
    """Yield random traffic as spans.

    What is drawn in every tick is drawn here, without a call: it is what making traffic costs.
    """
    chance = Chance(Random(seed))
    bits = chance.bits
    inputs = former = initial_inputs(names)
    senders: list[Sender] = []
    ranges: dict[str, Ranges] = {}
    for index, (name, received) in enumerate(names.received.items()):
        cycle = received.layout.cycle_ms or DEFAULT_PERIOD_MS
        period = max(1, cycle // names.tick_ms)
        senders.append(new_sender(received, Sending(name, period, index % period)))
        ranges[name] = tuple((one, *one.raw_range()) for one in received.layout.signals)
    settled = SETTLED_MS // names.tick_ms
    driving, hostile = style == "driving", style == "hostile"
    buses_fail = names.pairing.spec.watches_buses and not driving
    rarely = 5000 if driving else 300
    has_levels, has_counts = bool(inputs.levels), bool(inputs.counts)
    timetable = Timetable(senders)
    first, reset, arrived = 0, None, NO_STIMULI
    for tick in range(ticks):
        restart = None
        if has_levels and (tick == 0 or bits(48) % rarely == 0):
            inputs = move_level(chance, inputs, tick)
        if has_counts and bits(48) % 50 == 0:
            inputs = move_count(chance, inputs, hostile)
        if bits(48) % rarely == 0:
            inputs = move_supply(chance, inputs, driving)
        if buses_fail and tick >= settled:
            inputs = move_buses(chance, inputs)
        stimuli: list[Stimulus] = []
        if timetable.nearest <= tick:
            for sender in timetable.leaving(tick):
                signals = ranges[sender.received.name]
                if signals and bits(48) % 3 == 0:
                    move_signal(chance, sender, signals)
                if not driving and tick >= settled and bits(48) % 40 == 0:
                    trouble(chance, sender)
                stimulus = next_frame(sender, tick)
                if stimulus is not None:
                    stimuli.append(stimulus)
        if hostile and tick >= settled:
            while bits(48) % 4 == 0:
                stimuli.append(arbitrary_frame(chance, names))
            if bits(48) % 30000 == 0:
                restart = (ResetCause(chance.below(len(ResetCause))), chance.one_in(2))
        if not driving and bits(48) % 2000 == 0:
            silence = senders[chance.below(len(senders))]
            silence.silent = not silence.silent
        if stimuli or inputs is not former or restart is not None:
            if tick:
                yield first, reset, former, arrived, tick
            first, reset, former = tick, restart, inputs
            arrived = arriving(inputs, tuple(stimuli))
    if ticks:
        yield first, reset, former, arrived, ticks


def move_level(chance: Chance, inputs: Inputs, tick: int) -> Inputs:
    """Move a switch, at the start the first one."""
    levels = inputs.levels
    place = 0 if tick == 0 else chance.below(len(levels))
    return inputs._replace(levels=(*levels[:place], not levels[place], *levels[place + 1 :]))


def move_count(chance: Chance, inputs: Inputs, hostile: bool) -> Inputs:
    """Move an analogue input a little, or rarely anywhere."""
    counts = inputs.counts
    place = chance.below(len(counts))
    moved = counts[place] + chance.below(41) - 20
    if hostile and chance.one_in(20):
        moved = chance.below(65536)
    moved = min(max(moved, 0), 65535)
    if moved == counts[place]:
        return inputs
    return inputs._replace(counts=(*counts[:place], moved, *counts[place + 1 :]))


def move_supply(chance: Chance, inputs: Inputs, driving: bool) -> Inputs:
    """Move the supply, inside what is ordinary or anywhere."""
    supply = 11000 + chance.below(3500) if driving else chance.below(18000)
    return inputs if supply == inputs.supply_mv else inputs._replace(supply_mv=supply)


def move_buses(chance: Chance, inputs: Inputs) -> Inputs:
    """Let a bus fail, or become good again, now and then."""
    for bus, given in enumerate(inputs.buses):
        if chance.one_in(2000 if given == GOOD_BUS else 150):
            conditions = tuple(CONDITIONS.values())
            moved = conditions[chance.below(len(conditions))]
            if given != GOOD_BUS and chance.one_in(2):
                moved = GOOD_BUS
            other = inputs.buses[1 - bus]
            inputs = inputs._replace(buses=(moved, other) if bus == 0 else (other, moved))
    return inputs


def move_signal(chance: Chance, sender: Sender, signals: Ranges) -> None:
    """Move one signal of a sender a little, or rarely anywhere its bits allow."""
    signal, low, high = signals[chance.below(len(signals))]
    set_signal(sender, signal.name, moved(chance, signal, low, high, sender.values[signal.name]))


def moved(chance: Chance, signal: DbcSignal, low: int, high: int, raw: int) -> int:
    """Return the next raw value of a signal that has the range `low` to `high`."""
    spec = signal.spec
    if signal.is_selector or chance.one_in(25):
        return spec.minimum + chance.source.getrandbits(spec.length)
    step = max(1, (high - low) // 64)
    return min(max(raw + chance.below(2 * step + 1) - step, low), high)


def trouble(chance: Chance, sender: Sender) -> None:
    """Disturb the next frame of a sender."""
    received = sender.received
    kinds = ["drop"]
    if received.layout.length:
        kinds.append("shorten")
    if received.layout.length == 8:
        kinds.append("code")
    if received.checksum is not None:
        kinds.append("checksum")
    if received.counter is not None:
        kinds += ["freeze", "jump"]
    kind = kinds[chance.below(len(kinds))]
    value = 0
    if kind == "shorten":
        value = chance.below(received.layout.length)
    elif kind == "code":
        value = 9 + chance.below(7)
    elif kind == "jump":
        value = 1 + chance.below(14)
    disturb(sender, Disturb(0, received.name, kind, 1 + chance.below(3), value))


def arbitrary_frame(chance: Chance, names: Names) -> Stimulus:
    """Return a frame of any identifier, often a known one, with any octets."""
    layouts = list(names.layouts.values())
    length = chance.below(9)
    if layouts and chance.one_in(2):
        layout = layouts[chance.below(len(layouts))]
        bus, extended, identifier = layout.key
    else:
        bus = chance.below(len(Bus))
        extended = chance.one_in(2)
        identifier = chance.source.getrandbits(29 if extended else 11)
    return Stimulus(Frame(bus, extended, identifier, chance.octets(length)), length)
