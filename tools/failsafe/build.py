"""Every fault in every situation: what is required, what was seen, and the status of each row.

A row is one output under one fault in one situation. It is in the table when somebody requires
something there, or when the fault makes the output do anything at all; a row nobody requires
anything for is open. A requirement for the class `*` or the output `*` speaks only where something
moves: it is there so that nothing stays open, not to fill pages.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from tools.failsafe.bench import Bench, Snapshot
from tools.failsafe.compound import compound_faults, interaction_fault, loss_pairs
from tools.failsafe.detection import Expected, expected
from tools.failsafe.faults import INTERACTION, Fault, faults, static_faults
from tools.failsafe.judging import SILENT_WITHOUT_RULE, Judge, show_state
from tools.failsafe.matching import Situation, Speaking, fits, holds_in, show_situation
from tools.failsafe.names import SILENT, UNCHANGED, TableNames
from tools.failsafe.required import Required
from tools.failsafe.rows import Row, Status, show_value
from tools.failsafe.schema import InteractionTable, RequireTable
from tools.failsafe.substitutes import substitute_of
from tools.failsafe.trying import NEXT_CYCLE, Seen, try_fault
from xlate_core.errors import InputError

NOT_MADE = "not tried: the bench cannot make it, and nothing in the bridge reads its outputs back"


@dataclass(frozen=True, slots=True)
class Reached:
    """A situation the bench stands in, and the outputs that move by themselves in it."""

    snapshot: Snapshot
    moving: frozenset[str]


class Builder:
    """Builds the table of one pairing."""

    def __init__(self, names: TableNames, required: Required, plain: bool = False) -> None:
        """Take the checked requirements and collect all faults; `plain` is the bench's."""
        self.names = names
        self.required = required
        self.bench = Bench(names, plain)
        self.judge = Judge(names)
        self.speaking = Speaking(names, required.tables)
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
            self._is_reached(situation, snapshot)
            bench.come_back(snapshot)
            bench.watch.listening = True
            bench.run(self.required.tables.observe_ms // bench.tick_ms)
            bench.watch.listening = False
            moving = frozenset(change.output for change in bench.watch.changes)
            self.reached = {situation: Reached(snapshot, moving)}
        return self.reached[situation]

    def _is_reached(self, situation: Situation, snapshot: Snapshot) -> None:
        """Raise InputError when outputs do not show what the choices of a situation say."""
        for axis, choice in situation:
            for output, state in self.required.tables.axis[axis][choice].shows.items():
                seen = snapshot.values.get(output)
                if seen != self.judge.wanted(output, state, seen):
                    found = show_value(self.names, output, seen)
                    raise InputError(
                        f"{self.required.path.as_posix()}: axis.{axis}.{choice}.shows: found "
                        f"{output} {found}, expected {show_state(state)} in: "
                        f"{show_situation(situation)}"
                    )

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

        return try_fault(
            self.bench,
            self.required,
            self.speaking,
            fault,
            situation,
            reached.snapshot,
            reached.moving,
        )

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
                other = self._not_applicable(output, fault.kind, fault.subject, situation)
                if other:
                    row.status, row.note = Status.NOT_APPLICABLE, other
            else:
                self.judge.judge(row, require, fault, seen)
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
        return self.speaking.first(output, fault, situation)

    def _not_applicable(self, output: str, kind: str, subject: str, situation: Situation) -> str:
        """Return the reason why nothing is required here, an empty text without one."""
        for one in self.required.tables.not_applicable:
            if (
                fits(kind, one.faults)
                and fits(subject, one.of)
                and fits(output, one.outputs)
                and holds_in(one.situations, situation)
            ):
                return one.reason
        return ""

    def static_rows(self) -> Iterator[Row]:
        """Yield rows of faults the bench cannot make: not applicable with reason, or undetected."""
        for kind, subject in static_faults(self.names):
            row = Row(subject, kind, subject, (), Status.UNDETECTED, note=NOT_MADE)
            reason = self._not_applicable(subject, kind, subject, ())
            if reason:
                row.status, row.note = Status.NOT_APPLICABLE, reason
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


def _catches_all(require: RequireTable | InteractionTable) -> bool:
    if not isinstance(require, RequireTable):
        return False
    return "*" in require.outputs or "*" in require.faults
