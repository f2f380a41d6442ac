"""The live state as text: its names, how it is taken from the records, how it is written back."""

from xlate_core.compiled import native, receiving
from xlate_core.compiled.plan import Plan
from xlate_core.compiled.text import Text
from xlate_core.functions import PURE
from xlate_core.reception import NEVER_EXPIRES, UNIT_FRESH, UNIT_NEVER_RECEIVED, UNIT_STALE
from xlate_core.transmission import OnLoss

NEVER = NEVER_EXPIRES


def live_state(text: Text, plan: Plan) -> None:
    """Add the names of the live state and of the records they stand beside."""
    spec = plan.spec
    text.declare("i64", "now", "controls", "moved", "at_expiry", "unknown_body", "unknown_engine")
    text.declare("Any", "held", "idle", "commands", "levels", "duty", "frequency", value="None")
    text.declare("Any", "power_hold", "rest", "due_next", value="None")
    text.declare("bool", "pins_level", "pins_duty", "pins_frequency", value="False")
    text.add(
        "common = engine.common",
        "store = common.store",
        "touched, changed = store.touched, store.changed",
        "power = engine.control.power",
    )
    for name, kind in (
        ("pending", "list[Frame]"),
        ("eager", "set[int]"),
        ("looks", "dict[int, set[int]]"),
        ("sleepers", "Sleepers"),
        ("handlers", "dict[int, Any]"),
    ):
        text.declare(kind, name, value=f"support.{name}")
    for name in ("look", "look_again", "stranger", "bits_of", "evaluate", "send_events", "leave"):
        text.declare("Any", name, value=f"support.{name}")
    for name in ("unknown_selector", "reject", "may_read", "read_pins", "twice", "strange", "lose"):
        text.declare("Any", name, value=f"support.{name}")
    text.declare("list[int]", "woken", value="sleepers.woken")
    text.declare("list[bool]", "busy", value="sleepers.busy")
    for index in range(len(spec.quantities)):
        text.add(f"q{index} = store.states[{index}]")
        text.declare("i64", f"lo{index}", f"hi{index}", f"st{index}", f"og{index}")
    for index in plan.units:
        text.add(f"u{index} = engine.intake.units[{index}]")
        text.declare("i64", f"a{index}", f"n{index}")
        if text.native:
            text.declare("i64", f"z{index}")
            text.declare("bool", f"y{index}", value="False")
        else:
            text.declare("bytes | None", f"z{index}", value="None")
        text.declare("bool", f"h{index}", value="False")
        reading = receiving.Reading(spec, spec.messages[spec.units[index].message], text.native)
        text.declare("i64", *(f"w{index}_{number}" for number in range(len(reading.chunks))))
    for number in range(len(spec.messages)):
        text.add(f"m{number} = engine.intake.messages[{number}]")
        text.declare("i64", f"r{number}", f"g{number}")
    for number, layout in enumerate(plan.layouts):
        text.add(f"x{number} = engine.sender.transmits[{number}]")
        text.declare("i64", f"d{number}", f"k{number}")
        text.declare("i64", f"t{number}", value="-1")
        text.declare("Frame | None", f"f{number}", value="None")
        if text.native:
            text.declare("i64", f"l{number}")
            text.declare("bool", f"s{number}", value="False")
        text.declare("dict[int, Frame] | None", f"c{number}", value="None")
        text.declare("bool", f"stopped{number}", value="False")
        text.declare("bytes", f"now_is{number}", f"was{number}", value="b''")
        text.declare("i64", *(f"p{number}_{i}" for i in range(len(layout.message.packs))))
        text.declare("i64", *(f"e{number}_{i}" for i in range(len(layout.chunks))))
    for number, function in enumerate(spec.functions):
        if isinstance(function, PURE):
            text.declare("Any", f"pure_{number}", value=f"support.pure[{number}]")
        else:
            text.declare("Any", f"step_{number}", value=f"support.steps[{number}]")
            text.add(f"fs_{number} = engine.spec.functions[{number}]")
            text.add(f"f_{number} = engine.control.functions[{number}]")


def absorb_function(text: Text, plan: Plan) -> None:
    """Add what takes the live state from the records, `last` being the outputs of the last tick."""
    spec = plan.spec
    names = ["now", "controls", "moved", "at_expiry", "unknown_body", "unknown_engine", "held"]
    names += ["idle", "commands", "levels", "duty", "frequency", "power_hold", "rest", "due_next"]
    names += ["pins_level", "pins_duty", "pins_frequency", "busy"]
    head = "def absorb(tick_number: i64, inputs: Any, last: Any, agenda: Any) -> None:"
    with text.block(head):
        text.nonlocals(names)
        if text.native:
            text.nonlocals(["entries", "turn"])
            text.add("entries, turn = support.entries, support.turn")
        text.add("now = tick_number", "controls = 0", "moved = -1")
        text.add("unknown_body = unknown_engine = 0", "held = inputs", "due_next = agenda")
        text.add("_, commands, levels, duty, frequency, power_hold, *rest = last", "idle = None")
        text.add("pins_level = pins_duty = pins_frequency = False")
        for number in range(len(spec.messages)):
            text.add(f"absorb_{number}()")
        for number, message in enumerate(spec.transmits):
            text.nonlocals([f"d{number}", f"k{number}", f"t{number}", f"f{number}"])
            text.add(
                f"d{number} = {(1 << len(message.packs)) - 1}",
                f"k{number} = x{number}.counter",
                f"t{number} = -1 if x{number}.sent_at is None else x{number}.sent_at",
                f"f{number} = None",
            )
            if text.native:
                text.nonlocals([f"s{number}", f"c{number}"])
                text.add(f"s{number} = False", f"c{number} = None")
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


def message_functions(text: Text, plan: Plan) -> None:
    """Add, per received message, what takes its live state from the records, and writes it back.

    Both are of use alone where the readable engine takes one frame, or loses one unit, in between.
    """
    for number, suited in enumerate(plan.suited):
        units = plan.spec.messages[number].units if suited else ()
        with text.block(f"def absorb_{number}() -> None:"):
            text.nonlocals([f"r{number}", f"g{number}"])
            text.add(f"r{number} = m{number}.reference", f"g{number} = m{number}.good")
            if units and text.native:
                text.declare("i64", "word")
            for index in units:
                _absorb_unit(text, plan, index)
        with text.block(f"def settle_{number}() -> None:"):
            for index in units:
                _settle_age(text, plan, index)
                with text.block(f"if {came(text, index)}:"):
                    text.add(settle_unit_line(text, plan, index))
            if suited and plan.spec.messages[number].counter is not None:
                text.add(f"m{number}.reference = r{number}")
            if number in plan.judged:
                text.add(f"m{number}.good = g{number} if g{number} < 65535 else 65535")
    messages = range(len(plan.spec.messages))
    with text.block("def absorb_message(number: i64) -> None:"):
        text.by_number("number", messages, lambda n: text.add(f"absorb_{n}()"))
    with text.block("def settle_message(number: i64) -> None:"):
        text.by_number("number", messages, lambda n: text.add(f"settle_{n}()"))
    with text.block("def settle_ages() -> None:"):
        for index in plan.units:
            _settle_age(text, plan, index)
    with text.block("def look_at_deadlines() -> None:"):
        text.nonlocals(["at_expiry"])
        text.add("at_expiry = 0")


def _settle_age(text: Text, plan: Plan, index: int) -> None:
    """Add what writes when a unit was refreshed."""
    text.add(f"clock = engine.intake.clocks[{plan.spec.units[index].clock}]")
    with text.block("if clock.enabled:"):
        text.add(f"u{index}.refreshed_at = a{index} - clock.origin")
    with text.block(f"elif a{index} >= 0:"):
        text.add(f"u{index}.refreshed_at = clock.reading")


def _absorb_unit(text: Text, plan: Plan, index: int) -> None:
    """Add what takes a unit: arrival as a tick number, deadline from there, chunks, ordinary?"""
    spec = plan.spec
    unit = spec.units[index]
    number = unit.message
    message = spec.messages[number]
    text.nonlocals([f"a{index}", f"n{index}", f"{'y' if text.native else 'z'}{index}", f"h{index}"])
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
    text.add(f"y{index} = False" if text.native else f"z{index} = None")
    text.add(f"whole = support.words[{index}].word")
    text.add(f"h{index} = u{index}.status == {UNIT_FRESH} and whole >= 0")
    with text.block(f"if h{index}:"):
        if text.native:
            text.add("word = as_word(whole)")
        else:
            text.add(f"data = whole.to_bytes(8, 'little')[:{message.length}]")
        reading = receiving.Reading(spec, message, text.native)
        names = [f"w{index}_{chunk}" for chunk in range(len(reading.chunks))]
        text.nonlocals(names)
        reading.unpack(text, number, names)


def came(text: Text, index: int) -> str:
    """Return the text that says whether a unit came since the fast form took over."""
    return f"y{index}" if text.native else f"z{index} is not None"


def settle_unit_line(text: Text, plan: Plan, index: int) -> str:
    """Return the line that writes a unit's sources from the payload it came with last."""
    length = plan.spec.messages[plan.spec.units[index].message].length
    payload = native.octets_of(f"z{index}", length) if text.native else f"z{index}"
    return f"support.settle_unit({index}, {payload})"


def settle_function(text: Text, plan: Plan) -> None:
    """Add what writes the live state back to the records."""
    spec = plan.spec
    with text.block("def settle() -> None:"):
        text.nonlocals(["unknown_body", "unknown_engine"])
        text.add("support.settle_head(now, controls, unknown_body, unknown_engine)")
        text.add("unknown_body = unknown_engine = 0")
        for number in range(len(spec.messages)):
            text.add(f"settle_{number}()")
        for number, message in enumerate(spec.transmits):
            layout = plan.layouts[number]
            sent = f"t{number} if t{number} >= 0 else None"
            if message.on_change:
                payload = f"x{number}.payload"
                text.add(f"pack_{number}()")
                text.add(f"x{number}.last = was{number}", f"{payload} = now_is{number}")
                text.add(f"x{number}.counter = k{number}", f"x{number}.sent_at = {sent}")
            elif layout.suited:
                text.add(f"x{number}.counter = k{number}", f"x{number}.sent_at = {sent}")
                sent = f"s{number}" if text.native else f"f{number} is not None"
                with text.block(f"if {sent}:"):
                    payload = f"f{number}[3]"
                    if text.native:
                        payload = native.octets_of(f"l{number}", layout.length)
                    text.add(f"x{number}.last = support.unsealed({number}, {payload})")
