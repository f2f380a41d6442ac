"""The whole generated module: every receive and send function, the tick, and the way in and out.

The text is one function `build(engine, ...)` whose local names are the live state; `absorb` takes
them from the readable engine's records and `settle` writes them back, so that image, dump, digest
and restore are the readable engine's own.
"""

from xlate_core.compiled import receiving, sending
from xlate_core.compiled.exchange import (
    absorb_function,
    came,
    live_state,
    message_functions,
    settle_function,
    settle_unit_line,
)
from xlate_core.compiled.followers import mark_lines, mark_names
from xlate_core.compiled.handlers import BY_HANDLER, NOBODY
from xlate_core.compiled.plan import Plan
from xlate_core.compiled.rest import CONTROL
from xlate_core.compiled.spans import count_unknown, see_quantities, span_functions
from xlate_core.compiled.text import Text
from xlate_core.frames import MAX_STANDARD_IDENTIFIER, Frame
from xlate_core.functions import PURE
from xlate_core.interface import BridgeSpec, Outputs
from xlate_core.pins import PinKind, drive
from xlate_core.transmission import hand_over, pack, source_lost


def write(spec: BridgeSpec, native: bool = False) -> Text:
    """Return the text of a pairing's fast form, with everything it refers to.

    A native one is meant for translation into machine code.
    """
    plan, text = Plan(spec, native), Text(native)
    for name, value in (
        ("frame_type", Frame),
        ("outputs_type", Outputs),
        ("new", tuple.__new__),
        ("drive", drive),
        ("pack", pack),
        ("hand_over", hand_over),
        ("source_lost", source_lost),
    ):
        text.bind(name, value)
    with text.block("def build(engine: Bridge, support: Any) -> None:"):
        live_state(text, plan)
        for number, suited in enumerate(plan.suited):
            if suited:
                receiving.receive_function(
                    text, spec, number, plan.followers, number in plan.judged
                )
        for number, layout in enumerate(plan.layouts):
            sending.send_function(text, spec, number, layout)
        _marks(text, plan)
        _expiry(text, plan)
        _control(text, plan)
        _pins(text, plan)
        if native:
            _receive(text, plan)
            _leaving(text, plan)
        _tick(text, plan)
        _number(text)
        message_functions(text, plan)
        absorb_function(text, plan)
        settle_function(text, plan)
        messages = ", ".join(
            f"receive_{i}" if suited else "None" for i, suited in enumerate(plan.suited)
        )
        sends = ", ".join(f"send_{i}" for i in range(len(spec.transmits)))
        packs = ", ".join(f"{i}: pack_{i}" for i in plan.events)
        text.add(
            f"support.take(tick, absorb, settle, quiet, ({messages}{',' if messages else ''}), "
            f"({sends}{',' if sends else ''}), {{{packs}}}, sent_at, stop, settle_source, "
            "number)",
            "support.take_steps(absorb_message, settle_message, settle_ages, look_at_deadlines)",
        )
        if native:
            span_functions(text, plan)
    return text


def _marks(text: Text, plan: Plan) -> None:
    """Add, per quantity, what notes a change found outside the receive functions; and `note`."""
    followers = plan.followers
    for index in range(len(plan.spec.quantities)):
        with text.block(f"def mark_{index}() -> None:"):
            text.nonlocals(mark_names(followers, index))
            text.add(*mark_lines(followers, index))
            for message in followers.stops[index]:
                text.add(f"eager.add({message})")
            moved = f"not lo{index} <= q{index}.value <= hi{index}"
            with text.block(
                f"if {moved} or q{index}.status != st{index} or q{index}.origin != og{index}:"
            ):
                text.add(f"woken.append({index})")
        with text.block(f"def quiet_{index}(low: i64, high: i64) -> None:"):
            text.nonlocals([f"lo{index}", f"hi{index}", f"st{index}", f"og{index}"])
            text.add(f"lo{index} = low", f"hi{index} = high")
            text.add(f"st{index} = q{index}.status", f"og{index} = q{index}.origin")
    count = range(len(plan.spec.quantities))
    if text.native:
        with text.block("def mark(index: i64) -> None:"):
            text.by_number("index", count, lambda n: text.add(f"mark_{n}()"))
    else:
        text.add(f"mark = [{', '.join(f'mark_{i}' for i in count)}]")
    text.add(f"quiet = [{', '.join(f'quiet_{i}' for i in count)}]")
    with text.block("def note() -> None:"):
        with text.block("for index in changed:"):
            text.add("mark(index)" if text.native else "mark[index]()")
        text.add("changed.clear()")
    with text.block("def sent_at(message: i64) -> int | None:"):
        for index in plan.events:
            with text.block(f"if message == {index}:"):
                text.add(f"return t{index} if t{index} >= 0 else None")
        text.add("return None")
    with text.block("def stop(message: i64) -> None:"):
        text.nonlocals([f"stopped{index}" for index in plan.stops])
        for index in plan.stops:
            with text.block(f"if message == {index}:"):
                text.bind(f"slot_spec_{index}", plan.spec.transmits[index])
                text.add(
                    f"stopped{index} = x{index}.stopped = source_lost(slot_spec_{index}, store)"
                )
    with text.block("def settle_source(unit: i64) -> None:"):
        for index in plan.units:
            with text.block(f"if unit == {index} and {came(text, index)}:"):
                text.add(settle_unit_line(text, plan, index))


def _expiry(text: Text, plan: Plan) -> None:
    """Add what looks for units whose deadline has come; True when there is one."""
    with text.block("def expire() -> bool:"):
        text.nonlocals(["at_expiry"])
        text.declare("i64", "nearest", value="support.other_expiry")
        for index in plan.units:
            if plan.spec.units[index].deadline or plan.spec.units[index].first_deadline:
                text.add(f"expiry = a{index} + n{index}")
                with text.block("if expiry < nearest:"):
                    text.add("nearest = expiry")
        text.add("at_expiry = nearest", "return nearest <= now")


def _control(text: Text, plan: Plan) -> None:
    """Add the control tick: faults and power mode by the readable engine, those who are busy."""
    good = [f"g{number}" for number in plan.judged]
    with text.block("def control() -> None:"):
        text.nonlocals(["controls", "moved", *good])
        with text.block("if controls >= sleepers.horizon:"):
            text.add("sleepers.wake_expired(controls)")
        text.add("controls += 1")
        with text.block("if sleepers.control_awake:"):
            for number in plan.judged:
                text.add(f"m{number}.good = g{number} if g{number} < 65535 else 65535")
            text.add("support.faults_and_mode(now, controls)")
            with text.block("if changed:"):
                text.add("note()")
                with text.block("if woken:"):
                    text.add(f"sleepers.attend(controls, {CONTROL})")
        text.add(*[f"{name} = 0" for name in good])
        with text.block("if not (sleepers.any_busy or moved or sleepers.control_awake):"):
            text.add("return")
        for number, function in enumerate(plan.spec.functions):
            if isinstance(function, PURE):
                with text.block(f"if moved & {1 << number}:"):
                    text.add(f"moved &= {~(1 << number)}", f"pure_{number}()")
                    _tell_readers(text, number)
                continue
            with text.block(f"if busy[{number}]:"):
                text.add(f"step_{number}(fs_{number}, f_{number}, store, power)")
                _tell_readers(text, number)
        with text.block("if sleepers.any_busy or sleepers.control_awake:"):
            text.add("sleepers.after_control(controls)")


def _tell_readers(text: Text, number: int) -> None:
    """Add what notes what a function published: a later one sees it in the same control tick."""
    with text.block("if changed:"):
        text.add("note()")
        with text.block("if woken:"):
            text.add(f"sleepers.attend(controls, {number})")


def _pins(text: Text, plan: Plan) -> None:
    """Add what works out the output pins of the kinds that changed."""
    names = {PinKind.LEVEL: "levels", PinKind.DUTY: "duty", PinKind.FREQUENCY: "frequency"}
    with text.block("def drive_pins() -> None:"):
        text.nonlocals([*names.values(), *(f"pins_{kind.name.lower()}" for kind in PinKind)])
        text.nonlocals(["idle"])
        for kind, name in names.items():
            flag = f"pins_{kind.name.lower()}"
            with text.block(f"if {flag}:"):
                parts = []
                for index, pin in enumerate(plan.spec.pins.outputs):
                    if pin.kind is kind:
                        text.bind(f"pin_{index}", pin)
                        one = f"drive(pin_{index}, q{pin.quantity}.value)"
                        parts.append(f"bool({one})" if kind is PinKind.LEVEL else one)
                text.add(f"{flag} = False", f"{name} = ({''.join(part + ', ' for part in parts)})")
        text.add("idle = None")


def _number(text: Text) -> None:
    """Add what tells the number of the next tick."""
    with text.block("def number() -> i64:"):
        text.add("return now")


def _arrivals(text: Text) -> None:
    """Add what hands every frame to who takes it."""
    text.add("arriving = iter(pending)")
    with text.block("for frame in arriving:"):
        text.add("handler = handlers.get(frame[2])")
        with text.block("if handler is None:"):
            count_unknown(text)
        with text.block("elif handler(frame) and strange(frame, now, controls):"):
            text.add("return leave(inputs, [frame, *arriving])")


def _native_arrivals(text: Text) -> None:
    """Add the same for machine code, where an iterator and a look into a dictionary cost more."""
    with text.block("for place in range(len(pending)):"):
        text.add("frame = pending[place]", "identifier = frame[2]")
        short = f"identifier <= {MAX_STANDARD_IDENTIFIER}"
        text.add(f"taker = takers[identifier] if {short} else {BY_HANDLER}")
        taken = "receive(taker, frame) and strange(frame, now, controls)"
        with text.block("if taker >= 0:"), text.block(f"if {taken}:"):
            text.add("return leave(inputs, pending[place:])")
        with text.block(f"elif taker == {NOBODY}:"):
            count_unknown(text)
        with text.block("elif arrive(frame):"):
            text.add("return leave(inputs, pending[place:])")


def _receive(text: Text, plan: Plan) -> None:
    """Add what hands a frame to the receive function of a message, as a call in machine code."""
    text.declare("list[int]", "takers", value="support.takers")
    numbers = [number for number, suited in enumerate(plan.suited) if suited]
    with text.block("def receive(number: i64, frame: Frame) -> bool | None:"):
        call = "return receive_{}(frame)"
        text.by_number("number", numbers, lambda n: text.add(call.format(n)), "return True")


def _send_due(text: Text, plan: Plan) -> None:
    """Add what sends what is due while nothing else is, after an `if`; some may be silent."""
    if text.native:
        with text.block("else:"):
            text.add("frames = (leaving(body_numbers), leaving(engine_numbers))")
        return
    if plan.stops:
        with text.block(f"elif {' or '.join(f'stopped{index}' for index in plan.stops)}:"):
            text.add("frames = support.send_due(body, engine_bus)")
    with text.block("else:"):
        text.add("frames = (")
        for bus in ("body", "engine_bus"):
            text.add(
                f"    (() if not {bus} else ({bus}[0](),) if len({bus}) == 1 else "
                f"tuple([send() for send in {bus}])),"
            )
        text.add(")")


def _leaving(text: Text, plan: Plan) -> None:
    """Add what sends messages by number, as calls in machine code."""
    with text.block("def send(number: i64) -> Frame | None:"):
        sends = range(len(plan.spec.transmits))
        text.by_number("number", sends, lambda n: text.add(f"return send_{n}()"), "return None")
    with text.block("def leaving(numbers: tuple[int, ...]) -> tuple[Frame, ...]:"):
        with text.block("if not numbers:"):
            text.add("return ()")
        with text.block("if len(numbers) == 1:"):
            text.add("alone = send(numbers[0])", "return (alone,) if alone is not None else ()")
        text.add("sent: list[Frame] = []")
        with text.block("for number in numbers:"):
            text.add("frame = send(number)")
            with text.block("if frame is not None:"):
                text.add("sent.append(frame)")
        text.add("return tuple(sent)")


def _tick(text: Text, plan: Plan) -> None:
    """Add the tick; its order is that of the readable engine's."""
    more = ", *rest" if len(Outputs._fields) > 6 else ""
    with text.block("def tick(inputs: Inputs) -> Outputs:"):
        text.nonlocals(["now", "unknown_body", "unknown_engine", "idle", "held"])
        text.declare("Any", "control_due", "body", "engine_bus", value="None")
        if text.native:
            text.declare("tuple[int, ...]", "body_numbers", "engine_numbers", value="()")
        with text.block("if inputs is not held and inputs != held and not may_read(inputs):"):
            text.add("return leave(inputs, None)")
        with text.block("if pending:"):
            text.add("if len(pending) == 2:", "    alike = pending[0][2] == pending[1][2]")
            text.add("elif len(pending) == 1:", "    alike = False")
            text.add("else:", "    alike = len({one[2] for one in pending}) < len(pending)")
            with text.block("if alike and twice(pending):"):
                text.add("return leave(inputs, None)")
            if text.native:
                _native_arrivals(text)
            else:
                _arrivals(text)
            text.add("pending.clear()")
        with text.block("if now >= at_expiry and expire() and lose(now):"):
            text.add("return leave(inputs, ())")
        with text.block("if inputs is not held and inputs != held:"):
            text.add("held = read_pins(inputs)")
            with text.block("if changed:"):
                text.add("note()")
        see_quantities(text)
        text.add("due = next_due()" if text.native else "due = due_next()")
        with text.block("if due is None:"):
            with text.block("if not eager and not looks:"):
                text.add("now += 1")
                with text.block("if pins_level or pins_duty or pins_frequency or idle is None:"):
                    text.add("drive_pins()", "idle = no_frames()")
                with text.block("if sleepers.judge:"):
                    text.add("support.commit(now, controls)")
                    text.add("held = support.held")
                text.add("return idle")
            text.add("body = ()", "engine_bus = ()")
        with text.block("else:"):
            text.add("control_due, body, engine_bus, body_numbers, engine_numbers = due")
            with text.block("if control_due:"):
                text.add("control()")
        with text.block("if eager or looks:"):
            text.add("frames = send_events(now, body, engine_bus)")
        _send_due(text, plan)
        text.add("now += 1")
        with text.block("if pins_level or pins_duty or pins_frequency:"):
            text.add("drive_pins()")
        with text.block("if sleepers.judge or common.conditions_open:"):
            text.add("support.commit(now, controls)", "held = support.held")
            text.add("power_hold_is()")
        text.add(
            "return new(outputs_type, (frames, commands, levels, duty, frequency, "
            f"power_hold{more}))"
        )
    with text.block("def no_frames() -> Outputs:"):
        text.add(
            "return new(outputs_type, (((), ()), commands, levels, duty, frequency, "
            f"power_hold{more}))"
        )
    with text.block("def power_hold_is() -> None:"):
        text.nonlocals(["power_hold", "idle"])
        text.add("power_hold = engine.control.power_hold", "idle = None")
