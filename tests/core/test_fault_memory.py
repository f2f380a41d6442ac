"""Fault memory, entry by entry: what no short scenario can reach."""

import pytest

from tests.core.test_bridge import bridge_of
from xlate_core.fault_memory import (
    EntrySpec,
    EntryState,
    OperationState,
    SnapshotState,
    begin_cycle,
    note,
    pass_time,
    recall,
)
from xlate_core.pairing.build_memory import code_number, code_text
from xlate_core.quantities import QuantityStore

SPEC = EntrySpec(code=0xC10087, aging=2, snapshot=(0,))


def store() -> QuantityStore:
    return bridge_of("long_nights").common.store


def test_a_cycle_in_which_the_fault_was_not_judged_does_not_age() -> None:
    entry, snapshot, values = EntryState(), [SnapshotState()], store()
    note(SPEC, entry, snapshot, matured=True, judged=True, now=5, store=values)
    begin_cycle(SPEC, entry, snapshot)
    for _ in range(10):
        note(SPEC, entry, snapshot, matured=False, judged=False, now=9, store=values)
        begin_cycle(SPEC, entry, snapshot)
    assert (entry.stored, entry.aged) == (True, 0)
    note(SPEC, entry, snapshot, matured=False, judged=True, now=9, store=values)
    begin_cycle(SPEC, entry, snapshot)
    assert entry.aged == 1


def test_an_aging_of_0_never_erases() -> None:
    spec = EntrySpec(code=1, aging=0, snapshot=())
    entry, values = EntryState(), store()
    note(spec, entry, [], matured=True, judged=True, now=5, store=values)
    for _ in range(70000):
        note(spec, entry, [], matured=False, judged=True, now=9, store=values)
        begin_cycle(spec, entry, [])
    assert (entry.stored, entry.aged) == (True, 0xFFFF)


def test_counts_and_time_saturate() -> None:
    entry, values = EntryState(stored=True, count=0xFFFF), store()
    note(SPEC, entry, [SnapshotState()], matured=True, judged=True, now=5, store=values)
    assert entry.count == 0xFFFF
    operation = OperationState(0xFFFFFFFF)
    pass_time(operation)
    assert operation.ticks == 0xFFFFFFFF


@pytest.mark.parametrize("latch", [False, True])
def test_only_a_latched_fault_is_still_matured_after_a_reset(latch: bool) -> None:
    entry = EntryState(stored=True, active=True)
    assert recall(entry, latch) is latch
    assert entry.active is latch


@pytest.mark.parametrize(
    ("code", "failure_type", "number"),
    # Two octets a code: the letter in the two highest bits, then the digits. Common practice of
    # ISO 15031-6 and SAE J2012, from memory.
    [("P0118", 0x17, 0x011817), ("C0035", 0x00, 0x403500), ("B1A2F", 0x13, 0x9A2F13),
     ("U0100", 0x87, 0xC10087), ("U3FFF", 0xFF, 0xFFFFFF)],
)  # fmt: skip
def test_codes_as_numbers(code: str, failure_type: int, number: int) -> None:
    assert code_number(code, failure_type) == number
    assert code_text(number) == f"{code}-{failure_type:02X}"
