"""One fault in one situation, from the moment before it to the recovery after it."""

from dataclasses import dataclass

from tools.failsafe.bench import Bench, Heard, Snapshot
from tools.failsafe.faults import INTERACTION, Fault
from tools.failsafe.matching import Situation, Speaking
from tools.failsafe.names import Value
from tools.failsafe.required import Required
from tools.failsafe.watching import Change
from xlate_core.events import Reason

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
    Reason.BUS_CLOSED,
    Reason.FRAME_FLOODED,
}
RECOVERY_STEP = 50  # ticks between two looks whether everything is as before
NEXT_CYCLE = "next ignition cycle"
LEAST_RECOVERY_MS = 300
MARGIN_MS = 100  # watched beyond the longest allowed time


@dataclass(slots=True)
class Seen:
    """What one fault in one situation showed. `recovered` is in ticks after the fault was gone."""

    began: int
    changes: dict[str, list[Change]]
    detected: Heard | None
    stored: tuple[str, ...]
    before: dict[str, Value]
    after: dict[str, Value]
    recovered: dict[str, int | None]
    next_cycle: frozenset[str] = frozenset()  # outputs back only after an ignition cycle


def try_fault(
    bench: Bench,
    required: Required,
    speaking: Speaking,
    fault: Fault,
    situation: Situation,
    snapshot: Snapshot,
    moving: frozenset[str],
) -> Seen:
    """Make the fault, watch, take it away, watch again.

    Outputs that somebody wants to see return are waited for, unless they move by themselves.
    """
    if fault.from_start:
        return _from_start(bench, required, fault, situation, snapshot)
    tables = required.tables
    watch = bench.watch
    bench.come_back(snapshot)
    watch.listening = True
    began = bench.now
    fault.apply(bench)
    if fault.kind == INTERACTION:
        began = bench.now  # judged from the moment the last thing happens
    bench.run(watch_ticks(required, speaking, fault, situation, bench.tick_ms))
    after = dict(watch.values)
    changes: dict[str, list[Change]] = {}
    for change in watch.changes:
        changes.setdefault(change.output, []).append(change)
    detected = next((one for one in bench.heard if one.event.reason in DETECTIONS), None)
    stored = tuple(
        dict.fromkeys(
            one.event.subject for one in bench.heard if one.event.reason is Reason.ENTRY_STORED
        )
    )

    watch.changes.clear()
    fault.remove(bench)
    gone = bench.now
    before = snapshot.values
    recovery = {
        output: require.recovery
        for output in changes
        if (require := speaking.first(output, fault, situation)) is not None
        and fault.kind != INTERACTION
    }
    waited_for = {
        output for output, how in recovery.items() if how == "returns" and output not in moving
    }
    least = LEAST_RECOVERY_MS // bench.tick_ms
    for waited in range(0, tables.recover_ms // bench.tick_ms, RECOVERY_STEP):
        away = {one for one in changes if watch.values.get(one) != before.get(one)}
        if not away or (waited >= least and not away & waited_for):
            break
        bench.run(RECOVERY_STEP)
    recovered: dict[str, int | None] = {}
    for output in changes:
        back = [one.tick for one in watch.changes if one.output == output]
        same = watch.values.get(output) == before.get(output)
        recovered[output] = (back[-1] - gone if back else 0) if same else None
    left = [output for output, ticks in recovered.items() if ticks is None]
    next_cycle: frozenset[str] = frozenset()
    if tables.ignition and any(recovery.get(output) == NEXT_CYCLE for output in left):
        _turn_the_key(bench, required)
        next_cycle = frozenset(one for one in left if watch.values.get(one) == before.get(one))
    watch.listening = False
    return Seen(began, changes, detected, stored, dict(before), after, recovered, next_cycle)


def _from_start(
    bench: Bench, required: Required, fault: Fault, situation: Situation, snapshot: Snapshot
) -> Seen:
    """Reach the situation without the message; what is otherwise than with it is the effect."""
    bench.heard.clear()
    start = bench.reach(required, situation, frozenset({fault.subject}), listening=True)
    changes = {
        output: [Change(0, output, value)]
        for output, value in start.values.items()
        if snapshot.values.get(output) != value
    }
    lost = (
        one
        for one in bench.heard
        if one.event.reason is Reason.UNIT_LOST and one.event.subject.startswith(fault.subject)
    )
    first = next(lost, None)
    bench.watch.listening = False
    began = 0 if first is None else first.tick
    return Seen(began, changes, first, (), dict(snapshot.values), dict(start.values), {})


def _turn_the_key(bench: Bench, required: Required) -> None:
    """Turn the ignition off for a cycle and on again, and wait until everything is settled."""
    tables = required.tables
    before = bench.inputs
    bench.set(dict.fromkeys(tables.ignition, "inactive"))
    bench.run(tables.cycle_ms // bench.tick_ms)
    bench.inputs = before
    bench.run(tables.settle_ms // bench.tick_ms)


def watch_ticks(
    required: Required, speaking: Speaking, fault: Fault, situation: Situation, tick_ms: int
) -> int:
    """Return how long a fault is watched: the longest time somebody allows, and a little."""
    longest = max(speaking.longest_ms(fault, situation), fault.within_ms)
    return (max(required.tables.observe_ms, longest + longest // 10) + MARGIN_MS) // tick_ms
