"""The control tick: faults, then the power mode, then the functions in their order (rule 3)."""

from collections.abc import Iterator
from typing import Any

from xlate_core import fault_memory, faults, power
from xlate_core.bus_watch import BusWatch
from xlate_core.events import Reason
from xlate_core.fault_memory import EntrySpec, EntryState, OperationState, SnapshotState
from xlate_core.faults import FaultState
from xlate_core.functions import FUNCTIONS, PURE, Step
from xlate_core.interface import Common
from xlate_core.power import ASLEEP, PowerState, SleepState
from xlate_core.reception import MessageState
from xlate_core.state_image import NamedRecord


class Control:
    """Faults, fault memory, power mode and vehicle functions of one engine.

    `moved` are the quantities that changed since the last control tick: a function that only
    follows its input is run when that is among them.
    """

    __slots__ = (
        "_functions",
        "bus_watch",
        "common",
        "entries",
        "faults",
        "functions",
        "messages",
        "moved",
        "operation",
        "power",
        "power_hold",
        "sleep",
        "snapshots",
        "spec",
    )

    moved: set[int]
    power_hold: bool

    def __init__(self, common: Common, messages: list[MessageState], bus_watch: BusWatch) -> None:
        """Put every fault, power and function record to its reset value."""
        spec = self.spec = common.spec
        self.common = common
        self.messages = messages
        self.bus_watch = bus_watch
        self.faults = [FaultState() for _ in spec.faults]
        self.operation = OperationState()
        self.entries = [EntryState() for _ in spec.faults]
        self.snapshots = [
            [SnapshotState() for _ in (fault.memory.snapshot if fault.memory else ())]
            for fault in spec.faults
        ]
        self.power = PowerState()
        self.sleep = SleepState()
        self.functions: list[Any] = [FUNCTIONS[type(f)][0](f) for f in spec.functions]
        self._functions: tuple[tuple[Any, Step, bool], ...] = tuple(
            (function, FUNCTIONS[type(function)][1], isinstance(function, PURE))
            for function in spec.functions
        )
        self.look_at_everything()

    def tick(self) -> None:
        """Run faults, then the power mode, then the functions in their listed order."""
        self.tick_faults_and_mode()

        # FUNCTIONS
        store = self.common.store
        for (spec, step, pure), state in zip(self._functions, self.functions, strict=True):
            if pure and spec.input not in self.moved and spec.input not in store.changed:
                continue
            before = state.failsafe
            after = step(spec, state, store, self.power)
            if after != before:
                reason = Reason.FAILSAFE_ENTERED if after else Reason.FAILSAFE_LEFT
                self.common.tell(reason, spec.name, 0)
        self.moved.clear()

    def tick_faults_and_mode(self) -> None:
        """Run the first half of a control tick: faults, then the power mode."""
        store = self.common.store

        # FAULTS
        self._step_faults()

        # POWER MODE
        former = self.power.mode
        power.step(self.spec.power, self.power, store)
        self._sleep_or_wake(former)
        self.bus_watch.forget_seen()
        if self.power.mode != former:
            self.common.conditions_open = True
            self.common.outputs_open = True
            self.power_hold = power.holds_power(self.power)
            self.common.tell(Reason.MODE_CHANGED, "power", self.power.mode)
        if self.spec.power.mode_quantity >= 0:
            store.publish(self.spec.power.mode_quantity, self.power.mode)
        if self.spec.power.supply_quantity >= 0:
            store.publish(self.spec.power.supply_quantity, self.common.clockwork.supply_mv)

    def _step_faults(self) -> None:
        """Move every fault by what was seen since the last control tick."""
        fault_memory.pass_time(self.operation)
        for number, spec in enumerate(self.spec.faults):
            state = self.faults[number]
            enabled = self.common.holds(spec.condition)
            if spec.message >= 0:
                message = self.messages[spec.message]
                worse, better = message.bad, message.good
            elif spec.bus >= 0:
                worse = int(self.common.lines[spec.bus].seen & spec.bus_events != 0)
                better = 1 - worse
            else:
                worse = int(self.common.store.states[spec.quantity].status in spec.statuses)
                better = 1 - worse
            before = state.matured
            faults.step(spec, state, worse, better, enabled, self.power.new_cycle)
            if state.matured != before:
                reason = Reason.FAULT_MATURED if state.matured else Reason.FAULT_HEALED
                self.common.tell(reason, spec.name, state.level)
            if spec.output >= 0:
                self.common.store.publish(spec.output, int(state.matured))
            if spec.memory is not None:
                self._remember(number, spec.memory, state.matured, enabled)
        for index in self.common.judged:
            self.messages[index].good = self.messages[index].bad = 0

    def _remember(self, number: int, spec: EntrySpec, matured: bool, judged: bool) -> None:
        """Write what a fault is now into its entry of the fault memory."""
        entry, snapshot = self.entries[number], self.snapshots[number]
        name, before = self.spec.faults[number].name, entry.stored
        if self.power.new_cycle:
            fault_memory.begin_cycle(spec, entry, snapshot)
            if before and not entry.stored:
                self.common.tell(Reason.ENTRY_ERASED, name, spec.code)
        now, store = self.operation.ticks, self.common.store
        before = entry.stored
        fault_memory.note(spec, entry, snapshot, matured, judged, now, store)
        if entry.stored and not before:
            self.common.tell(Reason.ENTRY_STORED, name, spec.code)

    def _sleep_or_wake(self, former: int) -> None:
        """Sleep or wake, with the buses: start-up times and listening begin anew after sleep."""
        spec = self.spec.power.sleep
        if spec is None:
            return
        heard, store = self.bus_watch.heard(), self.common.store
        power.sleep_or_wake(spec, self.sleep, self.power, former == ASLEEP, heard, store)
        if self.power.mode == ASLEEP != former:
            self.bus_watch.sleep()
        elif self.power.mode != ASLEEP == former:
            self.common.clockwork.uptime = 0
            self.bus_watch.wake()
        self.bus_watch.be_quiet(self.sleep.quiet)

    def recall(self, power_on: bool) -> None:
        """Judge what the memory that survived a reset means now."""
        power.recall(self.spec.power, self.power, power_on)
        for spec, state, entry in zip(self.spec.faults, self.faults, self.entries, strict=True):
            if spec.memory is not None and fault_memory.recall(entry, spec.latch):
                state.level = spec.limit
                state.matured = True

    def memory_records(self) -> Iterator[NamedRecord]:
        """Yield the records of the fault memory; there are none without remembered faults."""
        spec = self.spec
        if any(fault.memory is not None for fault in spec.faults):
            yield NamedRecord("operation", self.operation)
        for fault, entry, snapshot in zip(spec.faults, self.entries, self.snapshots, strict=True):
            if fault.memory is not None:
                yield NamedRecord(f"memory.{fault.name}", entry)
                for quantity, state in zip(fault.memory.snapshot, snapshot, strict=True):
                    name = spec.quantities[quantity].name
                    yield NamedRecord(f"memory.{fault.name}.{name}", state)

    def look_at_everything(self) -> None:
        """Take no shortcut in the next tick; part of every reset and restore."""
        self.moved = set(range(len(self.spec.quantities)))
        self.power_hold = power.holds_power(self.power)
