"""The `expect` statements: what a person derives from the requirement."""

from collections.abc import Callable

from hil.vectors.names import (
    Names,
    OutputPin,
    checked_range,
    read_raw_range,
    read_signal,
)
from hil.vectors.scenario import (
    EventExpectation,
    Expectation,
    FrameExpectation,
    OrderExpectation,
    ValueExpectation,
    Wanted,
)
from hil.vectors.stimulus_statements import read_level
from hil.vectors.words import NUMBER, Words
from xlate_core.arithmetic import INT64_MAX, INT64_MIN
from xlate_core.bridge import Bridge
from xlate_core.buses import BusCommand
from xlate_core.events import Reason
from xlate_core.frames import BUS_NAMES
from xlate_core.pins import MAX_DUTY, MAX_FREQUENCY_MHZ, PinKind
from xlate_core.quantities import Status

TIMINGS = "`at TIME`, `becomes VALUE within TIME after TIME` or `stays VALUE from TIME to TIME`"
FORMS = {
    "output": "`expect output NAME active|inactive|high|low|duty N|frequency N` with " + TIMINGS,
    "sent": (
        "`expect sent MESSAGE.Signal VALUE` with " + TIMINGS + "; or `expect sent MESSAGE` with "
        "`at TIME`, `bytes DATA at TIME`, `every TIME from TIME to TIME`, "
        "`never from TIME to TIME` or `N times from TIME to TIME`"
    ),
    "quantity": "`expect quantity NAME VALUE|status STATUS` with " + TIMINGS,
    "state": "`expect state PATH N [to M]` with " + TIMINGS,
    "command": "`expect command to BUS normal|listen|recover|sleep` with " + TIMINGS,
    "power": "`expect power hold on|off` with " + TIMINGS,
    "frame": "`expect frame BUS IDENTIFIER DATA at TIME`",
    "frames": "`expect frames BUS IDENTIFIER DATA DATA ... in order from TIME to TIME`",
    "no": (
        "`expect no frame BUS IDENTIFIER from TIME to TIME` or `expect no EVENT of SUBJECT by TIME`"
    ),
    "event": (
        "`expect EVENT of SUBJECT at TIME`, `expect N EVENT of SUBJECT by TIME` or "
        "`expect N EVENT of SUBJECT from TIME to TIME`"
    ),
}
EVENTS = {reason.name.lower(): reason for reason in Reason}
COMMANDS = {command.name.lower(): int(command) for command in BusCommand}
STATUSES = {status.name.lower(): status for status in Status}


AnyExpectation = ValueExpectation | FrameExpectation | OrderExpectation | EventExpectation


def read_expect(words: Words, names: Names, last_tick: int) -> Expectation:
    """Read one `expect` line."""
    words.keyword("expect")
    kind = words.peek()
    expectation: AnyExpectation
    words.forms = FORMS.get(kind, FORMS["event"])
    if kind == "output":
        expectation = read_output(words, names)
    elif kind == "sent":
        expectation = read_sent(words, names)
    elif kind == "quantity":
        expectation = read_quantity(words, names)
    elif kind == "state":
        expectation = read_state(words, names)
    elif kind == "power":
        words.keyword("power", "hold")
        expectation = read_value(words, names, ("hold",), lambda: read_on_off(words))
    elif kind == "command":
        words.keyword("command", "to")
        bus = words.choice("bus", BUS_NAMES)
        expectation = read_value(words, names, ("command", bus), lambda: read_command(words))
    elif kind == "frames":
        expectation = read_order(words, names)
    elif kind == "frame":
        words.keyword("frame")
        expectation = read_expected_frame(words, names, None)
    elif kind == "no" and words.peek(1) == "frame":
        words.keyword("no", "frame")
        expectation = read_expected_frame(words, names, 0)
    elif kind == "no" or NUMBER.match(kind) or kind in EVENTS:
        expectation = read_event(words, names)
    else:
        known = ("output", "sent", "quantity", "state", "command", "power", "frame", "frames", "no")
        words.forms = "; ".join(FORMS[name] for name in (*known, "event"))
        words.choice("kind of expectation", [*known, *EVENTS])
        raise AssertionError  # choice has raised
    words.end()
    window = (expectation.first, expectation.last)
    if expectation.first > expectation.last:
        raise words.error("the window ends before it begins")
    if window[1] > last_tick:
        raise words.error(
            f"{window[1] * names.tick_ms} ms is behind the end; "
            f"the scenario lasts {(last_tick + 1) * names.tick_ms} ms"
        )
    return expectation


def read_window(words: Words, tick_ms: int) -> tuple[int, int]:
    """Read `from TIME to TIME`, both included."""
    words.keyword("from")
    first = words.ticks("the start", tick_ms)
    words.keyword("to")
    return first, words.ticks("the end", tick_ms)


def read_value(
    words: Words, names: Names, source: tuple[str, ...], read: Callable[[], Wanted]
) -> ValueExpectation:
    """Read a value with one of the three timings."""
    text = " ".join(words.words)
    if words.maybe("becomes"):
        wanted = read()
        words.keyword("within")
        within = words.ticks("the duration", names.tick_ms)
        words.keyword("after")
        first = words.ticks("the start", names.tick_ms)
        return ValueExpectation(words.line, text, source, wanted, "becomes", first, first + within)
    if words.maybe("stays"):
        wanted = read()
        first, last = read_window(words, names.tick_ms)
        return ValueExpectation(words.line, text, source, wanted, "stays", first, last)
    wanted = read()
    words.keyword("at")
    tick = words.ticks("the time", names.tick_ms)
    return ValueExpectation(words.line, text, source, wanted, "at", tick, tick)


def read_on_off(words: Words) -> Wanted:
    """Read `on` or `off`."""
    word = words.choice("state of the power hold", ("on", "off"))
    return Wanted(int(word == "on"), int(word == "on"), text=word)


def read_output(words: Words, names: Names) -> ValueExpectation:
    """Read the state of an output pin."""
    words.keyword("output")
    pin = names.outputs[words.choice("output", names.outputs)]
    source = ("output", pin.name)
    return read_value(words, names, source, lambda: read_pin_state(words, pin))


def read_pin_state(words: Words, pin: OutputPin) -> Wanted:
    """Read what the pin carries, by its kind."""
    if pin.kind is PinKind.LEVEL:
        word = words.peek()
        high = int(read_level(words, pin.active_high))
        return Wanted(high, high, text=word)
    keyword = "duty" if pin.kind is PinKind.DUTY else "frequency"
    limit = MAX_DUTY if pin.kind is PinKind.DUTY else MAX_FREQUENCY_MHZ
    words.keyword(keyword)
    low = words.integer(f"the {keyword}", 0, limit)
    high = words.integer(f"the {keyword}", 0, limit) if words.maybe("to") else low
    checked_range(words, low, high)
    return Wanted(low, high, text=f"{keyword} {low}" + (f" to {high}" if high > low else ""))


def read_quantity(words: Words, names: Names) -> ValueExpectation:
    """Read value or status of a quantity."""
    words.keyword("quantity")
    name = words.choice("quantity", names.resolutions)

    def read() -> Wanted:
        if words.maybe("status"):
            status = words.choice("status", STATUSES)
            return Wanted(status=status, text=f"status {status}")
        return read_steps(words, names, name)

    return read_value(words, names, ("quantity", name), read)


def read_command(words: Words) -> Wanted:
    """Read the command to a bus driver."""
    word = words.choice("command", COMMANDS)
    return Wanted(COMMANDS[word], COMMANDS[word], text=word)


def read_order(words: Words, names: Names) -> OrderExpectation:
    """Read frames of one identifier that must leave in this order, and no others of it."""
    text = " ".join(words.words)
    words.keyword("frames")
    bus = BUS_NAMES.index(words.choice("bus", BUS_NAMES))
    extended, identifier = words.identifier()
    data = [words.data()]
    while not words.maybe("in", "order"):
        data.append(words.data())
    first, last = read_window(words, names.tick_ms)
    return OrderExpectation(words.line, text, (bus, extended, identifier), tuple(data), first, last)


def read_state(words: Words, names: Names) -> ValueExpectation:
    """Read a whole number or range of a state field, named by its path in the state dump."""
    words.keyword("state")
    fields = [path for path, _, _ in Bridge(names.pairing.spec).dump()]
    path = words.choice("field of the state", fields)

    def read() -> Wanted:
        low = words.integer("the value", INT64_MIN, INT64_MAX)
        high = low
        if words.maybe("to"):
            high = words.integer("the end of the range", INT64_MIN, INT64_MAX)
        low, high = checked_range(words, low, high)
        return Wanted(low, high, text=str(low) if low == high else f"{low} to {high}")

    return read_value(words, names, ("state", path), read)


def read_steps(words: Words, names: Names, name: str) -> Wanted:
    """Read a physical or raw value or range of a quantity, in steps of its resolution."""
    raw = words.maybe("raw")
    step = 1 if raw else names.resolutions[name]
    first = words.number("the value") / step
    if not words.maybe("to"):
        if first.denominator != 1:
            raise words.error(
                f"the resolution of {name} is {names.resolutions[name]}; no step has this value, "
                "give a range"
            )
        return Wanted(int(first), int(first), text=words.words[words.next - 1])
    last = words.number("the value") / step
    low, high = checked_range(words, -(-first.numerator // first.denominator), last // 1)
    return Wanted(low, high, text=" ".join(words.words[words.next - 3 : words.next]))


def read_sent(words: Words, names: Names) -> ValueExpectation | FrameExpectation:
    """Read a signal or the frames of a sent message."""
    words.keyword("sent")
    sent = {name: names.layouts[name] for name in names.sent}
    word = words.peek()
    if word not in sent and word.count(".") >= 2:
        message, signal = read_signal(words, sent, "the module sends")

        def read() -> Wanted:
            start = words.next
            low, high = read_raw_range(words, signal)
            return Wanted(low, high, text=" ".join(words.words[start : words.next]))

        return read_value(words, names, ("sent", message, signal.name), read)
    key = names.layouts[words.choice("message the module sends", sent)].key
    text = " ".join(words.words)
    data, count, period = None, None, 0
    if words.maybe("every"):
        period = words.ticks("the period", names.tick_ms)
        if period < 1:
            raise words.error("the period must be longer than 0")
    elif words.maybe("never"):
        count = 0
    elif words.maybe("bytes"):
        data = words.data()
    elif words.peek() != "at":
        count = words.integer("the number of frames", 0, 1 << 31)
        if not words.maybe("times"):
            words.keyword("time")
    if period or count is not None:
        first, last = read_window(words, names.tick_ms)
    else:
        words.keyword("at")
        first = last = words.ticks("the time", names.tick_ms)
    return FrameExpectation(words.line, text, key, data, count, period, first, last)


def read_expected_frame(words: Words, names: Names, count: int | None) -> FrameExpectation:
    """Read a frame by identifier: one with data at a time, or none in a window."""
    text = " ".join(words.words)
    bus = BUS_NAMES.index(words.choice("bus", BUS_NAMES))
    extended, identifier = words.identifier()
    key = (bus, extended, identifier)
    if count is None:
        data = words.data()
        words.keyword("at")
        tick = words.ticks("the time", names.tick_ms)
        return FrameExpectation(words.line, text, key, data, None, 0, tick, tick)
    first, last = read_window(words, names.tick_ms)
    return FrameExpectation(words.line, text, key, None, count, 0, first, last)


def read_event(words: Words, names: Names) -> EventExpectation:
    """Read an event at a tick or a number of events in a window."""
    text = " ".join(words.words)
    count: int | None = None
    if words.maybe("no"):
        count = 0
    elif NUMBER.match(words.peek()):
        count = words.integer("the number of events", 0, 1 << 31)
    reason = words.choice("event", EVENTS)
    words.keyword("of")
    subject = words.choice(f"subject of {reason}", [*names.subjects[reason], "any"])
    if count is None:
        words.keyword("at")
        first = last = words.ticks("the time", names.tick_ms)
    elif words.maybe("by"):
        first, last = 0, words.ticks("the time", names.tick_ms)
    else:
        first, last = read_window(words, names.tick_ms)
    subject = "" if subject == "any" else subject
    return EventExpectation(words.line, text, reason, subject, count, first, last)
