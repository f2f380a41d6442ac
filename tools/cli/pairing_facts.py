"""The facts `xlate pairing show` tells of a pairing, as plain data: for the tables and for JSON.

Bus load is the sum of frame bits by period. A frame is at most 55 + 10*s bits with an 11-bit and
80 + 10*s bits with a 29-bit identifier and s octets: the bound with worst bit stuffing of Davis,
Burns, Bril and Lukkien, "Controller Area Network (CAN) schedulability analysis: refuted, revisited
and revised", Real-Time Systems 35 (2007).
"""

from typing import Any

from xlate_core.bridge import RULES, BridgeSpec
from xlate_core.frames import BUS_NAMES, FrameKey
from xlate_core.pairing import DbcMessage, Pairing
from xlate_core.pairing.build_memory import code_text
from xlate_core.pairing.exact import show_ratio
from xlate_core.pairing.memory_checks import FAILURE_TYPES
from xlate_core.power import PowerMode
from xlate_core.transmission import TransmitSpec


def frame_bits(octets: int, extended: bool) -> int:
    """Return the most bits a frame with so many octets takes on the bus."""
    return (80 if extended else 55) + 10 * octets


def facts(pairing: Pairing) -> dict[str, Any]:
    """Return everything worth showing of a pairing."""
    spec = pairing.spec
    return {
        "name": pairing.name,
        "options": list(pairing.options),
        "description": pairing.description,
        "digest": pairing.digest,
        "rules": RULES,
        "tick_ms": spec.tick_ms,
        "control_ms": spec.tick_ms * spec.control_ticks,
        "buses": {name: _bus(pairing, number) for number, name in enumerate(BUS_NAMES)},
        "quantities": [_quantity(pairing, index) for index in range(len(spec.quantities))],
        "inputs": _inputs(pairing),
        "outputs": [
            {
                "name": pin.name,
                "kind": pin.kind.name.lower(),
                "active": "high" if pin.active_high else "low",
                "quantity": spec.quantities[pin.quantity].name,
                "reset": pin.reset_value,
                "unpowered": pin.unpowered,
            }
            for pin in spec.pins.outputs
        ],
        "functions": [
            {
                "name": one.name,
                "kind": one.kind,
                "reads": list(one.reads),
                "writes": list(one.writes),
                "settings": dict(one.settings),
            }
            for one in pairing.functions
        ],
        "faults": [fault.name for fault in spec.faults],
        "fault_memory": _fault_memory(spec),
        "conditions": [_condition(spec, index) for index in range(len(spec.conditions))],
        "notes": list(pairing.notes),
    }


def _fault_memory(spec: BridgeSpec) -> list[dict[str, Any]]:
    """Return what is remembered of each fault over resets."""
    return [
        {
            "fault": fault.name,
            "code": code_text(fault.memory.code),
            "failure_type": FAILURE_TYPES.get(fault.memory.code & 0xFF, "no name here"),
            "aging_cycles": fault.memory.aging,
            "snapshot": [spec.quantities[index].name for index in fault.memory.snapshot],
        }
        for fault in spec.faults
        if fault.memory is not None
    ]


def _bus(pairing: Pairing, bus: int) -> dict[str, Any]:
    messages = [_message(pairing, bus, m) for m in pairing.databases[BUS_NAMES[bus]]]
    messages += _routed_here(pairing, bus, {row["key"] for row in messages})
    rate = pairing.bus_rates[bus]
    load = sum(row["bits"] * 1000 / row["period_ms"] for row in messages if row["period_ms"])
    for row in messages:
        del row["key"]
    return {
        "bit_rate": rate,
        "load_percent": round(100 * load / rate, 1),
        "without_period": sum(1 for row in messages if not row["period_ms"]),
        "messages": messages,
    }


def _message(pairing: Pairing, bus: int, message: DbcMessage) -> dict[str, Any]:
    """Return one row; the period of what we send is ours, of the rest the database's."""
    spec = pairing.spec
    roles = []
    period = message.cycle_ms or None
    detail = ""
    for received in spec.messages:
        if received.key == message.key:
            if received.units:
                roles.append("received")
                detail = _supervision(pairing, received.units)
            if received.routes:
                roles.append("routed on")
    for sent in spec.transmits:
        if sent.key == message.key:
            roles.append("sent")
            period = sent.period * spec.tick_ms or None
            detail = _sending(spec, sent)
    if message.key in _routed_keys(pairing):
        roles.append("routed in")
    return {
        "name": message.name,
        "identifier": message.shown_identifier,
        "length": message.length,
        "role": ", ".join(roles) or "not used",
        "period_ms": period,
        "bits": frame_bits(message.length, message.extended),
        "detail": detail,
        "key": message.key,
    }


def _routed_keys(pairing: Pairing) -> dict[FrameKey, DbcMessage]:
    """Return what routes bring, by its key on the bus it comes to."""
    brought: dict[FrameKey, DbcMessage] = {}
    for received in pairing.spec.messages:
        layout = pairing.message_of(received.key)
        for route in received.routes:
            if layout is not None:
                target = pairing.spec.routes[route].bus
                brought[received.key._replace(bus=target)] = layout
    return brought


def _routed_here(pairing: Pairing, bus: int, known: set[FrameKey]) -> list[dict[str, Any]]:
    """Return rows of routed messages that this bus's own database does not name."""
    return [
        {
            "name": layout.name,
            "identifier": layout.shown_identifier,
            "length": layout.length,
            "role": "routed in",
            "period_ms": layout.cycle_ms or None,
            "bits": frame_bits(layout.length, layout.extended),
            "detail": "",
            "key": key,
        }
        for key, layout in _routed_keys(pairing).items()
        if key.bus == bus and key not in known
    ]


def _supervision(pairing: Pairing, units: tuple[int, ...]) -> str:
    spec = pairing.spec
    parts = []
    for index in units:
        unit = spec.units[index]
        if unit.deadline or unit.first_deadline:
            name = unit.name.split(".", 2)[2] + ": " if unit.name.count(".") > 1 else ""
            parts.append(f"{name}lost after {unit.deadline * spec.tick_ms} ms")
    return "; ".join(parts) or "not supervised"


def _sending(spec: BridgeSpec, sent: TransmitSpec) -> str:
    parts = []
    if sent.on_change:
        parts.append(f"on change, gap {sent.min_gap * spec.tick_ms} ms")
    if sent.condition >= 0:
        parts.append(f"while {spec.conditions[sent.condition].name}")
    parts.append(f"on loss {sent.on_loss.name.lower().replace('_', ' ')}")
    return ", ".join(parts)


def _quantity(pairing: Pairing, index: int) -> dict[str, Any]:
    quantity, details = pairing.spec.quantities[index], pairing.quantities[index]
    step = details.resolution
    return {
        "name": details.name,
        "unit": details.unit,
        "resolution": show_ratio(step),
        "range": [show_ratio(quantity.low * step), show_ratio(quantity.high * step)],
        "from": list(details.written_by),
        "to": list(details.read_by),
        "hold_ms": quantity.hold * pairing.spec.tick_ms,
        "substitute": _substitute(pairing, index),
    }


def _substitute(pairing: Pairing, index: int) -> str | None:
    quantity = pairing.spec.quantities[index]
    if not quantity.sources:
        return None
    if quantity.substitute is None:
        return "not available"
    return show_ratio(quantity.substitute * pairing.quantities[index].resolution)


def _inputs(pairing: Pairing) -> list[dict[str, Any]]:
    spec = pairing.spec
    rows: list[dict[str, Any]] = [
        {
            "name": level.name,
            "kind": "level",
            "active": "high" if level.active_high else "low",
            "debounce_ms": level.debounce * spec.tick_ms,
        }
        for level in spec.pins.levels
    ]
    rows += [
        {"name": one.name, "kind": "analogue", "valid": list(one.valid)}
        for one in spec.pins.analogues
    ]
    return rows


def _condition(spec: BridgeSpec, index: int) -> dict[str, Any]:
    condition = spec.conditions[index]
    terms = []
    if condition.power_modes:
        terms.append("mode " + "/".join(PowerMode(m).name.lower() for m in condition.power_modes))
    if condition.supply_mv is not None:
        terms.append(f"supply {condition.supply_mv[0]}..{condition.supply_mv[1]} mV")
    if condition.after:
        terms.append(f"from {condition.after * spec.tick_ms} ms after reset")
    for one in condition.comparisons:
        name = spec.quantities[one.quantity].name
        terms.append(f"{name} {one.operator.value} {one.value} steps")
    return {"name": condition.name, "terms": terms}
