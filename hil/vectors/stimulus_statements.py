"""The statements that act on the module: senders, values, raw frames, resets."""

from collections.abc import Callable
from fractions import Fraction

from hil.boards.interface import RESET_CAUSES
from hil.vectors.bus_statements import read_bus
from hil.vectors.disturbance_statements import (
    DISTURBANCES,
    read_disturbance,
)
from hil.vectors.names import (
    Names,
    fitting_raw,
    read_message,
    read_physical,
    read_raw,
    read_signal,
    to_raw,
)
from hil.vectors.scenario import (
    FOREVER,
    SUPPLY,
    Action,
    Disturb,
    RampSignal,
    ResetModule,
    ResumeSending,
    Scenario,
    SendFrame,
    Sending,
    SendOnce,
    SetCounts,
    SetLevel,
    SetSignal,
    StopSending,
)
from hil.vectors.words import Words
from xlate_core.frames import BUS_NAMES, MAX_DATA_LENGTH, Frame

MAX_COUNTS = 65535
MAX_SUPPLY_MV = 65535
LEVEL_WORDS = ("active", "inactive", "high", "low")

FORMS_SEND = (
    "`send all` or `send MESSAGE [every TIME] [from TIME] [until TIME] [selecting RAW ...]`"
)
FORMS_SET = (
    "`set MESSAGE.Signal VALUE`, `set input NAME active|inactive|high|low`, "
    "`set input NAME N counts`, `set supply N mV` or `set counter of MESSAGE to N`"
)
FORMS_RAMP = (
    "`from TIME ramp MESSAGE.Signal A to B over TIME`, "
    "`from TIME ramp input NAME A to B counts over TIME` or "
    "`from TIME ramp supply A to B mV over TIME`"
)
FORMS_FRAME = (
    "`at TIME frame BUS IDENTIFIER DATA [length code N]` or "
    "`from TIME frame BUS IDENTIFIER DATA every TIME [until TIME]`"
)
FORMS_SECOND = (
    "`at TIME second sender of MESSAGE` or "
    "`from TIME second sender of MESSAGE every TIME [until TIME]`"
)


def read_send(words: Words, names: Names, sendings: dict[str, Sending]) -> None:
    """Read a `send` line into the table of senders."""
    words.forms = FORMS_SEND
    words.keyword("send")
    if words.maybe("all"):
        words.end()
        for index, (name, received) in enumerate(names.received.items()):
            cycle = received.layout.cycle_ms
            if cycle:
                period = max(1, cycle // names.tick_ms)
                sendings[name] = Sending(name, period, index % period)
        return
    message = read_message(words, names)
    cycle = names.received[message].layout.cycle_ms
    period = max(1, cycle // names.tick_ms) if cycle else 0
    first, until = 0, FOREVER
    selecting: list[int] = []
    while not words.at_end:
        option = words.choice("option of `send`", ("every", "from", "until", "selecting"))
        if option == "every":
            period = read_period(words, names.tick_ms)
        elif option == "from":
            first = words.ticks("the first frame", names.tick_ms)
        elif option == "until":
            until = words.ticks("the end", names.tick_ms)
        else:
            selecting = read_selectors(words, names, message)
    if period == 0:
        raise words.error(f"{message} has no cycle time in its DBC; say `every TIME`")
    sendings[message] = Sending(message, period, first, until, tuple(selecting))


def read_period(words: Words, tick_ms: int) -> int:
    """Read a period of at least one tick."""
    period = words.ticks("the period", tick_ms)
    if period < 1:
        raise words.error("the period must be longer than 0")
    return period


def read_selectors(words: Words, names: Names, message: str) -> list[int]:
    """Read the raw selector values up to the end of the line or the next option."""
    layout = names.received[message].layout
    selector = next((s for s in layout.signals if s.is_selector and s.selector is None), None)
    if selector is None:
        raise words.error(f"{message} is not multiplexed; `selecting` does not fit")
    values = []
    while not words.at_end and words.peek() not in ("every", "from", "until"):
        raw = words.integer("the selector", 0, (1 << 64) - 1)
        values.append(fitting_raw(words, selector, raw))
    if not values:
        raise words.error("`selecting` names no selector value")
    return values


def read_send_once(words: Words, names: Names, tick: int, scenario: Scenario) -> None:
    """Read `at TIME send MESSAGE once`."""
    words.forms = "`at TIME send MESSAGE once`; periodic sending is `send MESSAGE from TIME`"
    words.keyword("send")
    message = read_message(words, names)
    words.keyword("once")
    words.end()
    scenario.actions.append(SendOnce(tick, message))


def read_set(words: Words, names: Names, tick: int, scenario: Scenario) -> None:
    """Read the `set` forms."""
    words.forms = FORMS_SET
    words.keyword("set")
    if words.maybe("input"):
        scenario.actions.append(read_set_input(words, names, tick))
    elif words.maybe("supply"):
        value = Fraction(words.integer("the supply", 0, MAX_SUPPLY_MV))
        words.keyword("mV")
        scenario.actions.append(SetCounts(tick, SUPPLY, value, value, 0))
    elif words.maybe("counter", "of"):
        message = read_message(words, names)
        counter = names.received[message].counter
        if counter is None:
            raise words.error(f"{message} has no counter")
        words.keyword("to")
        value_to = words.integer("the counter", 0, counter.signal.maximum)
        scenario.actions.append(Disturb(tick, message, "counter", 1, value_to))
    else:
        layouts = {name: received.layout for name, received in names.received.items()}
        message, signal = read_signal(words, layouts, "the module receives")
        raw = read_raw(words, signal)
        scenario.actions.append(SetSignal(tick, message, signal.name, raw))
    words.end()


def read_set_input(words: Words, names: Names, tick: int) -> Action:
    """Read `NAME LEVEL` or `NAME N counts`."""
    name = words.choice("input", [*names.levels, *names.analogues])
    if name in names.levels:
        index, active_high = names.levels[name]
        return SetLevel(tick, index, read_level(words, active_high))
    value = Fraction(words.integer("the counts", 0, MAX_COUNTS))
    words.keyword("counts")
    return SetCounts(tick, names.analogues[name], value, value, 0)


def read_level(words: Words, active_high: bool) -> bool:
    """Read the state of a level pin; return the electrical level."""
    word = words.choice("level", LEVEL_WORDS)
    if word in {"high", "low"}:
        return word == "high"
    return (word == "active") == active_high


def read_pulse(words: Words, names: Names, tick: int, scenario: Scenario) -> None:
    """Read `at TIME pulse input NAME LEVEL for TIME`."""
    words.forms = "`at TIME pulse input NAME active|inactive|high|low for TIME`"
    words.keyword("pulse", "input")
    name = words.choice("level input", names.levels)
    index, active_high = names.levels[name]
    high = read_level(words, active_high)
    words.keyword("for")
    duration = words.ticks("the duration", names.tick_ms)
    words.end()
    if duration < 1:
        raise words.error("the pulse must be longer than 0")
    scenario.actions.append(SetLevel(tick, index, high))
    scenario.actions.append(SetLevel(tick + duration, index, not high))


def read_ramp(words: Words, names: Names, tick: int, scenario: Scenario) -> None:
    """Read the `ramp` forms."""
    words.forms = FORMS_RAMP
    words.keyword("ramp")
    unit, index, limit = "", SUPPLY, MAX_SUPPLY_MV
    if words.maybe("input"):
        name = words.choice("analogue input", names.analogues)
        unit, index, limit = "counts", names.analogues[name], MAX_COUNTS
    elif words.maybe("supply"):
        unit = "mV"
    if unit:
        start = Fraction(words.integer("the start", 0, limit))
        words.keyword("to")
        stop = Fraction(words.integer("the end", 0, limit))
        words.keyword(unit, "over")
        duration = read_period(words, names.tick_ms)
        scenario.actions.append(SetCounts(tick, index, start, stop, duration))
    else:
        layouts = {name: received.layout for name, received in names.received.items()}
        message, signal = read_signal(words, layouts, "the module receives")
        start = read_physical(words, signal)
        words.keyword("to")
        stop = read_physical(words, signal)
        for value in (start, stop):
            fitting_raw(words, signal, to_raw(signal, value))
        words.keyword("over")
        duration = read_period(words, names.tick_ms)
        scenario.actions.append(RampSignal(tick, message, signal.name, start, stop, duration))
    words.end()


def read_senders(words: Words, names: Names) -> tuple[str, ...]:
    """Read `all`, a bus or a message: whose senders."""
    word = words.choice("message, bus or `all`", [*names.received, *BUS_NAMES, "all"])
    words.end()
    if word in names.received:
        return (word,)
    return tuple(n for n in names.received if word == "all" or n.startswith(f"{word}."))


def read_stop(words: Words, names: Names, tick: int, scenario: Scenario) -> None:
    """Read `at TIME stop WHAT`."""
    words.forms = "`at TIME stop MESSAGE|BUS|all`"
    words.keyword("stop")
    scenario.actions.append(StopSending(tick, read_senders(words, names)))


def read_resume(words: Words, names: Names, tick: int, scenario: Scenario) -> None:
    """Read `at TIME resume WHAT`."""
    words.forms = "`at TIME resume MESSAGE|BUS|all`"
    words.keyword("resume")
    scenario.actions.append(ResumeSending(tick, read_senders(words, names)))


def read_frame(words: Words, names: Names, tick: int, scenario: Scenario) -> None:
    """Read raw frames, once or periodic."""
    words.forms = FORMS_FRAME
    words.keyword("frame")
    bus = BUS_NAMES.index(words.choice("bus", BUS_NAMES))
    extended, identifier = words.identifier()
    data = words.data()
    code = len(data)
    if words.maybe("length", "code"):
        code = words.integer("the raw length code", 0, 15)
        if min(code, MAX_DATA_LENGTH) != len(data):
            raise words.error(f"length code {code} does not stand for {len(data)} octets")
    frame = Frame(bus, extended, identifier, data)
    add_frames(words, names, scenario, SendFrame(tick, frame, code, 0, FOREVER))


def read_second_sender(words: Words, names: Names, tick: int, scenario: Scenario) -> None:
    """Read frames with an identifier that the module itself sends."""
    words.forms = FORMS_SECOND
    words.keyword("second", "sender", "of")
    layout = names.layouts[words.choice("message the module sends", names.sent)]
    frame = Frame(layout.bus, layout.extended, layout.identifier, bytes(layout.length))
    add_frames(words, names, scenario, SendFrame(tick, frame, layout.length, 0, FOREVER))


def add_frames(words: Words, names: Names, scenario: Scenario, action: SendFrame) -> None:
    """Read `every TIME [until TIME]` behind a raw frame and add the action."""
    period, until = 0, FOREVER
    if words.maybe("every"):
        period = read_period(words, names.tick_ms)
        if words.maybe("until"):
            until = words.ticks("the end", names.tick_ms)
    words.end()
    scenario.actions.append(SendFrame(action.tick, action.frame, action.length_code, period, until))


def read_reset(words: Words, names: Names, tick: int, scenario: Scenario) -> None:
    """Read `at TIME reset CAUSE [forgetting]`."""
    words.forms = "`at TIME reset power_on|external|brown_out|watchdog|commanded [forgetting]`"
    words.keyword("reset")
    cause = RESET_CAUSES[words.choice("cause of a reset", RESET_CAUSES)]
    keep = not words.maybe("forgetting")
    words.end()
    scenario.actions.append(ResetModule(tick, cause, keep))


STATEMENTS: dict[str, Callable[[Words, Names, int, Scenario], None]] = {
    "set": read_set,
    "ramp": read_ramp,
    "pulse": read_pulse,
    "stop": read_stop,
    "resume": read_resume,
    "send": read_send_once,
    "frame": read_frame,
    "second": read_second_sender,
    "reset": read_reset,
    "bus": read_bus,
    **dict.fromkeys(DISTURBANCES, read_disturbance),
}
