"""The whole generated module: every receive and send function, the tick, and the way in and out.

The text is one function `build(engine, ...)` whose local names are the live state; `absorb` takes
them from the readable engine's records and `settle` writes them back, so that image, dump, digest
and restore are the readable engine's own.
"""

from struct import Struct

from xlate_core.compiled import receiving, sending
from xlate_core.compiled.chunks import calls_for, unpack_lines
from xlate_core.compiled.followers import followers_of, mark_lines, mark_names
from xlate_core.compiled.text import Text
from xlate_core.frames import Frame
from xlate_core.functions import PURE
from xlate_core.interface import BridgeSpec, Outputs
from xlate_core.pins import PinKind, drive
from xlate_core.reception import NEVER_EXPIRES, UNIT_FRESH, UNIT_NEVER_RECEIVED, UNIT_STALE
from xlate_core.transmission import OnLoss, hand_over, pack, source_lost

NEVER = NEVER_EXPIRES


class Plan:
    """What a pairing's text is made of."""

    def __init__(self, spec: BridgeSpec) -> None:
        """Look at a pairing."""
        self.spec = spec
        self.followers = followers_of(spec)
        self.suited = [receiving.is_suited(spec, message) for message in spec.messages]
        self.layouts = [sending.Layout(message) for message in spec.transmits]
        self.judged = sorted({fault.message for fault in spec.faults if fault.message >= 0})
        self.units = [i for i, unit in enumerate(spec.units) if self.suited[unit.message]]
        self.events = [i for i, message in enumerate(spec.transmits) if message.on_change]
        self.stops = [
            i for i, message in enumerate(spec.transmits) if message.on_loss is OnLoss.STOP
        ]


def write(spec: BridgeSpec, observed: bool = False) -> Text:
    """Return the text of a pairing's fast form, with everything it refers to.

    An observed one keeps the tick number of events up to date and tells of safe states.
    """
    plan, text = Plan(spec), Text()
    for name, value in (
        ("Frame", Frame),
        ("Outputs", Outputs),
        ("new", tuple.__new__),
        ("drive", drive),
        ("pack", pack),
        ("hand_over", hand_over),
        ("source_lost", source_lost),
    ):
        text.bind(name, value)
    with text.block("def build(engine, support):"):
        _live_state(text, plan)
        for number, suited in enumerate(plan.suited):
            if suited:
                receiving.receive_function(
                    text, spec, number, plan.followers, number in plan.judged
                )
        for number, layout in enumerate(plan.layouts):
            sending.send_function(text, spec, number, layout)
        _marks(text, plan)
        _expiry(text, plan)
        _control(text, plan, observed)
        _pins(text, plan)
        _tick(text, observed)
        _take(text)
        _absorb(text, plan)
        _settle(text, plan)
        messages = ", ".join(
            f"receive_{i}" if suited else "None" for i, suited in enumerate(plan.suited)
        )
        sends = ", ".join(f"send_{i}" for i in range(len(spec.transmits)))
        packs = ", ".join(f"{i}: pack_{i}" for i in plan.events)
        text.add(
            f"support.take(tick, absorb, settle, quiet, ({messages}{',' if messages else ''}), "
            f"({sends}{',' if sends else ''}), {{{packs}}}, sent_at, stop, settle_source, take, "
            "number)"
        )
    return text


def _live_state(text: Text, plan: Plan) -> None:
    """Add the names of the live state and of the records they stand beside."""
    spec = plan.spec
    text.add(
        "now = controls = moved = at_expiry = 0",
        "unknown_body = unknown_engine = 0",
        "held = outputs = idle = None",
        "commands = levels = duty = frequency = power_hold = rest = None",
        "pins_level = pins_duty = pins_frequency = False",
        "common = engine.common",
        "store = common.store",
        "touched, changed = store.touched, store.changed",
        "power = engine.control.power",
        "pending, eager, looks = support.pending, support.eager, support.looks",
        "sleepers = support.sleepers",
        "woken = sleepers.woken",
        "busy = sleepers.busy",
        "handlers = support.handlers",
        "look, look_again, stranger = support.look, support.look_again, support.stranger",
        "bits_of, evaluate, send_events = support.bits_of, support.evaluate, support.send_events",
        "leave, due_next = support.leave, None",
    )
    for index in range(len(spec.quantities)):
        text.add(f"q{index} = store.states[{index}]", f"lo{index} = hi{index} = 0")
    for index in plan.units:
        text.add(f"u{index} = engine.intake.units[{index}]")
        text.add(f"a{index} = n{index} = 0", f"z{index} = None", f"h{index} = False")
        reading = receiving.Reading(spec, spec.messages[spec.units[index].message])
        for number in range(len(reading.chunks)):
            text.add(f"w{index}_{number} = 0")
    for number in range(len(spec.messages)):
        text.add(f"m{number} = engine.intake.messages[{number}]", f"r{number} = g{number} = 0")
    for number, layout in enumerate(plan.layouts):
        text.add(f"x{number} = engine.sender.transmits[{number}]")
        text.add(f"d{number} = k{number} = 0", f"t{number} = f{number} = None")
        text.add(f"stopped{number} = False", f"now_is{number} = was{number} = b''")
        for index in range(len(layout.message.packs)):
            text.add(f"p{number}_{index} = 0")
        for index in range(len(layout.chunks)):
            text.add(f"e{number}_{index} = 0")
    for number, function in enumerate(spec.functions):
        if isinstance(function, PURE):
            text.add(f"pure_{number} = support.pure[{number}]")
        else:
            text.add(f"move_{number} = support.movers[{number}].run")
            text.add(f"f_{number} = engine.control.functions[{number}]")


def _marks(text: Text, plan: Plan) -> None:
    """Add, per quantity, what notes a change found outside the receive functions; and `note`."""
    followers = plan.followers
    for index in range(len(plan.spec.quantities)):
        with text.block(f"def mark_{index}():"):
            text.nonlocals(mark_names(followers, index))
            text.add(*mark_lines(followers, index))
            for message in followers.stops[index]:
                text.add(f"eager.add({message})")
            text.add(f"woken.append({index})")
        with text.block(f"def quiet_{index}(low, high):"):
            text.nonlocals([f"lo{index}", f"hi{index}"])
            text.add(f"lo{index} = low", f"hi{index} = high")
    count = range(len(plan.spec.quantities))
    text.add(f"mark = [{', '.join(f'mark_{i}' for i in count)}]")
    text.add(f"quiet = [{', '.join(f'quiet_{i}' for i in count)}]")
    with text.block("def note():"):
        with text.block("for index in changed:"):
            text.add("mark[index]()")
        text.add("changed.clear()")
    with text.block("def sent_at(message):"):
        for index in plan.events:
            with text.block(f"if message == {index}:"):
                text.add(f"return t{index}")
        text.add("return None")
    with text.block("def stop(message):"):
        text.nonlocals([f"stopped{index}" for index in plan.stops])
        for index in plan.stops:
            with text.block(f"if message == {index}:"):
                text.bind(f"slot_spec_{index}", plan.spec.transmits[index])
                text.add(
                    f"stopped{index} = x{index}.stopped = source_lost(slot_spec_{index}, store)"
                )
    with text.block("def settle_source(unit):"):
        for index in plan.units:
            with text.block(f"if unit == {index} and z{index} is not None:"):
                text.add(f"support.settle_unit({index}, z{index})")


def _expiry(text: Text, plan: Plan) -> None:
    """Add what looks for units whose deadline has come; True when there is one."""
    with text.block("def expire():"):
        text.nonlocals(["at_expiry"])
        text.add("nearest = support.other_expiry")
        for index in plan.units:
            if plan.spec.units[index].deadline or plan.spec.units[index].first_deadline:
                text.add(f"expiry = a{index} + n{index}")
                with text.block("if expiry < nearest:"):
                    text.add("nearest = expiry")
        text.add("at_expiry = nearest", "return nearest <= now")


def _control(text: Text, plan: Plan, observed: bool) -> None:
    """Add the control tick: nobody, those who are busy, or all by the readable engine."""
    good = [f"g{number}" for number in plan.judged]
    with text.block("def control():"):
        text.nonlocals(["controls", "moved", *good])
        with text.block("if controls >= sleepers.horizon:"):
            text.add("sleepers.wake_expired(controls)")
        with text.block("if sleepers.control_awake:"):
            text.add("sleepers.settle(controls)")
            for number in plan.judged:
                text.add(f"m{number}.good = g{number} if g{number} < 65535 else 65535")
            text.add("controls += 1", "moved = 0", "support.whole_control(now)")
            text.add(*[f"{name} = 0" for name in good])
            text.add("note()", "sleepers.power_moved()", "sleepers.attend(controls)")
            text.add("sleepers.after_control(controls)", "return")
        text.add("controls += 1")
        text.add(*[f"{name} = 0" for name in good])
        with text.block("if not (sleepers.any_busy or moved):"):
            text.add("return")
        for number, function in enumerate(plan.spec.functions):
            if isinstance(function, PURE):
                with text.block(f"if moved & {1 << number}:"):
                    text.add(f"moved &= {~(1 << number)}", f"pure_{number}()")
                    _tell_readers(text, number)
                continue
            with text.block(f"if busy[{number}]:"):
                run = f"move_{number}()"
                if observed:
                    text.add(f"before = f_{number}.failsafe")
                    text.add(f"support.tell_failsafe({number}, before, {run})")
                else:
                    text.add(run)
                _tell_readers(text, number)
        with text.block("if sleepers.any_busy:"):
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
    with text.block("def drive_pins():"):
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


def _take(text: Text) -> None:
    """Add what takes one frame at once, for an observed engine; and the number of the next tick."""
    with text.block("def take(frame):"):
        text.add("common.now = now", "handler = handlers.get(frame[2])")
        with text.block("if handler is None:"):
            text.add("return stranger(frame)")
        text.add("return handler(frame)")
    with text.block("def number():"):
        text.add("return now")


def _tick(text: Text, observed: bool) -> None:
    """Add the tick; its order is that of the readable engine's."""
    more = ", *rest" if len(Outputs._fields) > 6 else ""
    with text.block("def tick(inputs):"):
        text.nonlocals(["now", "unknown_body", "unknown_engine", "idle", "held"])
        if observed:
            text.add("common.now = now")
        with text.block("if inputs is not held and inputs != held:"):
            text.add("return leave(inputs, None)")
        with text.block("if pending:"):
            text.add("arriving = iter(pending)")
            with text.block("for frame in arriving:"):
                text.add("handler = handlers.get(frame[2])")
                with text.block("if handler is None:"):
                    with text.block("if frame[0]:"):
                        text.add("unknown_engine += 1")
                    with text.block("else:"):
                        text.add("unknown_body += 1")
                with text.block("elif handler(frame):"):
                    text.add("return leave(inputs, [frame, *arriving])")
            text.add("pending.clear()")
        with text.block("if now >= at_expiry and expire():"):
            text.add("return leave(inputs, ())")
        with text.block("if touched:"):
            text.add("evaluate(now)", "note()")
        with text.block("if woken:"):
            text.add("sleepers.attend(controls)")
        text.add("due = due_next()")
        with text.block("if due is None:"):
            with text.block("if not eager and not looks:"):
                text.add("now += 1")
                with text.block("if pins_level or pins_duty or pins_frequency or idle is None:"):
                    text.add("drive_pins()")
                    text.add(
                        "idle = new(Outputs, (((), ()), commands, levels, duty, frequency, "
                        f"power_hold{more}))"
                    )
                with text.block("if sleepers.judge:"):
                    text.add("support.commit(now)")
                    text.add("held = support.held")
                text.add("return idle")
            text.add("body = engine_bus = ()")
        with text.block("else:"):
            text.add("control_due, body, engine_bus = due")
            with text.block("if control_due:"):
                text.add("control()")
        with text.block("if eager or looks:"):
            text.add("frames = send_events(now, body, engine_bus)")
        with text.block("elif support.some_stopped:"):
            text.add("frames = support.send_due(body, engine_bus)")
        with text.block("else:"):
            text.add("frames = (")
            for bus in ("body", "engine_bus"):
                text.add(
                    f"    (() if not {bus} else ({bus}[0](),) if len({bus}) == 1 else "
                    f"tuple([send() for send in {bus}])),"
                )
            text.add(")")
        text.add("now += 1")
        with text.block("if pins_level or pins_duty or pins_frequency:"):
            text.add("drive_pins()")
        with text.block("if sleepers.judge or common.conditions_open:"):
            text.add("support.commit(now)", "held = support.held")
            text.add("power_hold_is()")
        text.add(
            f"return new(Outputs, (frames, commands, levels, duty, frequency, power_hold{more}))"
        )
    with text.block("def power_hold_is():"):
        text.nonlocals(["power_hold", "idle"])
        text.add("power_hold = engine.control.power_hold", "idle = None")


def _absorb(text: Text, plan: Plan) -> None:
    """Add what takes the live state from the records, `last` being the outputs of the last tick."""
    spec = plan.spec
    names = ["now", "controls", "moved", "at_expiry", "unknown_body", "unknown_engine", "held"]
    names += ["idle", "commands", "levels", "duty", "frequency", "power_hold", "rest", "due_next"]
    names += ["pins_level", "pins_duty", "pins_frequency", "busy"]
    with text.block("def absorb(tick_number, inputs, last, agenda):"):
        text.nonlocals(names)
        text.add("now = tick_number", "controls = 0", "moved = -1")
        text.add("unknown_body = unknown_engine = 0", "held = inputs", "due_next = agenda")
        text.add("_, commands, levels, duty, frequency, power_hold, *rest = last", "idle = None")
        text.add("pins_level = pins_duty = pins_frequency = False")
        for index in plan.units:
            _absorb_unit(text, plan, index)
        for number in range(len(spec.messages)):
            text.nonlocals([f"r{number}", f"g{number}"])
            text.add(f"r{number} = m{number}.reference", f"g{number} = m{number}.good")
        for number, message in enumerate(spec.transmits):
            text.nonlocals([f"d{number}", f"k{number}", f"t{number}", f"f{number}"])
            text.add(
                f"d{number} = {(1 << len(message.packs)) - 1}",
                f"k{number} = x{number}.counter",
                f"t{number} = x{number}.sent_at",
                f"f{number} = None",
            )
            if not message.packs and message.on_change:
                text.nonlocals([f"now_is{number}"])
                text.add(f"now_is{number} = x{number}.payload")
            if message.on_change:
                text.nonlocals([f"was{number}"])
                text.add(f"was{number} = x{number}.last")
            if message.on_loss is OnLoss.STOP:
                text.nonlocals([f"stopped{number}"])
                text.add(f"stopped{number} = x{number}.stopped")
        for number, layout in enumerate(plan.layouts):
            if not layout.suited:
                continue
            packed = {layout.place(one.signal)[0] for one in layout.message.packs}
            for index, chunk in enumerate(layout.chunks):
                if index not in packed:
                    text.nonlocals([f"e{number}_{index}"])
                    text.add(f"e{number}_{index} = {layout.base(chunk, blank=True)}")
        text.add("sleepers.start(0)", "busy = sleepers.busy", "expire()")


def _absorb_unit(text: Text, plan: Plan, index: int) -> None:
    """Add what takes a unit: arrival as a tick number, deadline from there, chunks, ordinary?"""
    spec = plan.spec
    unit = spec.units[index]
    number = unit.message
    message = spec.messages[number]
    text.nonlocals([f"a{index}", f"n{index}", f"z{index}", f"h{index}"])
    text.add(f"clock = engine.intake.clocks[{unit.clock}]")
    with text.block("if clock.enabled:"):
        text.add(f"a{index} = u{index}.refreshed_at + clock.origin")
        deadline, first = unit.deadline or NEVER, unit.first_deadline or NEVER
        text.add(
            f"n{index} = {NEVER} if u{index}.status == {UNIT_STALE} else "
            f"{first} if u{index}.status == {UNIT_NEVER_RECEIVED} else {deadline}"
        )
    with text.block("else:"):
        text.add(f"a{index} = -1", f"n{index} = {NEVER}")
    text.add(f"z{index} = None", f"word = support.words[{index}].word")
    text.add(f"h{index} = u{index}.status == {UNIT_FRESH} and word >= 0")
    with text.block(f"if h{index}:"):
        text.add(f"data = word.to_bytes(8, 'little')[:{message.length}]")
        reading = receiving.Reading(spec, message)
        for order, call in enumerate(calls_for(reading.chunks, message.length)):
            unpack = text.bind(f"unpack_{number}_{order}", Struct(call.layout).unpack)
            names = [f"w{index}_{reading.chunks.index(chunk)}" for chunk in call.chunks]
            text.nonlocals(names)
            text.add(*unpack_lines(names, call, unpack))


def _settle(text: Text, plan: Plan) -> None:
    """Add what writes the live state back to the records."""
    spec = plan.spec
    with text.block("def settle():"):
        text.nonlocals(["unknown_body", "unknown_engine"])
        text.add("support.settle_head(now, controls, unknown_body, unknown_engine)")
        text.add("unknown_body = unknown_engine = 0")
        for index in plan.units:
            text.add(f"clock = engine.intake.clocks[{spec.units[index].clock}]")
            with text.block("if clock.enabled:"):
                text.add(f"u{index}.refreshed_at = a{index} - clock.origin")
            with text.block(f"elif a{index} >= 0:"):
                text.add(f"u{index}.refreshed_at = clock.reading")
            with text.block(f"if z{index} is not None:"):
                text.add(f"support.settle_unit({index}, z{index})")
        for number, received in enumerate(spec.messages):
            if received.counter is not None and plan.suited[number]:
                text.add(f"m{number}.reference = r{number}")
        for number in plan.judged:
            text.add(f"m{number}.good = g{number} if g{number} < 65535 else 65535")
        for number, message in enumerate(spec.transmits):
            layout = plan.layouts[number]
            if message.on_change:
                payload = f"x{number}.payload"
                text.add(f"pack_{number}()")
                text.add(f"x{number}.last = was{number}", f"{payload} = now_is{number}")
                text.add(f"x{number}.counter = k{number}", f"x{number}.sent_at = t{number}")
            elif layout.suited:
                text.add(f"x{number}.counter = k{number}", f"x{number}.sent_at = t{number}")
                with text.block(f"if f{number} is not None:"):
                    text.add(f"x{number}.last = support.unsealed({number}, f{number}[3])")
