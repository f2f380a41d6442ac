"""Specs of counter-plus-CRC profiles whose keys have been checked."""

from xlate_core.pairing.build_protection import checksum_spec, counter_spec
from xlate_core.pairing.layouts import DbcMessage
from xlate_core.pairing.schema_messages import TransmitTable
from xlate_core.pairing.schema_profiles import (
    LimitTable,
    MachineTable,
    ProfileTable,
    ReceivedProfileTable,
)
from xlate_core.protection import ChecksumSpec, CounterSpec, LimitSpec, MachineSpec, ProfileSpec
from xlate_core.protection.profiles import checksum_of, counter_of
from xlate_core.signals import SignalSpec


def sent_protection(
    message: DbcMessage, table: TransmitTable
) -> tuple[CounterSpec | None, ChecksumSpec | None]:
    """Return counter and checksum of a sent message: its own, or those of its profile."""
    if table.profile is not None:
        return _parts(message, table.profile, 1)
    return (
        counter_spec(message, table.counter),
        checksum_spec(message, table.checksum, table.counter),
    )


def received_profile(
    message: DbcMessage, table: ReceivedProfileTable, tick_ms: int, clock: int
) -> ProfileSpec:
    """Return the profile of a received message; `clock` is that of its supervision."""
    counter, checksum = _parts(message, table, table.max_step)
    period = table.period_ms if table.period_ms is not None else message.cycle_ms or 0
    nibble = None if table.nibble is None else _place(message, table.nibble)
    return ProfileSpec(
        number=table.number,
        checksum=checksum,
        counter=counter,
        period=period // tick_ms,
        clock=clock,
        nibble=nibble,
        nibble_value=next(iter(table.constants().values()), 0),
        most_stalled=table.max_without_new or 0,
        sync_checks=table.sync_checks or 0,
        machine=None if table.machine is None else machine_spec(table.machine),
    )


def machine_spec(table: MachineTable) -> MachineSpec:
    """Return a window state machine."""

    def limit(one: LimitTable) -> LimitSpec:
        return LimitSpec(one.min_ok, one.max_errors)

    return MachineSpec(
        window=table.window,
        init=limit(table.init),
        valid=limit(table.valid),
        invalid=limit(table.invalid),
        older_mapping=table.older_mapping,
    )


def _parts(
    message: DbcMessage, table: ProfileTable, max_step: int
) -> tuple[CounterSpec, ChecksumSpec]:
    counter = _place(message, table.counter)
    checksum = checksum_of(
        table.number,
        table.data_id_mode or "",
        _place(message, table.checksum),
        counter,
        message.length,
        table.ids(),
    )
    return counter_of(table.number, counter, max_step), checksum


def _place(message: DbcMessage, name: str) -> SignalSpec:
    signal = message.signal(name)
    assert signal is not None  # the names have been checked
    return signal.spec
