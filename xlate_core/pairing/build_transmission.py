"""Specs of sent messages and routes."""

from fractions import Fraction

from xlate_core.frames import BUS_NAMES
from xlate_core.pairing.build_profiles import sent_protection
from xlate_core.pairing.context import Context
from xlate_core.pairing.indices import Indices
from xlate_core.pairing.layout_checks import selection
from xlate_core.pairing.layouts import DbcMessage, DbcSignal
from xlate_core.pairing.positions import KeyPath
from xlate_core.pairing.scaling import encoding, prove
from xlate_core.pairing.schema_messages import SentSignal, TransmitTable
from xlate_core.quantities import QuantitySpec
from xlate_core.signals import insert
from xlate_core.transmission import OnLoss, PackSpec, RouteSpec, TransmitSpec


def build_transmits(
    context: Context, indices: Indices, quantities: list[QuantitySpec]
) -> tuple[TransmitSpec, ...]:
    """Return the send table in its listed order."""
    specs = []
    for path, bus, message in context.sent():
        table = context.file.transmit[bus][message.name]  # type: ignore[index]
        specs.append(_build(context, indices, quantities, path, message, table))
    return tuple(specs)


def _build(
    context: Context,
    indices: Indices,
    quantities: list[QuantitySpec],
    path: KeyPath,
    message: DbcMessage,
    table: TransmitTable,
) -> TransmitSpec:
    tick = context.file.clock.tick_ms
    packs = []
    for signal in message.signals:
        sent = table.signals.get(signal.name)
        if sent is not None and sent.quantity is not None:
            where = (*path, "signals", signal.name)
            packs.append(_pack(context, indices, quantities, where, signal, sent))
    if table.loss_of is not None:
        loss_of = [indices.quantities[name] for name in table.loss_of]
    else:
        loss_of = sorted({pack.quantity for pack in packs if quantities[pack.quantity].sources})
    period = table.period_ms if table.period_ms is not None else message.cycle_ms or 0
    counter, checksum = sent_protection(message, table)
    return TransmitSpec(
        name=f"{BUS_NAMES[message.bus]}.{message.name}",
        key=message.key,
        base=_base(context, message, table),
        packs=tuple(packs),
        period=period // tick,
        offset=table.offset_ms // tick,
        on_change=table.on_change,
        min_gap=table.min_gap_ms // tick,
        condition=indices.condition(table.when),
        on_loss=OnLoss[table.on_loss.upper()],
        loss_of=tuple(loss_of),
        counter=counter,
        checksum=checksum,
    )


def _pack(
    context: Context,
    indices: Indices,
    quantities: list[QuantitySpec],
    path: KeyPath,
    signal: DbcSignal,
    sent: SentSignal,
) -> PackSpec:
    name = str(sent.quantity)
    quantity = quantities[indices.quantities[name]]
    table = context.file.quantity.get(name)
    factor = sent.factor if sent.factor is not None else signal.factor
    offset = sent.offset if sent.offset is not None else signal.offset
    # the power mode, the one quantity without a table, counts in whole numbers
    resolution = table.resolution if table is not None else Fraction(1)
    scale = encoding(factor, offset, resolution)
    prove(context, path, scale, quantity.low, quantity.high, 32)
    low, high = (sent.valid[0], sent.valid[1]) if sent.valid else signal.raw_range()
    return PackSpec(
        quantity=indices.quantities[name],
        signal=signal.spec,
        a=scale.a,
        b=scale.b,
        d=scale.d,
        low=low,
        high=high,
        not_available=sent.not_available,
    )


def _base(context: Context, message: DbcMessage, table: TransmitTable) -> bytes:
    """Return the payload of constants, the database's initial values and fill bits.

    Counter and checksum are zero in it: "changed" is judged without them. The part of a profile's
    data ID that stands in the payload is one of its constants.
    """
    base = bytes([0xFF if table.fill else 0]) * message.length
    constants = {
        name: sent.constant for name, sent in table.signals.items() if sent.constant is not None
    }
    protected = {part.signal for part in (table.counter, table.checksum) if part is not None}
    if table.profile is not None:
        protected |= {table.profile.counter, table.profile.checksum}
        constants |= table.profile.constants()
    for signal in message.signals:
        chosen = all(
            any(low <= constants.get(name, low - 1) <= high for low, high in spans)
            for name, spans in selection(message, signal).items()
        )
        if signal.name in protected:
            base = insert(signal.spec, base, 0)
        elif signal.name in constants:
            base = insert(signal.spec, base, constants[signal.name])
        elif signal.initial is not None and chosen and not signal.is_float:
            if not signal.spec.minimum <= signal.initial <= signal.spec.maximum:
                context.collector.add_file(
                    message.file,
                    signal.line,
                    f"{message.name}.{signal.name}",
                    f"initial value {signal.initial}",
                    f"a raw value within {signal.spec.minimum}..{signal.spec.maximum}",
                )
            base = insert(signal.spec, base, signal.initial)
    return base


def build_routes(context: Context) -> tuple[RouteSpec, ...]:
    """Return the routes in their listed order."""
    return tuple(
        RouteSpec(
            name=name,
            bus=BUS_NAMES.index(route.to),
            capacity=route.queue or 1,
            fifo=route.queue > 0,
        )
        for name, route in context.file.route.items()
    )
