"""Every fault in every situation: what is required, what was seen, and the status of each row.

A row is one output under one fault in one situation. It is in the table when somebody requires
something there, or when the fault makes the output do anything at all; a row nobody requires
anything for is open. A requirement for the class `*` or the output `*` speaks only where something
moves: it is there so that nothing stays open, not to fill pages.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from hil.vectors.names import to_raw
from tools.failsafe.bench import Bench, Snapshot
from tools.failsafe.compound import compound_faults, interaction_fault, loss_pairs
from tools.failsafe.detection import Expected, expected
from tools.failsafe.faults import CLASSES, INTERACTION, Fault, faults, static_faults
from tools.failsafe.names import (
    GAPS,
    NOT_AVAILABLE,
    OFF,
    ON,
    SILENT,
    UNCHANGED,
    TableNames,
    Value,
    is_pin,
)
from tools.failsafe.required import (
    InteractionTable,
    Required,
    RequireTable,
    Situation,
    fits,
    holds_in,
)
from tools.failsafe.rows import Row, Status, show_value
from tools.failsafe.substitutes import substitute_of
from tools.failsafe.trying import NEXT_CYCLE, Seen, speaks_of, try_fault

INVISIBLE = ("frozen", "wrong but plausible")
"""Classes that only a plausibility rule can see: without one, being right is chance."""
SILENT_WITHOUT_RULE = "frozen"


@dataclass(frozen=True, slots=True)
class Reached:
    """A situation the bench stands in, and the outputs that move by themselves in it."""

    snapshot: Snapshot
    moving: frozenset[str]


class Builder:
    """Builds the table of one pairing."""

    def __init__(self, names: TableNames, required: Required) -> None:
        """Take the checked requirements and collect all faults."""
        self.names = names
        self.required = required
        self.bench = Bench(names)
        tables = required.tables
        single = list(faults(names))
        self.bench.known_faults = tuple(single)
        self.faults = [*single, *compound_faults(tables, single)]
        self.pairs = list(loss_pairs(tables, single)) if tables.pairs_in else []
        self.interactions = [
            (one, interaction_fault(one, single))
            for one in tables.interaction
            if not one.not_applicable
        ]
        self.expected = {fault.name: expected(names, fault) for fault in self.faults + self.pairs}
        self.groups = {
            fault: ", ".join(name for name, group in tables.group.items() if fault in group.faults)
            for fault in (one.name for one in single)
        }
        self.reached: dict[Situation, Reached] = {}

    def faults_in(self, situation: Situation) -> list[Fault]:
        """Return all faults tried in a situation."""
        tables = self.required.tables
        found = list(self.faults)
        if tables.pairs_in and holds_in(tables.pairs_in, situation):
            found += self.pairs
        return found + [
            fault for one, fault in self.interactions if self.place_of(one) == situation
        ]

    def place_of(self, one: InteractionTable) -> Situation | None:
        """Return the situation an interaction is tried in: the first that fits."""
        return next((s for s in self.required.situations if holds_in(one.situations, s)), None)

    def stand_in(self, situation: Situation) -> Reached:
        """Reach a situation, or return it when it was the last one reached."""
        if situation not in self.reached:
            bench = self.bench
            snapshot = bench.reach(self.required, situation)
            bench.come_back(snapshot)
            bench.listening = True
            bench.run(self.required.tables.observe_ms // bench.tick_ms)
            bench.listening = False
            moving = frozenset(change.output for change in bench.changes)
            self.reached = {situation: Reached(snapshot, moving)}
        return self.reached[situation]

    def rows_in(self, situation: Situation, chosen: list[Fault]) -> list[Row]:
        """Try some faults in one situation; return their rows in order."""
        reached = self.stand_in(situation)
        rows: list[Row] = []
        for fault in chosen:
            seen = self._try(fault, situation, reached)
            rows += self._rows(fault, situation, seen, reached.moving)
        return rows

    def _try(self, fault: Fault, situation: Situation, reached: Reached) -> Seen:
        """Try a fault; one that nothing can show is not run: nothing would move."""
        rule = self.expected.get(fault.name)
        if fault.kind == SILENT_WITHOUT_RULE and (rule is None or not rule.threshold):
            values = dict(reached.snapshot.values)
            return Seen(reached.snapshot.now, {}, None, (), values, values, {})

        def returns(output: str) -> bool:
            if output in reached.moving:
                return False
            require = self.requirement(output, fault, situation)
            return isinstance(require, RequireTable) and require.recovery == "returns"

        return try_fault(self.bench, self.required, fault, situation, reached.snapshot, returns)

    # ROWS

    def _rows(
        self, fault: Fault, situation: Situation, seen: Seen, moving: frozenset[str]
    ) -> Iterator[Row]:
        for output in self.names.outputs:
            require = self.requirement(output, fault, situation)
            moved = output in seen.changes and seen.before.get(output) is not None
            if output in moving and (require is None or require.state == UNCHANGED):
                continue
            if seen.before.get(output) == seen.after.get(output) == SILENT:
                continue  # it is not sent here at all
            if fault.kind == INTERACTION and require is None:
                continue
            if not moved and (require is None or _catches_all(require)):
                continue
            row = self._row(output, fault, situation, seen)
            if output in moving:
                row.recovery = ""  # nobody can say what it would be by now
            if require is None:
                row.note = f"was {show_value(self.names, output, seen.before.get(output))}"
                other = self._not_applicable(output, fault, situation)
                if other:
                    row.status, row.note = Status.NOT_APPLICABLE, other
            else:
                self._judge(row, require, fault, seen)
            yield row

    def _row(self, output: str, fault: Fault, situation: Situation, seen: Seen) -> Row:
        """Return a row with everything that was seen, before it is judged."""
        row = Row(output, fault.kind, fault.subject, situation, Status.OPEN)
        row.observed = show_value(self.names, output, seen.after.get(output))
        rule = self.expected.get(fault.name, Expected())
        row.enabling, row.threshold = rule.enabling, rule.threshold
        row.threshold_least_ms, row.threshold_most_ms = rule.least_ms, rule.most_ms
        if seen.detected is not None:
            event = seen.detected.event
            row.detection = f"{event.reason.name.lower()} of {event.subject}"
            row.detection_ms = max(0, seen.detected.tick - seen.began) * self.bench.tick_ms
        row.memory = ", ".join(seen.stored)
        row.group = self.groups.get(fault.name, "")
        if output in seen.changes:
            row.substitute = substitute_of(self.names, output)
            if output in seen.next_cycle:
                row.recovery, row.latch = f"returns at the {NEXT_CYCLE}", NEXT_CYCLE
            elif output in seen.recovered:
                ticks = seen.recovered[output]
                back = None if ticks is None else ticks * self.bench.tick_ms
                row.recovery = "stays" if back is None else f"returns in {back} ms"
        return row

    def requirement(
        self, output: str, fault: Fault, situation: Situation
    ) -> RequireTable | InteractionTable | None:
        """Return the first requirement that speaks of this, in the order of the file."""
        if fault.kind == INTERACTION:
            one = next(one for one, own in self.interactions if own is fault)
            return one if fits(output, one.outputs) else None
        for require in self.required.tables.require:
            if (
                fits(output, require.outputs)
                and speaks_of(require, fault)
                and holds_in(require.situations, situation)
            ):
                return require
        return None

    def _judge(
        self, row: Row, require: RequireTable | InteractionTable, fault: Fault, seen: Seen
    ) -> None:
        row.requirement, row.hazard = require.id, require.hazard
        row.required, row.allowed_ms = show_state(require.state), require.within_ms
        if require.state == GAPS:
            reached = self._only_gaps(row.output, seen)
        else:
            wanted = self.wanted(row.output, require.state, seen.before.get(row.output))
            reached = self._reached(row.output, wanted, seen)
        actuator = require.actuator_ms if isinstance(require, RequireTable) else 0
        row.actuator_ms = actuator
        if reached is not None:
            row.total_ms = reached * self.bench.tick_ms + actuator
            row.reaction_ms = max(0, row.total_ms - actuator - (row.detection_ms or 0))
            row.margin_ms = require.within_ms - row.total_ms
        row.status = Status.PASS
        moved = row.output in seen.changes or fault.kind == SILENT_WITHOUT_RULE
        if fault.kind in INVISIBLE and seen.detected is None and moved:
            row.status, row.margin_ms = Status.UNDETECTED, None
            row.note = "no plausibility rule sees it"
        elif row.total_ms is None or row.total_ms > require.within_ms:
            seen_it = row.detection_ms is not None
            row.status = Status.DEVIATES if seen_it else Status.UNDETECTED
            if row.total_ms is not None:
                row.note = f"{row.total_ms} ms, allowed {require.within_ms} ms"
        if not isinstance(require, RequireTable):
            if row.status is Status.UNDETECTED:
                row.status = Status.DEVIATES  # nothing has to be detected for it
            return
        row.recovery_required = require.recovery
        if row.status is not Status.PASS and require.undetected_reason:
            row.status, row.note = Status.UNDETECTED, require.undetected_reason
        row.indication = self._indication(require, seen)
        if row.status is not Status.PASS:
            return
        if require.indication and row.indication != ON:
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
        return to_raw(signal.layout, physical)

    def _reached(self, output: str, wanted: Value | None, seen: Seen) -> int | None:
        """Return ticks from the fault to the last arrival in the required state; None = never."""
        if seen.after.get(output) != wanted:
            return None
        changes = seen.changes.get(output)
        if not changes:
            return 0
        return max(0, changes[-1].tick - seen.began)

    def _only_gaps(self, output: str, seen: Seen) -> int | None:
        """Return ticks to the first gap when the output shows nothing untrue; else None."""
        signal = self.names.sent[output]
        true = {seen.before.get(output), SILENT, signal.not_available, signal.substitute}
        changes = seen.changes.get(output, [])
        if any(change.value not in true for change in changes):
            return None
        return max(0, changes[0].tick - seen.began) if changes else 0

    def _indication(self, require: RequireTable, seen: Seen) -> str:
        """Return whether everything that tells the driver is on."""
        if not require.indication:
            return ""
        lit = [
            bool(seen.after.get(output)) and seen.after.get(output) != SILENT
            for output in self.names.outputs
            if fits(output, require.indication)
        ]
        return ON if all(lit) else OFF

    def _not_applicable(self, output: str, fault: Fault, situation: Situation) -> str:
        for one in self.required.tables.not_applicable:
            if (
                fits(fault.kind, one.faults)
                and fits(fault.subject, one.of)
                and fits(output, one.outputs)
                and holds_in(one.situations, situation)
            ):
                return one.reason
        return ""

    def static_rows(self) -> Iterator[Row]:
        """Yield rows of faults the bench cannot make: not applicable with reason, or undetected."""
        for kind, subject in static_faults(self.names):
            row = Row(subject, kind, subject, (), Status.UNDETECTED, note=CLASSES[kind])
            for one in self.required.tables.not_applicable:
                if not one.situations and fits(kind, one.faults) and fits(subject, one.of):
                    row.status, row.note = Status.NOT_APPLICABLE, one.reason
                    break
            yield row
        for interaction in self.required.tables.interaction:
            if interaction.not_applicable:
                yield Row(
                    "module",
                    INTERACTION,
                    interaction.id,
                    (),
                    Status.NOT_APPLICABLE,
                    requirement=interaction.id,
                    note=interaction.not_applicable,
                )


def show_state(state: Fraction | str) -> str:
    """Return a required state as people read it."""
    return state if isinstance(state, str) else f"{float(state):g}"


def _catches_all(require: RequireTable | InteractionTable) -> bool:
    if not isinstance(require, RequireTable):
        return False
    return "*" in require.outputs or "*" in require.faults


def _recovers(required: str, observed: str) -> bool:
    if required == "any":
        return True
    if required == "returns":
        return observed.startswith("returns in")
    return observed.endswith(required)
