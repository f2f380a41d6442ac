"""Holds what was seen of an output to what is required of it: times, status, recovery."""

from fractions import Fraction

from hil.vectors.names import to_raw
from tools.failsafe.faults import Fault
from tools.failsafe.matching import fits
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
from tools.failsafe.rows import Row, Status
from tools.failsafe.schema import InteractionTable, RequireTable
from tools.failsafe.trying import Seen

INVISIBLE = ("frozen", "wrong but plausible")
"""Classes that only a plausibility rule can see: without one, being right is chance."""
SILENT_WITHOUT_RULE = "frozen"


class Judge:
    """Judges rows of one pairing. A tick takes `tick_ms`."""

    def __init__(self, names: TableNames) -> None:
        """Take the names of the pairing."""
        self.names = names
        self.tick_ms = names.pairing.spec.tick_ms

    def judge(
        self, row: Row, require: RequireTable | InteractionTable, fault: Fault, seen: Seen
    ) -> None:
        """Fill in what the requirement says of a row, and its status."""
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
            row.total_ms = reached * self.tick_ms + actuator
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
            elif not seen_it:
                row.note = "nothing tells of it"
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


def show_state(state: Fraction | str) -> str:
    """Return a required state as people read it."""
    return state if isinstance(state, str) else f"{float(state):g}"


def _recovers(required: str, observed: str) -> bool:
    if required == "any":
        return True
    if required == "returns":
        return observed.startswith("returns in")
    return observed.endswith(required)
