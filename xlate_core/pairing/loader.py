"""A directory -> one frozen, validated pairing, or all its problems at once."""

from dataclasses import replace
from pathlib import Path

from xlate_core.bridge import BridgeSpec
from xlate_core.errors import reason_of
from xlate_core.frames import BUS_NAMES
from xlate_core.pairing.build_control import (
    build_conditions,
    build_faults,
    build_pins,
)
from xlate_core.pairing.build_power import build_buses, build_power
from xlate_core.pairing.build_reception import build_reception
from xlate_core.pairing.build_transmission import build_routes, build_transmits
from xlate_core.pairing.bus_checks import check_buses
from xlate_core.pairing.canonical import digest
from xlate_core.pairing.context import Context
from xlate_core.pairing.databases import read_database
from xlate_core.pairing.details import function_details, quantity_details
from xlate_core.pairing.function_kinds import build_all, check_functions
from xlate_core.pairing.indices import number_names
from xlate_core.pairing.layout_checks import check_database
from xlate_core.pairing.layouts import DbcMessage
from xlate_core.pairing.memory_checks import check_memory
from xlate_core.pairing.model import Pairing
from xlate_core.pairing.name_checks import check_names
from xlate_core.pairing.options import MARK, choose, read_options, split
from xlate_core.pairing.order_notes import note_backward_uses
from xlate_core.pairing.overlays import lay_on
from xlate_core.pairing.power_checks import check_power
from xlate_core.pairing.problems import (
    BRIDGE_FILE,
    Collector,
    PairingError,
    Problem,
    nearest_name,
)
from xlate_core.pairing.profile_checks import check_profiles
from xlate_core.pairing.protection_checks import check_protection
from xlate_core.pairing.reading import parse, validate
from xlate_core.pairing.schema import BridgeFile
from xlate_core.pairing.timing_checks import check_timing
from xlate_core.pairing.traffic import build_traffic, check_traffic
from xlate_core.pairing.use_checks import check_uses
from xlate_core.pairing.value_checks import check_values
from xlate_core.pins import PinKind


def load(directory: Path) -> Pairing:
    """Return the pairing in a directory; PairingError carries every problem found.

    Options stand behind the directory's name, as `wiring+fans_by_controller`.
    """
    directory = Path(directory)
    try:
        context = read(directory)
        spec = resolve(context)
        context.collector.raise_if_any()
    except PairingError as error:
        raise PairingError(error.problems, split(directory)[0]) from None
    return _pairing(directory, context, spec)


def read(directory: Path) -> Context:
    """Return tables and databases of a pairing, checked; PairingError with every problem."""
    directory, names = split(Path(directory))
    try:
        data = (directory / BRIDGE_FILE).read_bytes()
    except OSError as error:
        if directory.is_file():
            found, expected = "a file", f"the folder of a pairing, with {BRIDGE_FILE}"
            here = directory.parent.as_posix() if directory.name == BRIDGE_FILE else None
            raise PairingError([Problem("", None, "", found, expected, here)]) from None
        reason = reason_of(error)
        expected = f"a readable file {BRIDGE_FILE} in {directory.name or directory}"
        others = [one.parent.name for one in directory.parent.glob(f"*/{BRIDGE_FILE}")]
        nearest = nearest_name(directory.name, others)
        raise PairingError([Problem(BRIDGE_FILE, None, "", reason, expected, nearest)]) from None
    raw, collector = parse(data)
    chosen = choose(read_options(directory), names) if names else []
    if chosen:
        lay_on(raw, collector.positions, chosen)
    file = validate(raw, collector)
    if file is None:
        collector.raise_if_any()
        raise AssertionError("a refused file without a problem")
    databases = _read_databases(directory, file, collector)
    if databases is None:
        collector.raise_if_any()
        raise AssertionError("a refused database without a problem")
    context = Context(file, databases, collector, tuple(option.name for option in chosen))
    for check in (
        check_names,
        check_timing,
        check_buses,
        check_protection,
        check_profiles,
        check_values,
        check_functions,
        check_uses,
        check_memory,
        check_power,
        check_traffic,
        note_backward_uses,
    ):
        check(context)
    collector.raise_if_any()
    return context


def _read_databases(
    directory: Path, file: BridgeFile, collector: Collector
) -> dict[str, tuple[DbcMessage, ...]] | None:
    """Return both databases; None when one of them cannot be read at all."""
    databases: dict[str, tuple[DbcMessage, ...]] = {}
    for bus, name in enumerate(BUS_NAMES):
        table = getattr(file.bus, name)
        path: tuple[str, ...] = ("bus", name, "database")
        if Path(table.database).name != table.database:
            expected = "the name of a file in the folder of the pairing"
            collector.add(path, f'"{table.database}"', expected)
        elif not (directory / table.database).is_file():
            files = sorted(one.name for one in directory.glob("*.dbc"))
            collector.add_unknown(path, "a file in the folder", table.database, files)
        else:
            messages = read_database(directory / table.database, bus, collector)
            if messages is not None:
                databases[name] = messages
                check_database(messages, collector)
    return databases if len(databases) == len(BUS_NAMES) else None


def resolve(context: Context) -> BridgeSpec:
    """Return the specs of a checked pairing; overflow proofs add their problems here."""
    indices = number_names(context)
    reception = build_reception(context, indices)
    transmits = build_transmits(context, indices, reception.quantities)
    for index, quantity in enumerate(reception.quantities):
        senders = tuple(
            number
            for number, message in enumerate(transmits)
            if index in message.loss_of or any(pack.quantity == index for pack in message.packs)
        )
        reception.quantities[index] = replace(quantity, senders=senders)
    clock = context.file.clock
    return BridgeSpec(
        tick_ms=clock.tick_ms,
        control_ticks=clock.control_ms // clock.tick_ms,
        messages=tuple(reception.messages),
        units=tuple(reception.units),
        clocks=tuple(reception.clocks),
        sources=tuple(reception.sources),
        quantities=tuple(reception.quantities),
        pins=build_pins(context, indices, reception.pin_sources, reception.sources),
        conditions=build_conditions(context, indices),
        faults=build_faults(context, indices),
        power=build_power(context, indices),
        functions=build_all(context, indices),
        transmits=transmits,
        routes=build_routes(context),
        keeps=context.file.power.kept
        or any(fault.memory is not None for fault in context.file.fault.values()),
        buses=build_buses(context),
    )


def _pairing(directory: Path, context: Context, spec: BridgeSpec) -> Pairing:
    file = context.file

    def outputs(kind: PinKind) -> tuple[str, ...]:
        return tuple(pin.name for pin in spec.pins.outputs if pin.kind is kind)

    return Pairing(
        name=MARK.join((file.name, *context.options)),
        options=context.options,
        description=file.description,
        directory=directory,
        spec=spec,
        digest=digest(spec),
        bus_rates=(file.bus.body.bit_rate, file.bus.engine.bit_rate),
        databases=context.databases,
        notes=tuple(context.collector.notes),
        quantities=quantity_details(context, spec),
        functions=function_details(context),
        level_inputs=tuple(pin.name for pin in spec.pins.levels),
        analogue_inputs=tuple(pin.name for pin in spec.pins.analogues),
        level_outputs=outputs(PinKind.LEVEL),
        duty_outputs=outputs(PinKind.DUTY),
        frequency_outputs=outputs(PinKind.FREQUENCY),
        traffic=build_traffic(context),
        positions=context.collector.positions,
    )
