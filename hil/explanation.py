"""A difference in words: octets and engineering values, inputs of the tick, how to run it again."""

from collections.abc import Sequence

from hil.differences import Difference, Key, Kind
from hil.link.free_run import FreeRunDifference
from hil.repetition import Repetition
from hil.vectors.names import Names, show, to_physical
from hil.vectors.vector import Vector
from xlate_core.bridge import Inputs, Outputs
from xlate_core.buses import BusCommand
from xlate_core.frames import BUS_NAMES, Frame, show_identifier
from xlate_core.pairing.layouts import DbcMessage, DbcSignal
from xlate_core.pins import PinKind
from xlate_core.signals import extract

KIND_WORDS = {
    Kind.VALUE: "value: the frame carries something else",
    Kind.EXTRA: "extra: a frame nobody expects",
    Kind.MISSING: "missing: an expected frame did not come",
    Kind.EARLY: "early: the frame is expected later",
    Kind.LATE: "late: the frame comes later",
    Kind.ORDER: "order: the right frames in another order",
    Kind.TRUNCATED: "truncated: the frame has fewer octets",
    Kind.PIN: "value: an output pin, a bus command or the power hold",
    Kind.STATE: "state: outputs agree, the state digest does not",
}


def explain(
    vector: Vector,
    names: Names,
    difference: Difference,
    repetition: Repetition | None,
    command: str,
) -> list[str]:
    """Return the explanation of a difference, line by line."""
    tick_ms = vector.header.tick_ms
    lines = [
        (
            f"vector {vector.header.identity}: first difference at tick {difference.tick} "
            f"({difference.tick * tick_ms} ms)"
        ),
        f"  kind      {kind_words(names, difference, tick_ms)}",
        f"  inputs    {shown_inputs(names, difference.inputs)}",
        "  received  " + ("nothing in this tick" if not difference.frames else ""),
    ]
    lines += [f"    {line}" for frame in difference.frames for line in shown_frame(names, frame)]
    lines += frame_lines(names, difference)
    lines += rest_lines(names, difference)
    if difference.digests is not None:
        lines.append(
            f"  digest    expected {difference.digests[0]:08X}, actual {difference.digests[1]:08X}"
        )
    if repetition is not None:
        lines += repetition_lines(names, repetition, difference, tick_ms)
    if difference.agreed:
        lines.append("  last agreed steps")
        for step in difference.agreed:
            into = ", ".join(short(names, frame) for frame in step.frames) or "-"
            out = ", ".join(short(names, frame) for side in step.sent for frame in side) or "-"
            lines.append(f"    {step.tick * tick_ms} ms  in {into}  out {out}")
    lines.append(f"  run again {command}")
    return lines


def free_run_lines(names: Names, found: FreeRunDifference) -> list[str]:
    """Return the explanation of a free run's first difference, line by line."""
    head = f"first difference at tick {found.tick} ({found.tick * names.tick_ms} ms)"
    wanted, actual = found.expected, found.actual
    if not isinstance(wanted, Outputs) or not isinstance(actual, Outputs):
        return [head, f"  {KIND_WORDS[Kind.STATE]}: expected {wanted:08X}, actual {actual:08X}"]
    lines = [head]
    for bus, (expected, sent) in enumerate(zip(wanted.frames, actual.frames, strict=True)):
        lines += bus_lines(names, bus, expected, sent)
    return lines + rest_differences(names, wanted[1:], actual[1:])


def kind_words(names: Names, difference: Difference, tick_ms: int) -> str:
    """Return the kind of difference with the message and the shift in time."""
    words = KIND_WORDS[difference.kind]
    if difference.subject is not None:
        words += f": {message_name(names, difference.subject)}"
    if difference.shift:
        words += f", by {difference.shift * tick_ms} ms"
    return words


def layout_of(names: Names, key: Key) -> DbcMessage | None:
    """Return the layout of a message by what is on the wire."""
    return next((layout for layout in names.layouts.values() if layout.key == key), None)


def message_name(names: Names, key: Key) -> str:
    """Return `bus.MESSAGE`, or bus and identifier when no database knows it."""
    layout = layout_of(names, key)
    if layout is not None:
        return f"{BUS_NAMES[key[0]]}.{layout.name}"
    return f"{BUS_NAMES[key[0]]} {show_identifier(key[2], key[1])}"


def short(names: Names, frame: Frame) -> str:
    """Return a frame in one phrase."""
    return f"{message_name(names, frame[:3])} {frame.data.hex() or '-'}"


def decoded(layout: DbcMessage, data: bytes) -> list[tuple[DbcSignal, int]]:
    """Return the signals a payload carries with their raw values; unselected paths are left out."""
    raws: dict[str, int] = {}
    found = []
    for signal in layout.signals:
        if signal.spec.last_octet < len(data):
            raws[signal.name] = extract(signal.spec, data)
    for signal in layout.signals:
        if signal.name not in raws:
            continue
        if signal.selector is not None:
            chosen = raws.get(signal.selector)
            if chosen is None or not any(a <= chosen <= b for a, b in signal.selected_by):
                continue
        found.append((signal, raws[signal.name]))
    return found


def shown_signal(signal: DbcSignal, raw: int) -> str:
    """Return a signal's value as an engineer reads it."""
    text = dict(signal.values).get(raw)
    unit = f" {signal.unit}" if signal.unit else ""
    label = f' "{text}"' if text else ""
    return f"{show(to_physical(signal, raw))}{unit}{label} (raw {raw})"


def shown_frame(names: Names, frame: Frame) -> list[str]:
    """Return a frame with its octets and each signal."""
    lines = [short(names, frame)]
    layout = layout_of(names, frame[:3])
    if layout is not None:
        lines += [
            f"  {signal.name} {shown_signal(signal, raw)}"
            for signal, raw in decoded(layout, frame.data)
        ]
    return lines


def frame_lines(names: Names, difference: Difference) -> list[str]:
    """Return expected and actual frames of the buses that differ."""
    lines = []
    for bus, (expected, actual) in enumerate(
        zip(difference.expected, difference.actual, strict=True)
    ):
        lines += bus_lines(names, bus, expected, actual)
    return lines


def bus_lines(
    names: Names, bus: int, expected: tuple[Frame, ...], actual: tuple[Frame, ...]
) -> list[str]:
    """Return expected and actual frames of one bus, none when they agree."""
    if expected == actual:
        return []
    lines = []
    for word, frames in (("expected", expected), ("actual", actual)):
        shown = ", ".join(short(names, frame) for frame in frames) or "no frame"
        lines.append(f"  {word:9} to {BUS_NAMES[bus]}: {shown}")
    return lines + signal_lines(names, expected, actual)


def signal_lines(names: Names, expected: Sequence[Frame], actual: Sequence[Frame]) -> list[str]:
    """Return the signals that differ between frames of the same message, or all of a lone one."""
    lines = []
    rest = list(actual)
    for wanted in expected:
        other = next((frame for frame in rest if frame[:3] == wanted[:3]), None)
        if other is not None:
            rest.remove(other)
        if other is not None:
            lines += bit_lines(wanted.data, other.data)
        layout = layout_of(names, wanted[:3])
        if layout is None or other == wanted:
            continue
        sent = dict(decoded(layout, other.data)) if other is not None else {}
        for signal, raw in decoded(layout, wanted.data):
            found = sent.get(signal)
            if found == raw:
                continue
            shown = "nothing" if found is None else shown_signal(signal, found)
            lines.append(
                f"    {layout.name}.{signal.name} expected {shown_signal(signal, raw)}, "
                f"actual {shown}"
            )
    for frame in rest:
        lines += [f"    {line}" for line in shown_frame(names, frame)]
    return lines


def bit_lines(wanted: bytes, found: bytes) -> list[str]:
    """Return the octets that differ, bit by bit, the most significant first."""
    return [
        f"    octet {place} expected {shown_bits(wanted, place)}, actual {shown_bits(found, place)}"
        for place in range(max(len(wanted), len(found)))
        if wanted[place : place + 1] != found[place : place + 1]
    ]


def shown_bits(data: bytes, place: int) -> str:
    """Return the bits of one octet, "nothing" behind the end."""
    return f"{data[place]:08b}" if place < len(data) else "nothing"


def rest_lines(names: Names, difference: Difference) -> list[str]:
    """Return pins, commands and power hold that differ."""
    return rest_differences(names, difference.expected_rest, difference.actual_rest)


def rest_differences(
    names: Names, expected: tuple[object, ...], actual: tuple[object, ...]
) -> list[str]:
    """Return what differs between two `Outputs[1:]`, by name."""
    if not expected or expected == actual:
        return []
    lines = []
    wanted, found = dict(named_rest(names, expected)), dict(named_rest(names, actual))
    for name, value in wanted.items():
        if found.get(name) != value:
            lines.append(f"    {name} expected {value}, actual {found.get(name, 'nothing')}")
    return lines


def named_rest(names: Names, rest: tuple[object, ...]) -> list[tuple[str, str]]:
    """Return name and shown value of everything in `Outputs[1:]`."""
    commands, levels, duty, frequency, hold = rest
    assert isinstance(commands, tuple)
    shown = [
        (f"command to {BUS_NAMES[bus]}", BusCommand(value).name.lower())
        for bus, value in enumerate(commands)
    ]
    groups = {PinKind.LEVEL: levels, PinKind.DUTY: duty, PinKind.FREQUENCY: frequency}
    for pin in names.outputs.values():
        values = groups[pin.kind]
        assert isinstance(values, tuple)
        value = values[pin.index]
        if pin.kind is PinKind.LEVEL:
            state = "active" if bool(value) == pin.active_high else "inactive"
            shown.append((f"output {pin.name}", f"{state} ({'high' if value else 'low'})"))
        elif pin.kind is PinKind.DUTY:
            shown.append((f"output {pin.name}", f"duty {value}"))
        else:
            shown.append((f"output {pin.name}", f"frequency {value} mHz"))
    shown.append(("power hold", "on" if hold else "off"))
    return shown


def shown_inputs(names: Names, inputs: Inputs) -> str:
    """Return the inputs of a tick by name."""
    parts = []
    for name, (index, active_high) in names.levels.items():
        state = "active" if inputs.levels[index] == active_high else "inactive"
        parts.append(f"{name} {state}")
    parts += [f"{name} {inputs.counts[index]} counts" for name, index in names.analogues.items()]
    parts.append(f"supply {inputs.supply_mv} mV")
    return ", ".join(parts)


def repetition_lines(
    names: Names, repetition: Repetition, difference: Difference, tick_ms: int
) -> list[str]:
    """Return what the repetition with a digest every tick found."""
    lines = [f"  repeated  {repetition.ticks} ticks from reset, digest every tick"]
    if repetition.state_tick is None and repetition.output_tick is None:
        lines.append("    the board does what today's reference does: the vector is older")
    if repetition.state_tick is not None:
        lines.append(
            f"    state differs from the reference first at tick {repetition.state_tick} "
            f"({repetition.state_tick * tick_ms} ms)"
        )
        lines += [
            f"    {one.path} expected {one.reference}, actual {one.board}"
            for one in repetition.fields
        ]
    if repetition.output_tick is not None and repetition.reference_outputs is not None:
        wanted, actual = repetition.reference_outputs, repetition.board_outputs
        if actual is not None:
            lines.append(
                f"    outputs differ from the reference first at tick {repetition.output_tick} "
                f"({repetition.output_tick * tick_ms} ms)"
            )
            seen = (difference.expected, difference.actual)
            if (wanted.frames, actual.frames) == seen and wanted.frames != actual.frames:
                return lines  # told above
            for bus in range(len(BUS_NAMES)):
                lines += signal_lines(names, wanted.frames[bus], actual.frames[bus])
            lines += rest_differences(names, wanted[1:], actual[1:])
    return lines
