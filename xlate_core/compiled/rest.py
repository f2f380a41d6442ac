"""Who is at rest, and what wakes whom: faults, power mode, conditions and vehicle functions.

Everybody who is at rest has a trial (`trial.py`) that says so. For each quantity the ranges of all
who read it are cut to one: while its value stays inside, and its status and origin the same, nobody
needs to be woken. Waking too often costs time only.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from xlate_core.arithmetic import UINT16_MAX
from xlate_core.bridge import Bridge
from xlate_core.compiled import interpreted
from xlate_core.compiled.shadow import try_control
from xlate_core.compiled.tracing import HIGHEST, LOWEST
from xlate_core.compiled.trial import FOREVER, RecordedPower, RecordedStore, Rest, attempt
from xlate_core.functions import PURE

CONTROL = -1  # faults and power mode, which are run together
CONDITIONS = -2
NOTHING = (1, 0, 0, 0)  # a range no value is in
# A trial is interpreted: it costs as much as so many control ticks of what it lets rest.
FIRST_PATIENCE = 128 if interpreted.TRANSLATED else 32
LONGEST_PATIENCE = 4096 if interpreted.TRANSLATED else 256  # control ticks between two trials
WORTH = 128 if interpreted.TRANSLATED else 16  # control ticks of rest that pay for a trial
WORTH_CONTROL = 256 if interpreted.TRANSLATED else 64  # a trial of faults and power mode costs more


@dataclass(slots=True)
class Sleepers:
    """Who is at rest in one engine; functions by index, CONTROL and CONDITIONS as one each.

    - `busy[n]` says that function n has to be run on every control tick;
    - `control_awake`: faults and power mode have to be run; `judge`: conditions have to be judged;
    - `next_trial` is the number of control ticks before which nobody is tried;
    - `horizon` is the number of control ticks up to which everybody's rest reaches;
    - `seen[n]` is, by quantity, the range, status and origin with which somebody went to rest;
    - `woken` collects quantities that left their range, or changed status or origin.
    """

    bridge: Bridge
    quiet: Sequence[Callable[[int, int], None]]
    busy: list[bool] = field(default_factory=list)
    control_awake: bool = True
    judge: bool = False
    horizon: int = 0
    woken: list[int] = field(default_factory=list)
    rests: dict[int, Rest] = field(default_factory=dict)
    patience: list[int] = field(default_factory=list)
    tried: list[int] = field(default_factory=list)
    started: dict[int, int] = field(default_factory=dict)
    readers: list[set[int]] = field(default_factory=list)
    seen: dict[int, dict[int, tuple[int, int, int, int]]] = field(default_factory=dict)
    ranges: list[tuple[int, int]] = field(default_factory=list)
    any_busy: bool = True
    control_patience: int = 1
    control_tried: int = 0
    beside: Any = None
    next_trial: int = 0

    def start(self, controls: int) -> None:
        """Begin with everybody awake; who can rest is tried once the stay has lasted a while."""
        functions = len(self.bridge.spec.functions)
        self.busy = [not isinstance(function, PURE) for function in self.bridge.spec.functions]
        self.patience = self.patience or [FIRST_PATIENCE] * functions
        self.tried = [controls] * functions
        self.control_awake = True
        self.control_tried = controls
        self.control_patience = FIRST_PATIENCE
        self.rests.clear()
        self.woken.clear()
        self.readers = [set() for _ in self.bridge.spec.quantities]
        self.ranges = [(LOWEST, HIGHEST)] * len(self.bridge.spec.quantities)
        for setter in self.quiet:
            setter(LOWEST, HIGHEST)
        self.judge = False
        self.next_trial = 0
        self.rest_conditions()
        self._look_ahead()

    # REST

    def _beside(self) -> Any:
        """Return the interpreted engine that trials run on."""
        if self.beside is None:
            self.beside = interpreted.bridge_beside(self.bridge)
        return self.beside

    def rest_conditions(self) -> None:
        """Note in which ranges the conditions stay as they are."""
        bridge = self.bridge
        store = RecordedStore(bridge.common.store, self._beside().spec.quantities)
        holds = interpreted.module("xlate_core.conditions").holds
        for spec in self._beside().spec.conditions:
            holds(
                spec,
                bridge.common.clockwork.uptime,
                interpreted.counterpart(bridge.control.power.mode),
                bridge.common.clockwork.supply_mv,
                store,
            )
        self._sleep(CONDITIONS, _ranges(store))

    def rest_control(self, controls: int) -> None:
        """Let faults and power mode rest, if all of them can."""
        bridge = self.bridge
        self.control_awake = True
        self.control_tried = controls
        beside = self._beside()
        found = [try_control(bridge, beside, good) for good in (0, UINT16_MAX)]  # and in between
        if None in found:
            self.control_patience = min(2 * self.control_patience, LONGEST_PATIENCE)
            return
        self.control_awake = False
        rest = found[0]
        if rest is None:
            raise AssertionError  # looked at above
        for index, (low, high) in found[1].ranges.items() if found[1] is not None else ():
            former = rest.ranges.get(index, (low, high))
            rest.ranges[index] = (max(former[0], low), min(former[1], high))
        self.power_moved({one.name for one in rest.advances}, controls + 1)  # those had their turn
        self._keep(CONTROL, rest, controls)
        self._sleep(CONTROL, rest.ranges)

    def _rest_function(self, number: int, controls: int) -> None:
        """Let a function rest, if it can."""
        bridge = self.bridge
        spec, state = self._beside().spec.functions[number], bridge.control.functions[number]
        step = interpreted.module("xlate_core.functions").FUNCTIONS[type(spec)][1]
        recorded = RecordedPower(bridge.control.power)
        store = RecordedStore(bridge.common.store, self._beside().spec.quantities)
        rest = attempt(lambda copied, seen: step(spec, copied, seen, recorded), state, store)
        self.tried[number] = controls
        if rest is None:
            self.patience[number] = min(2 * self.patience[number], LONGEST_PATIENCE)
            return
        rest.power_fields = recorded.looked_at
        control = self.rests.get(CONTROL)
        moving = {one.name for one in control.advances} if control is not None else set()
        if moving & rest.power_fields:
            return
        self.busy[number] = False
        self._keep(number, rest, controls)
        self._sleep(number, rest.ranges)

    def _keep(self, actor: int, rest: Rest, controls: int) -> None:
        self.rests[actor] = rest
        self.started[actor] = controls

    def _sleep(self, actor: int, ranges: dict[int, tuple[int, int]]) -> None:
        """Cut the ranges of what an actor reads."""
        states = self.bridge.common.store.states
        self.seen[actor] = {
            index: (low, high, states[index].status, states[index].origin)
            for index, (low, high) in ranges.items()
        }
        for index, (low, high) in ranges.items():
            former = self.ranges[index]
            cut = (max(former[0], low), min(former[1], high))
            self.ranges[index] = cut
            self.readers[index].add(actor)
            self.quiet[index](*cut)

    # WAKING

    def attend(self, controls: int, published_by: int | None = None) -> None:
        """Wake the readers of what left their ranges; `controls` are the control ticks run.

        In the middle of a control tick `published_by` is the function that published it: those up
        to this one have had their turn, later ones have it still before them.
        """
        for index in self.woken:
            readers = self.readers[index]
            if readers:
                self._look_at(index, readers, controls, published_by)
        self.woken.clear()

    def _look_at(self, index: int, readers: set[int], controls: int, by: int | None) -> None:
        """Wake those readers of a quantity for which it is no longer as they saw it."""
        state = self.bridge.common.store.states[index]
        value, status, origin = state.value, state.status, state.origin
        staying: set[int] = set()
        lowest, highest = LOWEST, HIGHEST
        for actor in readers:
            low, high, former_status, former_origin = self.seen[actor].get(index, NOTHING)
            if low <= value <= high and status == former_status and origin == former_origin:
                staying.add(actor)
                lowest, highest = max(lowest, low), min(highest, high)
            else:
                waits = by is not None and actor > by
                self._wake(actor, controls - 1 if waits else controls)
        self.readers[index] = staying
        self.ranges[index] = (lowest, highest)
        self.quiet[index](lowest, highest)

    def wake_control(self, controls: int) -> None:
        """Have faults and power mode run again; `controls` are the control ticks run."""
        self._wake(CONTROL, controls)

    def _wake(self, actor: int, controls: int) -> None:
        self.seen[actor] = {}
        if actor == CONDITIONS:
            self.judge = True
            return
        rest = self.rests.pop(actor, None)
        if rest is None:
            return
        runs = controls - self.started[actor]
        rest.advance(runs)
        if actor == CONTROL:
            self.control_awake = True
            self.control_tried = controls
            longer = min(2 * self.control_patience, LONGEST_PATIENCE)
            self.control_patience = FIRST_PATIENCE if runs > WORTH_CONTROL else longer
            self.next_trial = 0
            return
        self.busy[actor] = self.any_busy = True
        self.tried[actor] = controls
        self.next_trial = 0
        longer = min(2 * self.patience[actor], LONGEST_PATIENCE)
        self.patience[actor] = FIRST_PATIENCE if runs > WORTH else longer

    def settle(self, controls: int) -> None:
        """Bring the advancing numbers of everybody at rest up to date."""
        for actor, rest in self.rests.items():
            runs = controls - self.started[actor]
            rest.advance(runs)
            rest.runs -= runs
            self.started[actor] = controls

    def wake_expired(self, controls: int) -> None:
        """Wake whoever's rest ends before control tick number `controls` + 1 is run."""
        for actor, rest in list(self.rests.items()):
            if controls - self.started[actor] >= rest.runs:
                self._wake(actor, controls)
        self._look_ahead()

    def after_control(self, controls: int) -> None:
        """Let those who were run rest again, where a trial has become due."""
        if controls < self.next_trial:
            return
        if self.control_awake and controls - self.control_tried >= self.control_patience:
            self.rest_control(controls)
        if self.control_awake:
            return  # every function is run anyway
        for number, busy in enumerate(self.busy):
            if busy and controls - self.tried[number] >= self.patience[number]:
                self._rest_function(number, controls)
        self._look_ahead()
        self.next_trial = min(
            (self.tried[n] + self.patience[n] for n, busy in enumerate(self.busy) if busy),
            default=FOREVER,
        )

    def power_moved(self, names: set[str], controls: int) -> None:
        """Wake the functions that looked at a moved field of the power state; their turn follows.

        `controls` is the number of the control tick that is being run.
        """
        for actor, rest in list(self.rests.items()):
            if names & rest.power_fields:
                self._wake(actor, controls - 1)

    def _look_ahead(self) -> None:
        self.any_busy = any(self.busy)
        self.horizon = min(
            (self.started[actor] + rest.runs for actor, rest in self.rests.items()),
            default=FOREVER,
        )


def _ranges(store: RecordedStore) -> dict[int, tuple[int, int]]:
    return {i: (one.variable.low, one.variable.high) for i, one in store.read.items()}
