"""A scenario, played: what reaches the module tick by tick."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from hil.boards.interface import Stimulus
from hil.vectors.names import Names
from hil.vectors.scenario import (
    FOREVER,
    SUPPLY,
    Action,
    Disturb,
    RampSignal,
    ResetModule,
    ResumeSending,
    Scenario,
    SendFrame,
    SendOnce,
    SetBus,
    SetCounts,
    SetLevel,
    SetSignal,
    StopSending,
)
from hil.vectors.senders import (
    Ramp,
    Sender,
    Timetable,
    disturb,
    new_sender,
    next_frame,
    set_signal,
)
from xlate_core.arithmetic import divide
from xlate_core.bridge import Inputs, ResetCause
from xlate_core.buses import ControllerState

INITIAL_SUPPLY_MV = 12000
GOOD_BUSES = Inputs().buses


class Step(NamedTuple):
    """What reaches the module in one tick; `inputs` is the same object while nothing changed."""

    tick: int
    reset: tuple[ResetCause, bool] | None
    inputs: Inputs
    stimuli: tuple[Stimulus, ...]


Span = tuple[int, tuple[ResetCause, bool] | None, Inputs, tuple[Stimulus, ...], int]
"""A step, and the tick up to which nothing more reaches the module; the next span begins there."""


def initial_inputs(names: Names) -> Inputs:
    """Return the inputs of scenarios before anything is set: inactive, 0 counts, 12000 mV."""
    return Inputs(
        levels=tuple(not active_high for _, active_high in names.levels.values()),
        counts=(0,) * len(names.analogues),
        supply_mv=INITIAL_SUPPLY_MV,
    )


@dataclass(slots=True)
class Repeated:
    """A raw frame sent periodically, and the tick it leaves in next."""

    action: SendFrame
    due: int


@dataclass(slots=True)
class Player:
    """The state of the bench while a scenario is played."""

    names: Names
    inputs: Inputs
    senders: dict[str, Sender]
    ramps: dict[int, Ramp] = field(default_factory=dict)
    repeated: list[Repeated] = field(default_factory=list)

    def apply(self, action: Action, tick: int) -> list[Stimulus]:
        """Apply one action; return the frames it sends in this very tick."""
        match action:
            case SetSignal():
                set_signal(self.senders[action.message], action.signal, action.raw)
            case RampSignal():
                self.senders[action.message].ramps[action.signal] = Ramp(
                    tick, action.duration, action.start, action.stop
                )
            case SetLevel():
                levels = list(self.inputs.levels)
                levels[action.index] = action.high
                self.inputs = self.inputs._replace(levels=tuple(levels))
            case SetCounts():
                self.ramps[action.index] = Ramp(
                    tick - (action.duration == 0), action.duration or 1, action.start, action.stop
                )
            case SetBus():
                buses = list(self.inputs.buses)
                buses[action.bus] = action.given
                self.inputs = self.inputs._replace(buses=(buses[0], buses[1]))
            case StopSending():
                for message in action.messages:
                    self.senders[message].silent = True
            case ResumeSending():
                for message in action.messages:
                    sender = self.senders[message]
                    if sender.silent and sender.period:
                        sender.silent = False
                        sender.due = tick
            case Disturb():
                disturb(self.senders[action.message], action)
            case SendOnce():
                stimulus = next_frame(self.senders[action.message], tick)
                return [] if stimulus is None else [stimulus]
            case SendFrame():
                if action.period:
                    self.repeated.append(Repeated(action, tick + action.period))
                return [Stimulus(action.frame, action.length_code)]
        return []

    def move_ramps(self, tick: int) -> None:
        """Move analogue inputs and the supply along their ramps."""
        for index, ramp in list(self.ramps.items()):
            exact: Fraction = ramp.at(tick)
            value = divide(exact.numerator, exact.denominator)
            if index == SUPPLY:
                if value != self.inputs.supply_mv:
                    self.inputs = self.inputs._replace(supply_mv=value)
            elif value != self.inputs.counts[index]:
                counts = list(self.inputs.counts)
                counts[index] = value
                self.inputs = self.inputs._replace(counts=tuple(counts))
            if tick >= ramp.first_tick + ramp.duration:
                del self.ramps[index]

    def repeats(self, tick: int) -> list[Stimulus]:
        """Return the periodic raw frames of this tick."""
        frames = []
        for one in self.repeated:
            if one.due == tick < one.action.until:
                frames.append(Stimulus(one.action.frame, one.action.length_code))
                one.due += one.action.period
        return frames

    def nearest(self, tick: int, due: int) -> int:
        """Return a tick behind this one before which nothing moves and no frame is due.

        `due` is the nearest one at which a sender is.
        """
        if self.ramps:
            return tick + 1
        for one in self.repeated:
            if one.due < one.action.until:
                due = min(due, one.due)
        return due


def play(scenario: Scenario, names: Names) -> Iterator[Step]:
    """Yield every tick of a scenario that is not random."""
    return every_tick(spans(scenario, names))


def every_tick(stretches: Iterable[Span]) -> Iterator[Step]:
    """Yield the ticks of spans one by one."""
    for first, reset, inputs, stimuli, until in stretches:
        yield Step(first, reset, inputs, stimuli)
        for tick in range(first + 1, until):
            yield Step(tick, None, inputs, ())


def spans(scenario: Scenario, names: Names) -> Iterator[Span]:
    """Yield a scenario that is not random as spans."""
    player = Player(
        names,
        initial_inputs(names),
        {
            name: new_sender(received, scenario.sendings.get(name))
            for name, received in names.received.items()
        },
    )
    timetable = Timetable(list(player.senders.values()))
    actions = scenario.actions
    ticks = scenario.header.ticks
    next_action = actions[0].tick if actions else FOREVER
    place = 0
    tick = 0
    while tick < ticks:
        reset = None
        late: list[Action] = []
        if next_action <= tick:
            while place < len(actions) and actions[place].tick == tick:
                action = actions[place]
                place += 1
                if isinstance(action, ResetModule):
                    reset = (action.cause, action.keep)
                elif isinstance(action, SendOnce | SendFrame):
                    late.append(action)  # behind the periodic frames of the tick
                else:
                    player.apply(action, tick)
            timetable.look_again()
            next_action = actions[place].tick if place < len(actions) else FOREVER
        if player.ramps:
            player.move_ramps(tick)
        stimuli: list[Stimulus] = []
        if timetable.nearest <= tick:
            for sender in timetable.leaving(tick):
                stimulus = next_frame(sender, tick)
                if stimulus is not None:
                    stimuli.append(stimulus)
        if player.repeated:
            stimuli += player.repeats(tick)
        for action in late:
            stimuli += player.apply(action, tick)
        until = min(player.nearest(tick, timetable.nearest), next_action, ticks)
        yield tick, reset, player.inputs, arriving(player.inputs, tuple(stimuli)), until
        tick = until


def arriving(inputs: Inputs, stimuli: tuple[Stimulus, ...]) -> tuple[Stimulus, ...]:
    """Return what reaches the module: nothing of a bus that is off or not understood."""
    if not stimuli or inputs.buses == GOOD_BUSES:
        return stimuli
    deaf = [one.state == ControllerState.BUS_OFF or one.errors > 0 for one in inputs.buses]
    if not any(deaf):
        return stimuli
    return tuple(one for one in stimuli if not deaf[one.frame.bus])
