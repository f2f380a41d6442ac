"""Tables of one pairing for the C core: `BridgeSpec` -> xb_tables.h, xb_tables.c, xb_functions.c.

The text depends on the validated model alone: no date, no path, no name of the machine. A second
pairing needs no new C.
"""

from pathlib import Path

from hil.firmware import function_steps, function_tables, memory_tables, state_records
from hil.firmware.control_tables import ControlTables
from hil.firmware.frame_numbers import narrow, short
from hil.firmware.frame_tables import FrameTables
from hil.firmware.notation import Arrays, array, struct, u8, u16, u32
from hil.firmware.sending_tables import SendingTables
from hil.firmware.state_records import GENERATED
from xlate_core.bridge import RULES, Bridge, BridgeSpec
from xlate_core.frames import Bus
from xlate_core.pairing.model import Pairing
from xlate_core.pins import PinKind

PUBLIC = {"quantities": "xb_quantity_specs", "outputs": "xb_output_pin_specs"}
"""Member of xb_bridge_spec -> table with a name of its own, for who needs no other."""


def counts(spec: BridgeSpec) -> dict[str, int]:
    """Return how many there are of everything the core has an array of."""
    outputs = spec.pins.outputs
    return {
        "MESSAGE": len(spec.messages),
        "PROFILE": sum(message.profile is not None for message in spec.messages),
        "UNIT": len(spec.units),
        "CLOCK": len(spec.clocks),
        "SOURCE": len(spec.sources),
        "QUANTITY": len(spec.quantities),
        "LEVEL": len(spec.pins.levels),
        "ANALOGUE": len(spec.pins.analogues),
        "OUTPUT": len(outputs),
        "LEVEL_OUTPUT": sum(pin.kind is PinKind.LEVEL for pin in outputs),
        "DUTY": sum(pin.kind is PinKind.DUTY for pin in outputs),
        "FREQUENCY": sum(pin.kind is PinKind.FREQUENCY for pin in outputs),
        "CONDITION": len(spec.conditions),
        "FAULT": len(spec.faults),
        "ENTRY": len(memory_tables.remembered(spec)),
        "SNAPSHOT": sum(len(entry.snapshot) for entry in memory_tables.remembered(spec)),
        "FUNCTION": len(spec.functions),
        **{name.upper(): count for name, count in function_tables.counts(spec.functions).items()},
        "TRANSMIT": len(spec.transmits),
        "ROUTE": len(spec.routes),
        "WAITING": sum(route.capacity for route in spec.routes),
        "FRAME": frame_slots(spec),
    }


def frame_slots(spec: BridgeSpec) -> int:
    """Return how many frames one tick may hand over on the fuller bus."""
    return max(
        sum(route.capacity for route in spec.routes if route.bus == bus)
        + sum(message.key.bus == bus for message in spec.transmits)
        for bus in Bus
    )


def header(pairing: Pairing) -> str:
    """Return xb_tables.h: counts as numbers; an array never has less than one place in C."""
    spec = pairing.spec
    bridge = Bridge(spec)
    numbers = {
        "RULES": RULES,
        "TICK_MS": spec.tick_ms,
        "CONTROL_TICKS": spec.control_ticks,
        "IMAGE_OCTETS": len(bridge.image()),
        "KEPT_OCTETS": len(bridge.kept()),
        "KEPT_LAYOUT": bridge.kept_layout,
    }
    numbers["PROFILES"] = counts(spec)["PROFILE"]  # 0 leaves their code out
    numbers |= {f"{name}_SLOTS": max(count, 1) for name, count in counts(spec).items()}
    lines = "".join(f"#define XB_{name} {number}u\n" for name, number in numbers.items())
    number = (
        f"/* Holds every factor and limit of this pairing's signals. */\n"
        f"typedef {'int32_t' if narrow(spec) else 'int64_t'} xb_number;\n\n"
        f"/* Holds the mask of every signal of this pairing. */\n"
        f"typedef {'uint32_t' if short(spec) else 'uint64_t'} xb_mask;\n"
    )
    return (
        f"{GENERATED}#ifndef XB_TABLES_H\n#define XB_TABLES_H\n\n#include <stdint.h>\n\n"
        f"{lines}\n{number}\n#endif\n"
    )


def source(pairing: Pairing) -> str:
    """Return xb_tables.c."""
    spec = pairing.spec
    arrays = Arrays()
    members = {
        "tick_ms": u32(spec.tick_ms, "tick_ms"),
        "control_ticks": u16(spec.control_ticks, "control ticks"),
        "longest_startup": u32(max((one.after for one in spec.conditions), default=0), "after"),
    }
    frames, control = FrameTables(spec, arrays), ControlTables(spec, arrays)
    sending = SendingTables(spec, arrays)
    tables = {**frames.tables(), **sending.tables(), **control.tables()}
    of_functions = {kind.array for kind in function_tables.KINDS}
    for member, (kind, entries) in tables.items():
        if member in PUBLIC:
            arrays.texts.append(array(f"const {kind} {PUBLIC[member]}", entries or ["{0}"]))
            members[member] = PUBLIC[member]
        else:
            members[member] = arrays.add(kind, member, entries)
    members["deliveries"] = frames.deliveries()
    members["entries"] = arrays.add("xb_entry_spec", "entries", memory_tables.entries(spec, arrays))
    members["power"] = arrays.one("xb_power_spec", "power", control.power())
    for member, (_, entries) in tables.items():
        if member not in of_functions:
            single = {"own_keys": "own_key", "quantities": "quantity"}.get(member, member[:-1])
            members[f"{single}_count"] = u32(len(entries), member)
    for name, count in function_tables.counts(spec.functions).items():
        members[f"{name}_count"] = u32(count, name)
    members["buses"] = arrays.add("xb_bus_spec", "buses", ControlTables(spec, arrays).buses())
    members["watches_buses"] = u8(spec.watches_buses, "watches_buses")
    members["entry_count"] = u32(len(memory_tables.remembered(spec)), "entries")
    members["snapshot_count"] = u32(counts(spec)["SNAPSHOT"], "snapshots")
    members["keeps"] = u8(spec.keeps, "keeps")
    digest = [f"0x{octet:02X}u" for octet in bytes.fromhex(pairing.digest)]
    return "\n".join(
        [
            GENERATED + '#include "interface.h"\n\n#include <stddef.h>\n',
            *arrays.texts,
            f"const xb_bridge_spec xb_spec = {struct(members)};\n".replace(", .", ",\n    ."),
            f"const uint32_t xb_output_pin_count = {len(spec.pins.outputs)}u;\n",
            array("const uint8_t xb_pairing_digest", digest),
        ]
    )


def generate(pairing: Pairing) -> dict[str, str]:
    """Return the generated files, name -> text."""
    return {
        "xb_state.h": state_records.header(),
        "xb_state.c": state_records.source(),
        "xb_tables.h": header(pairing),
        "xb_tables.c": source(pairing),
        "xb_functions.c": GENERATED + function_steps.source(pairing.spec.functions),
    }


def write(pairing: Pairing, directory: Path) -> list[Path]:
    """Write the generated files into a folder; return their paths.

    Everything is worked out before the first file is touched, and a file is replaced whole.
    """
    texts = generate(pairing)
    directory.mkdir(parents=True, exist_ok=True)
    written = []
    for name, text in texts.items():
        path = directory / name
        temporary = path.with_name(f".{name}.tmp")
        temporary.write_text(text, encoding="utf-8", newline="\n")
        temporary.replace(path)
        written.append(path)
    return written
