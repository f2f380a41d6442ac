"""Specs of received messages, their units and clocks, sources and quantities."""

import re
from dataclasses import dataclass, field, replace
from fractions import Fraction

from xlate_core.frames import BUS_NAMES
from xlate_core.pairing.build_profiles import received_profile
from xlate_core.pairing.build_protection import checksum_spec, counter_spec
from xlate_core.pairing.context import (
    ENGINE_QUANTITIES,
    HIGHEST_SUPPLY_MV,
    POWER_MODE,
    Context,
    source_path,
    split_source,
)
from xlate_core.pairing.indices import Indices
from xlate_core.pairing.layout_checks import selection
from xlate_core.pairing.layouts import DbcMessage, DbcSignal, Ranges
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.scaling import decoding, limits, prove, rate_steps, steps
from xlate_core.pairing.schema import QuantityTable
from xlate_core.pairing.schema_messages import PathTable, ReceiveTable, SourceTable, UnitTable
from xlate_core.power import PowerMode
from xlate_core.quantities import NO_UNIT, QuantitySpec, SourceSpec, Status
from xlate_core.reception import ClockSpec, MessageSpec, UnitSpec

_SPAN = re.compile(r"(\d+)(?:\.\.(\d+))?\Z")


@dataclass(slots=True)
class Reception:
    """What is built here, and in which unit every signal arrives."""

    messages: list[MessageSpec] = field(default_factory=list)
    units: list[UnitSpec] = field(default_factory=list)
    clocks: list[ClockSpec] = field(default_factory=list)
    sources: list[SourceSpec] = field(default_factory=list)
    quantities: list[QuantitySpec] = field(default_factory=list)
    unit_of: dict[tuple[str, str, str], int] = field(default_factory=dict)
    pin_sources: dict[str, int] = field(default_factory=dict)


def build_reception(context: Context, indices: Indices) -> Reception:
    """Return all specs from frames to quantities; `senders` are filled in by transmission."""
    built = Reception()
    received = {message.key: (path, bus) for path, bus, message in context.received()}
    for key in indices.messages:
        bus = BUS_NAMES[key.bus]
        message = next(m for m in context.databases[bus] if m.key == key)
        path, _ = received.get(key, ((), ""))
        _build_message(context, indices, built, message, path)
    compared = {term.quantity for one in context.file.condition.values() for term in one.quantities}
    for name, table in context.file.quantity.items():
        built.quantities.append(_build_quantity(context, built, name, table, name in compared))
    for name in ENGINE_QUANTITIES:
        if name in indices.quantities:
            built.quantities.append(_of_the_engine(name, name in compared))
    for index, unit in enumerate(built.units):
        fed = tuple(number for number, one in enumerate(built.sources) if one.unit == index)
        built.units[index] = replace(unit, sources=fed)
    return built


def _build_message(
    context: Context, indices: Indices, built: Reception, message: DbcMessage, path: KeyPath
) -> None:
    bus = BUS_NAMES[message.bus]
    name = f"{bus}.{message.name}"
    routes = tuple(
        index
        for index, route in enumerate(context.file.route.values())
        if (found := context.named_message(route.from_)) and found[1].key == message.key
    )
    if not path:  # only routed: any length passes, as it came
        built.messages.append(
            MessageSpec(name, message.key, message.length, True, None, None, None, (), routes)
        )
        return
    table = context.file.receive[bus][message.name]  # type: ignore[index]
    selector = _selector(message)
    number = len(built.messages)
    clock = _clock(built, indices.condition(table.when))
    units = _units(context, path, message, table, selector)
    first = len(built.units)
    for unit, (signals, spans, deadlines) in units.items():
        built.units.append(
            UnitSpec(
                name=f"{name}.{unit}" if unit else name,
                message=number,
                selectors=spans,
                last_octet=max((signal.spec.last_octet for signal in signals), default=-1),
                first_deadline=_ticks(context, deadlines[0]),
                deadline=_ticks(context, deadlines[1]),
                clock=clock,
                sources=(),
            )
        )
        for signal in signals:
            built.unit_of[bus, message.name, signal.name] = len(built.units) - 1
    profile = None
    if table.profile is not None:
        profile = received_profile(message, table.profile, context.file.clock.tick_ms, clock)
    own = tuple(range(first, len(built.units)))
    built.clocks[clock] = replace(built.clocks[clock], units=built.clocks[clock].units + own)
    built.messages.append(
        MessageSpec(
            name=name,
            key=message.key,
            length=message.length,
            allow_short=table.allow_short,
            checksum=profile.checksum
            if profile is not None
            else checksum_spec(message, table.checksum, table.counter),
            counter=profile.counter
            if profile is not None
            else counter_spec(message, table.counter),
            selector=selector.spec if selector is not None else None,
            units=own,
            routes=routes,
            profile=profile,
        )
    )


Unit = tuple[list[DbcSignal], Ranges, tuple[int, int]]


def _units(
    context: Context,
    path: KeyPath,
    message: DbcMessage,
    table: ReceiveTable,
    selector: DbcSignal | None,
) -> dict[str, Unit]:
    """Return the units of a message: the rest of it, the split-off ones, the multiplexer paths."""
    rest = [signal for signal in message.signals if signal.selector is None]
    units: dict[str, Unit] = {}
    split: dict[str, Unit] = {}
    for name, unit in table.unit.items():
        signals: list[DbcSignal] = []
        for index, signal_name in enumerate(unit.signals):
            signal = message.signal(signal_name)
            if signal not in rest:
                where = (*path, "unit", name, "signals", index)
                found = f'"{signal_name}", which is multiplexed or in another unit'
                context.collector.add(where, found, "a signal outside the multiplexer, once")
            elif signal is not None:
                rest.remove(signal)
                signals.append(signal)
        split[name] = (signals, (), _deadlines(unit))
    paths: dict[Ranges, list[DbcSignal]] = {}
    for signal in message.signals:
        if selector is not None and set(selection(message, signal)) == {selector.name}:
            paths.setdefault(signal.selected_by, []).append(signal)
    if rest or not (split or paths):
        units[""] = (rest, (), _deadlines(table))
    units.update(split)
    given = _given_paths(context, path, table, set(paths))
    for spans, signals in sorted(paths.items()):
        units[f"path.{show_spans(spans)}"] = (signals, spans, given.get(spans, (0, 0)))
    return units


def _given_paths(
    context: Context, path: KeyPath, table: ReceiveTable, known: set[Ranges]
) -> dict[Ranges, tuple[int, int]]:
    """Return the deadlines given for multiplexer paths, which must be paths of the database."""
    given: dict[Ranges, tuple[int, int]] = {}
    for text, one in table.path.items():
        matches = [_SPAN.match(part.strip()) for part in text.split(",")]
        spans = tuple((int(m[1]), int(m[2] or m[1])) for m in matches if m is not None)
        if None in matches or spans not in known:
            shown = ", ".join(f'"{show_spans(spans)}"' for spans in sorted(known))
            expected = f"one of the paths {shown}" if known else "no path: no multiplexer here"
            context.collector.add((*path, "path", text), f'"{text}"', expected)
            continue
        given[spans] = _deadlines(one)
    return given


def show_spans(spans: Ranges) -> str:
    """Return selector ranges as bridge.toml writes them: 3, 3..7, or 1..5,9."""
    return ",".join(f"{low}..{high}" if high > low else str(low) for low, high in spans)


def _selector(message: DbcMessage) -> DbcSignal | None:
    """Return the one selector the engine follows: the first that is not multiplexed itself."""
    used = {signal.selector for signal in message.signals}
    roots = [one for one in message.signals if one.name in used and one.selector is None]
    return roots[0] if roots else None


def _deadlines(table: ReceiveTable | UnitTable | PathTable) -> tuple[int, int]:
    first = table.first_deadline_ms
    return (table.deadline_ms if first is None else first, table.deadline_ms)


def _ticks(context: Context, milliseconds: int) -> int:
    return milliseconds // context.file.clock.tick_ms


def _clock(built: Reception, condition: int) -> int:
    """Return the clock of a condition; all units under one condition share it."""
    for index, clock in enumerate(built.clocks):
        if clock.condition == condition:
            return index
    built.clocks.append(ClockSpec(condition, ()))
    return len(built.clocks) - 1


def _build_quantity(
    context: Context, built: Reception, name: str, table: QuantityTable, compared: bool
) -> QuantitySpec:
    path: KeyPath = ("quantity", name)
    low, high = limits(table)
    number = len(built.quantities)
    first = len(built.sources)
    for index, source in enumerate(table.from_ or ()):
        where = source_path(name, index)
        built.sources.append(_build_source(context, built, where, number, table, source))
    substitute = None
    if isinstance(table.substitute, Fraction):
        substitute = steps(context, (*path, "substitute"), table.substitute, name)
    initial = substitute if substitute is not None else low
    if table.initial is not None:
        initial = steps(context, (*path, "initial"), table.initial, name)
    rate = 0
    if table.return_per_s is not None:
        where = (*path, "return_per_s")
        rate = rate_steps(context, where, table.return_per_s, table.resolution)
    return QuantitySpec(
        name=name,
        low=low,
        high=high,
        sources=tuple(range(first, len(built.sources))),
        hold=_ticks(context, table.hold_ms),
        substitute=substitute,
        initial=initial,
        return_rate=rate,
        senders=(),
        in_conditions=compared,
    )


def _of_the_engine(name: str, compared: bool) -> QuantitySpec:
    """Return a quantity that the engine itself produces: the power mode's number, the supply."""
    highest = int(max(PowerMode)) if name == POWER_MODE else HIGHEST_SUPPLY_MV
    return QuantitySpec(name, 0, highest, (), 0, None, 0, 0, (), compared)


def _build_source(
    context: Context,
    built: Reception,
    path: KeyPath,
    quantity: int,
    table: QuantityTable,
    source: SourceTable,
) -> SourceSpec:
    low, high = limits(table)
    name = source.signal
    if any(one.name == name for one in built.sources):
        name = f"{source.signal} as {path[1]}"
    bus, message_name, signal_name = split_source(source)
    max_change = 0
    if table.max_change is not None:
        where: KeyPath = ("quantity", path[1], "max_change")
        max_change = rate_steps(context, where, table.max_change, table.resolution)
    if bus == "input":
        built.pin_sources[message_name] = len(built.sources)
        return SourceSpec(name, quantity, NO_UNIT, None, 1, 0, 1, (), (0, 0xFFFF), low, high, 0, 0)
    message = context.message(bus, message_name)
    signal = message.signal(signal_name) if message is not None else None
    assert signal is not None  # the names have been checked
    factor = source.factor if source.factor is not None else signal.factor
    offset = source.offset if source.offset is not None else signal.offset
    valid = (source.valid[0], source.valid[1]) if source.valid else signal.raw_range()
    scale = decoding(factor, offset, table.resolution)
    prove(context, path, scale, valid[0], valid[1], signal.spec.length)
    specials = [(a, b, int(Status.ERROR)) for a, b in source.error]
    specials += [(a, b, int(Status.NOT_AVAILABLE)) for a, b in source.not_available]
    return SourceSpec(
        name=name,
        quantity=quantity,
        unit=built.unit_of[bus, message_name, signal_name],
        signal=signal.spec,
        a=scale.a,
        b=scale.b,
        d=scale.d,
        specials=tuple(specials),
        valid=valid,
        low=low,
        high=high,
        frozen_after=table.frozen_after_frames or 0,
        max_change=max_change,
    )
