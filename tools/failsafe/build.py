"""Every fault in every situation: what is required, what was seen, and the status of each row.

A row is one output under one fault in one situation. It is in the table when somebody requires
something there, or when the fault makes the output do anything at all; a row nobody requires
anything for is open.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import Any

from hil.vectors.names import to_raw
from tools.failsafe.bench import Bench, Change, Snapshot, Value
from tools.failsafe.faults import CLASSES, Fault, faults, static_faults
from tools.failsafe.names import (
    NOT_AVAILABLE,
    OFF,
    ON,
    SILENT,
    UNCHANGED,
    TableNames,
    is_pin,
)
from tools.failsafe.required import (
    Required,
    RequireTable,
    Situation,
    fits,
    holds_in,
    show_situation,
)
from xlate_core.events import Event, Reason

DETECTIONS = {
    Reason.FRAME_SHORT,
    Reason.CHECKSUM_WRONG,
    Reason.COUNTER_WRONG,
    Reason.SELECTOR_UNKNOWN,
    Reason.SECOND_SENDER,
    Reason.FRAME_UNKNOWN,
    Reason.UNIT_LOST,
    Reason.QUANTITY_SUBSTITUTED,
    Reason.FAILSAFE_ENTERED,
    Reason.FAULT_MATURED,
    Reason.ENTRY_STORED,
}
RECOVERY_STEP = 50  # ticks between two looks whether everything is as before


class Status(StrEnum):
    """What a row comes to."""

    PASS = "pass"
    DEVIATES = "deviates"
    UNDETECTED = "undetected"
    NOT_APPLICABLE = "not applicable"
    OPEN = "open"


@dataclass(slots=True)
class Row:
    """One output under one fault in one situation. Times in ms; None = never, or not known."""

    output: str
    kind: str
    subject: str
    situation: Situation
    status: Status
    requirement: str = ""
    hazard: str = ""
    required: str = ""
    observed: str = ""
    detection: str = ""
    detection_ms: int | None = None
    reaction_ms: int | None = None
    total_ms: int | None = None
    actuator_ms: int = 0
    allowed_ms: int | None = None
    margin_ms: int | None = None
    recovery: str = ""
    recovery_required: str = ""
    indication: str = ""
    memory: str = ""
    substitute: str = ""
    group: str = ""
    note: str = ""

    @property
    def id(self) -> str:
        """An id from the content of the row's place: output, fault, situation."""
        text = "|".join((self.output, self.kind, self.subject, show_situation(self.situation)))
        return hashlib.sha256(text.encode()).hexdigest()[:8]

    def facts(self) -> dict[str, Any]:
        """Return the row as plain data."""
        plain = asdict(self)
        plain["situation"] = dict(self.situation)
        plain["status"] = self.status.value
        return {"id": self.id, **plain}


@dataclass(slots=True)
class Seen:
    """What one fault in one situation showed. Ticks count from the fault."""

    began: int
    changes: dict[str, list[Change]]
    detected: Event | None
    stored: tuple[str, ...]
    before: dict[str, Value]
    after: dict[str, Value]
    recovered: dict[str, int | None]
    substitutes: dict[str, str] = field(default_factory=dict)


class Builder:
    """Builds the table of one pairing."""

    def __init__(self, names: TableNames, required: Required) -> None:
        """Take the checked requirements."""
        self.names = names
        self.required = required
        self.bench = Bench(names)
        self.faults = list(faults(names))
        self.tick_ms = names.pairing.spec.tick_ms
        self.reached: dict[Situation, tuple[Snapshot, frozenset[str]]] = {}

    def rows_in(self, situation: Situation, chosen: list[Fault]) -> list[Row]:
        """Try some faults in one situation; return their rows in order."""
        if situation not in self.reached:
            snapshot = self.bench.reach(self.required, situation)
            self.reached = {situation: (snapshot, self._idle(snapshot))}
        snapshot, quiet = self.reached[situation]
        rows: list[Row] = []
        for fault in chosen:
            rows += self._rows(fault, situation, self._try(fault, situation, snapshot), quiet)
        return rows

    def _idle(self, snapshot: Snapshot) -> frozenset[str]:
        """Return the outputs that move by themselves in a situation; they are not judged."""
        bench = self.bench
        bench.come_back(snapshot)
        bench.listening = True
        bench.run(self.required.tables.observe_ms // self.tick_ms)
        bench.listening = False
        return frozenset(change.output for change in bench.changes)

    def _try(self, fault: Fault, situation: Situation, snapshot: Snapshot) -> Seen:
        """Make the fault, watch, take it away, watch again."""
        bench = self.bench
        if fault.from_start:
            start = bench.reach(self.required, situation, frozenset({fault.subject}))
            after = dict(start.values)
            different = {
                output: [Change(0, output, value)]
                for output, value in after.items()
                if snapshot.values.get(output) != value
            }
            never = Event(0, Reason.SUPERVISION_ON, fault.subject, 0)
            return Seen(0, different, never, (), dict(snapshot.values), after, {})
        bench.come_back(snapshot)
        bench.listening = True
        began = bench.bridge.now
        fault.apply(bench)
        restarted = bench.bridge.now < began
        if restarted:
            began = 0
        bench.run(self._watch_ticks(fault))
        after = dict(bench.values)
        changes: dict[str, list[Change]] = {}
        for change in bench.changes:
            changes.setdefault(change.output, []).append(change)
        detected = next((one for one in bench.events if one.reason in DETECTIONS), None)
        stored = tuple(
            dict.fromkeys(one.subject for one in bench.events if one.reason is Reason.ENTRY_STORED)
        )
        bench.changes.clear()
        fault.remove(bench)
        gone = bench.bridge.now
        self._recover(changes, snapshot)
        bench.listening = False
        recovered: dict[str, int | None] = {}
        for output in changes:
            back = [one.tick for one in bench.changes if one.output == output]
            same = bench.values.get(output) == snapshot.values.get(output)
            recovered[output] = (back[-1] - gone if back else 0) if same else None
        return Seen(began, changes, detected, stored, dict(snapshot.values), after, recovered)

    def _recover(self, changes: dict[str, list[Change]], snapshot: Snapshot) -> None:
        """Run until every output that moved is as before, or as long as somebody waits for it."""
        bench = self.bench
        for _ in range(self.required.tables.recover_ms // self.tick_ms // RECOVERY_STEP):
            if all(bench.values.get(one) == snapshot.values.get(one) for one in changes):
                break
            bench.run(RECOVERY_STEP)

    def _watch_ticks(self, fault: Fault) -> int:
        """Return how long a fault is watched: the longest time somebody allows, and a little."""
        tables = self.required.tables
        longest = max(
            (
                one.within_ms
                for one in tables.require
                if fits(fault.kind, one.faults) and fits(fault.subject, one.of)
            ),
            default=0,
        )
        return (max(tables.observe_ms, longest) + longest // 10 + 100) // self.tick_ms

    # ROWS

    def _rows(
        self, fault: Fault, situation: Situation, seen: Seen, quiet: frozenset[str]
    ) -> Iterator[Row]:
        for output in self.names.outputs:
            if output in quiet:
                continue
            require = self.requirement(output, fault.kind, fault.subject, situation)
            moved = output in seen.changes and seen.before.get(output) is not None
            if require is None and not moved:
                continue
            row = Row(output, fault.kind, fault.subject, situation, Status.OPEN)
            row.observed = self.show(output, seen.after.get(output))
            self._timing(row, seen)
            row.memory = ", ".join(seen.stored)
            self._recovery(row, output, seen)
            if require is None:
                row.note = f"was {self.show(output, seen.before.get(output))}"
                other = self._not_applicable(output, fault)
                if other:
                    row.status, row.note = Status.NOT_APPLICABLE, other
            else:
                self._judge(row, require, seen)
            yield row

    def requirement(
        self, output: str, kind: str, subject: str, situation: Situation
    ) -> RequireTable | None:
        """Return the first requirement that speaks of this, in the order of the file."""
        for one in self.required.tables.require:
            if (
                fits(output, one.outputs)
                and fits(kind, one.faults)
                and fits(subject, one.of)
                and holds_in(one.situations, situation)
            ):
                return one
        return None

    def _timing(self, row: Row, seen: Seen) -> None:
        if seen.detected is not None:
            row.detection = f"{seen.detected.reason.name.lower()} of {seen.detected.subject}"
            row.detection_ms = max(0, seen.detected.tick - seen.began) * self.tick_ms

    def _recovery(self, row: Row, output: str, seen: Seen) -> None:
        if output not in seen.changes:
            row.recovery = ""
        elif output in seen.recovered:
            ticks = seen.recovered[output]
            row.recovery = "stays" if ticks is None else f"returns in {ticks * self.tick_ms} ms"

    def _judge(self, row: Row, require: RequireTable, seen: Seen) -> None:
        row.requirement, row.hazard = require.id, require.hazard
        row.required = show_state(require.state)
        row.actuator_ms, row.allowed_ms = require.actuator_ms, require.within_ms
        row.recovery_required = require.recovery
        wanted = self.wanted(row.output, require.state, seen.before.get(row.output))
        reached = self._reached(row.output, wanted, seen)
        if reached is not None:
            row.total_ms = reached * self.tick_ms + require.actuator_ms
            row.reaction_ms = max(0, reached * self.tick_ms - (row.detection_ms or 0))
            row.margin_ms = require.within_ms - row.total_ms
        row.indication = self._indication(require, seen)
        in_time = row.total_ms is not None and row.total_ms <= require.within_ms
        if not in_time:
            seen_it = row.detection_ms is not None
            row.status = Status.DEVIATES if seen_it else Status.UNDETECTED
            row.note = require.undetected_reason if not seen_it else ""
            if row.total_ms is not None:
                row.note = f"{row.total_ms} ms, allowed {require.within_ms} ms"
            return
        row.status = Status.PASS
        if require.indication and row.indication != "on":
            row.status, row.note = Status.DEVIATES, f"indication {row.indication}"
        if row.recovery and not _recovers(require.recovery, row.recovery):
            row.status = Status.DEVIATES
            row.note = f"{row.recovery}, required: {require.recovery}"

    def wanted(self, output: str, state: Fraction | str, before: Value | None) -> Value | None:
        """Return the value an output has in a required state."""
        if state == UNCHANGED:
            return before
        if is_pin(output):
            return {ON: 1, OFF: 0}[state] if isinstance(state, str) else int(state)
        signal = self.names.sent[output]
        if state == SILENT:
            return SILENT
        if state == NOT_AVAILABLE:
            return signal.not_available
        physical = Fraction({ON: 1, OFF: 0}[state]) if isinstance(state, str) else state
        raw = to_raw(signal.layout, physical)
        return raw & ((1 << signal.layout.spec.length) - 1) if raw < 0 else raw

    def _reached(self, output: str, wanted: Value | None, seen: Seen) -> int | None:
        """Return ticks from the fault to the last arrival in the required state; None = never."""
        if seen.after.get(output) != wanted and self._signed(output, seen.after) != wanted:
            return None
        changes = seen.changes.get(output)
        if not changes:
            return 0
        return max(0, changes[-1].tick - seen.began)

    def _signed(self, output: str, after: dict[str, Value]) -> Value | None:
        value = after.get(output)
        if is_pin(output) or not isinstance(value, int):
            return value
        return value & ((1 << self.names.sent[output].layout.spec.length) - 1)

    def _indication(self, require: RequireTable, seen: Seen) -> str:
        """Return whether everything that tells the driver is on."""
        if not require.indication:
            return ""
        lit = [
            bool(seen.after.get(output)) and seen.after.get(output) != SILENT
            for output in self.names.outputs
            if fits(output, require.indication)
        ]
        return "on" if all(lit) else "off"

    def _not_applicable(self, output: str, fault: Fault) -> str:
        for one in self.required.tables.not_applicable:
            if (
                fits(fault.kind, one.faults)
                and fits(fault.subject, one.of)
                and fits(output, one.outputs)
            ):
                return one.reason
        return ""

    def static_rows(self) -> Iterator[Row]:
        """Yield rows of faults the bench cannot make: not applicable with reason, or undetected."""
        for kind, subject in static_faults(self.names):
            row = Row(subject, kind, subject, (), Status.UNDETECTED, note=CLASSES[kind])
            for one in self.required.tables.not_applicable:
                if fits(kind, one.faults) and fits(subject, one.of):
                    row.status, row.note = Status.NOT_APPLICABLE, one.reason
                    break
            yield row

    def show(self, output: str, value: Value | None) -> str:
        """Return a value as people read it."""
        if value is None:
            return "-"
        if isinstance(value, str):
            return value
        if is_pin(output):
            name = output.removeprefix("output.")
            if self.names.names.outputs[name].kind.name == "LEVEL":
                return ON if value else OFF
            return str(value)
        signal = self.names.sent[output]
        if value == signal.not_available:
            return NOT_AVAILABLE
        physical = value * signal.layout.factor + signal.layout.offset
        unit = f" {signal.layout.unit}" if signal.layout.unit else ""
        return f"{float(physical):g}{unit}"


def show_state(state: Fraction | str) -> str:
    """Return a required state as people read it."""
    return state if isinstance(state, str) else f"{float(state):g}"


def _recovers(required: str, observed: str) -> bool:
    if required == "any":
        return True
    if required == "returns":
        return observed.startswith("returns")
    return observed == "stays"
