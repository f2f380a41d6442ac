"""The vehicle functions alone: quantities given, one control tick after the other, no bus.

Many times as fast as the whole engine, so situations are sought here and only then brought about
in a rig. What values of its sources and losses of their messages make of a quantity is measured in
the rig at plain rest, once for each combination.
"""

from collections.abc import Callable, Collection, Iterable
from copy import copy, deepcopy
from dataclasses import dataclass, field
from typing import Any

from tools.timing.rig import Rig
from tools.timing.trials import Change, Stage
from xlate_core import power
from xlate_core.fields import Width
from xlate_core.functions import FUNCTIONS
from xlate_core.quantities import QuantityState, QuantityStore

MEASURE_MS = 300  # or three periods of the source
SHORT_RANGE = 15  # a quantity of so few values stands differently with each
MOST_SWITCHES = 3  # of more no account is taken
RANGES = 4  # of a quantity of more values; in each of them it stands differently


@dataclass(slots=True)
class Situation:
    """What the functions remember, what they are given, and the stages that led here.

    `values` are those of the sources that were changed; `moving` are quantities made that are not
    at rest.
    """

    power: Any
    functions: list[Any]
    store: QuantityStore
    resting: tuple[Stage, ...] = ()
    values: dict[str, int] = field(default_factory=dict)
    silent: frozenset[str] = frozenset()
    moving: frozenset[int] = frozenset()


class Desk:
    """Some functions of a pairing, with what decides the power mode."""

    def __init__(self, rig: Rig, functions: Collection[str], carried: Collection[int]) -> None:
        """Take up everything as it is at plain rest; `carried` are quantities to be looked at."""
        self.rig = rig
        self.spec = rig.pairing.spec
        self.places = [
            place for place, one in enumerate(self.spec.functions) if one.name in functions
        ]
        self.step_ms = self.spec.tick_ms * self.spec.control_ticks
        self.made = [
            index
            for index, one in enumerate(rig.pairing.quantities)
            if index in carried
            or any(maker.removeprefix("function ") in functions for maker in one.written_by)
        ]
        self.sources = [
            tuple(self.spec.sources[one].name.split(" as ")[0] for one in quantity.sources)
            for quantity in self.spec.quantities
        ]
        switches = [
            index
            for index, (one, spec) in enumerate(
                zip(rig.pairing.quantities, self.spec.quantities, strict=True)
            )
            if spec.sources and spec.high - spec.low == 1
            if any(reader.removeprefix("function ") in functions for reader in one.read_by)
        ]
        self.switches = switches if len(switches) <= MOST_SWITCHES else []
        self._given: dict[tuple[Change, ...], tuple[QuantityState, ...]] = {}
        rig.at_rest()
        control = rig.readable.control
        store = QuantityStore(self.spec.quantities, deepcopy(rig.readable.common.store.states))
        self.plain = Situation(deepcopy(control.power), deepcopy(control.functions), store)

    def after(self, before: Situation, stage: Stage) -> Situation:
        """Return the situation after a stage."""
        now = Situation(
            copy(before.power),
            list(before.functions),
            QuantityStore(self.spec.quantities, [copy(one) for one in before.store.states]),
            (*before.resting, stage),
            dict(before.values),
            before.silent,
        )
        for place in self.places:
            now.functions[place] = deepcopy(before.functions[place])
        if stage.changes:
            self._apply(now, stage.changes)
        steps = [
            (self.spec.functions[place], FUNCTIONS[type(self.spec.functions[place])][1], place)
            for place in self.places
        ]
        count = stage.ms // self.step_ms
        looking = count - min(stage.ms, self.rig.look_ms) // self.step_ms
        states = now.store.states
        first: list[int] = []
        for number in range(count):
            if number == looking:
                first = [states[index].value for index in self.made]
            power.step(self.spec.power, now.power, now.store)
            if self.spec.power.mode_quantity >= 0:
                now.store.publish(self.spec.power.mode_quantity, now.power.mode)
            for spec, step, place in steps:
                step(spec, now.functions[place], now.store, now.power)
        now.moving = frozenset(
            index
            for index, value in zip(self.made, first, strict=bool(count))
            if value != states[index].value
        )
        return now

    def _apply(self, now: Situation, changes: Collection[Change]) -> None:
        """Give the functions what the changes make of the quantities."""
        for change in changes:
            if message_of(change.source) == change.source:
                now.silent |= {change.source}
            elif message_of(change.source) not in now.silent:
                now.values.pop(change.source, None)  # the latest stands last
                now.values[change.source] = change.value
        moved = {change.source for change in changes}
        for index, sources in enumerate(self.sources):
            if moved.isdisjoint((*sources, *map(message_of, sources))):
                continue
            mine = [Change(one, now.values[one]) for one in sources if one in now.values]
            lost = {message_of(one) for one in sources} & now.silent
            mine += [Change(one) for one in sorted(lost)]
            now.store.states[index] = copy(self._measured(tuple(mine))[index])

    def _measured(self, changes: tuple[Change, ...]) -> tuple[QuantityState, ...]:
        """Return all quantities some time after changes at plain rest."""
        if changes not in self._given:
            ms = MEASURE_MS
            for change in changes:
                message = message_of(change.source)
                if message in self.rig.streams:
                    ms = max(ms, 3 * self.rig.streams[message][1].period_us // 1000 + MEASURE_MS)
                if message == change.source:
                    ms += self.rig.longest_hold_ms(message)
            rig = self.rig.onward(Stage(changes, ms))
            self._given[changes] = tuple(map(copy, rig.readable.common.store.states))
        return self._given[changes]

    def standing(self, one: Situation) -> tuple[object, ...]:
        """Return how the functions stand.

        What they remember in single octets, what they make, and a few switches they are given.
        """
        found: list[object] = [int(one.power.mode)]
        for place in self.places:
            for record in _records(one.functions[place]):
                found += [getattr(record, f.name) for f in record.FIELDS if f.width is Width.U8]
        for index in self.made:
            spec, state = self.spec.quantities[index], one.store.states[index]
            span = spec.high - spec.low
            found.append(
                state.value
                if span <= SHORT_RANGE
                else (index in one.moving, (state.value - spec.low) * RANGES // span)
            )
        found += [one.store.states[index].value for index in self.switches]
        return tuple(found)

    def otherwise(self, one: Situation, other: Situation, among: Iterable[int]) -> set[int]:
        """Return the quantities that differ between two situations."""
        return {
            index
            for index in among
            if one.store.states[index].value != other.store.states[index].value
            or one.store.states[index].status != other.store.states[index].status
        }


def message_of(source: str) -> str:
    """Return the message of a source, "bus.MESSAGE"; of a pin something no message is called."""
    return "pin" if source.startswith("input.") else ".".join(source.split(".")[:2])


def _records(state: Any) -> list[Any]:
    """Return a function's record and those inside it."""
    parts: Callable[[], list[Any]] = getattr(state, "parts", list)
    return [state, *parts()]
