"""Spans as text: many ticks in one go, frames in columns; a native text alone has them.

A span does in each tick what `tick` does (`ticking.py`), without an object for a frame or for the
outputs: it takes codes and words, and adds codes and words. It stops before a tick, or within one
where `tick` would leave, that has to be run otherwise: `stopped_at` is then the place of the first
frame it has not taken.
"""

from xlate_core.compiled import native
from xlate_core.compiled.columns import UNKNOWN_BODY, UNKNOWN_ENGINE
from xlate_core.compiled.plan import Plan
from xlate_core.compiled.sending import has_word
from xlate_core.compiled.text import Text
from xlate_core.transmission import OnLoss


def span_functions(text: Text, plan: Plan) -> None:
    """Add `run`, which runs ticks up to one, and what it needs."""
    text.declare("i64", "stopped_at", "turn")
    text.declare("list[tuple[Any, ...] | None]", "entries", value="support.entries")
    text.declare("list[bool]", "ready", value="support.ready")
    _take(text, plan)
    _emit(text, plan)
    _arrive(text)
    _next_due(text)
    _run(text)
    with text.block("def stopped() -> i64:"):
        text.add("return stopped_at")
    text.add("support.take_run(run, stopped)")


def _take(text: Text, plan: Plan) -> None:
    """Add what hands a word to the `take` of its message; True leaves it."""
    numbers = [number for number, suited in enumerate(plan.suited) if suited]
    with text.block("def take(code: i64, word: i64) -> bool:"):
        text.by_number("code", numbers, lambda n: text.add(f"return take_{n}(word)"), "return True")


def _emit(text: Text, plan: Plan) -> None:
    """Add what sends a message into the columns."""

    def send(number: int) -> None:
        message = plan.spec.transmits[number]
        if has_word(message, plan.layouts[number]):
            if message.on_loss is OnLoss.STOP:
                with text.block(f"if stopped{number}:"):
                    text.add("return")
            text.add(f"words.append(word_{number}())", f"codes.append({number})")
            return
        text.add(f"frame = send_{number}()")
        with text.block("if frame is not None:"):
            text.add("data = frame[3]")
            text.add(f"words.append({native.word_of_octets(len(message.base))})")
            text.add(f"codes.append({number})")

    with text.block("def emit(number: i64, codes: list[int], words: list[int]) -> None:"):
        text.by_number("number", range(len(plan.spec.transmits)), send)


def _arrive(text: Text) -> None:
    """Add what takes a frame as `tick` does; True leaves it."""
    with text.block("def arrive(frame: Frame) -> bool:"):
        text.nonlocals(["unknown_body", "unknown_engine"])
        text.add("handler = handlers.get(frame[2])")
        with text.block("if handler is not None:"):
            text.add("return bool(handler(frame)) and strange(frame, now, controls)")
        count_unknown(text)
        text.add("return False")


def _next_due(text: Text) -> None:
    """Add what tells what is due in this tick; a calendar that repeats is a list."""
    with text.block("def next_due() -> tuple[Any, ...] | None:"):
        text.nonlocals(["turn"])
        with text.block("if not entries:"):
            text.add("return due_next()")
        text.add("due = entries[turn]", "turn += 1")
        with text.block("if turn == len(entries):"):
            text.add("turn = 0")
        text.add("return due")


def _run(text: Text) -> None:
    """Add the loop over ticks; its order is that of `tick`."""
    head = "def run(arrivals: Any, first: i64, end: i64, inputs: Any, sent: Any) -> i64:"
    with text.block(head):
        text.nonlocals(["now", "unknown_body", "unknown_engine", "idle", "held", "stopped_at"])
        for name in ("codes", "words", "bounds"):
            text.declare("list[int]", f"in_{name}", value=f"arrivals.{name}")
            text.declare("list[int]", f"out_{name}", value=f"sent.{name}")
        text.declare("i64", "number", value="first")
        text.declare("i64", "place", value="in_bounds[first]")
        text.declare("i64", "following", "code")
        text.add("idle = None")  # what is put out besides frames is told once in every span
        with text.block("while number < end and inputs is held:"):
            text.add("following = in_bounds[number + 1]")
            with text.block("while place < following:"):
                text.add("code = in_codes[place]")
                with text.block("if code >= 0 and ready[code]:"):
                    whole = "strange(arrivals.frame(int(place)), now, controls)"
                    with text.block(f"if take(code, in_words[place]) and {whole}:"):
                        text.add("stopped_at = place", "return number")
                with text.block(f"elif code == {UNKNOWN_BODY}:"):
                    text.add("unknown_body += 1")
                with text.block(f"elif code == {UNKNOWN_ENGINE}:"):
                    text.add("unknown_engine += 1")
                with text.block("elif arrive(arrivals.frame(int(place))):"):
                    text.add("stopped_at = place", "return number")
                text.add("place += 1")
            with text.block("if now >= at_expiry and expire() and lose(now):"):
                text.add("stopped_at = place", "return number")
            see_quantities(text)
            _send_due(text)
            text.add("now += 1")
            with text.block("if pins_level or pins_duty or pins_frequency:"):
                text.add("drive_pins()")
            with text.block("if sleepers.judge or (not silent and common.conditions_open):"):
                text.add("support.commit(now, controls)", "held = support.held")
                with text.block("if not silent:"):
                    text.add("power_hold_is()")
            with text.block("if idle is None:"):
                text.add("idle = no_frames()", "sent.see(number, idle)")
            text.add("out_bounds.append(len(out_codes))", "number += 1")
        text.add("stopped_at = place", "return number")


def _send_due(text: Text) -> None:
    """Add the control tick and the messages that are due; `silent` says that nothing was."""
    text.add("due = next_due()")
    text.declare("bool", "silent", value="due is None and not eager and not looks")
    with text.block("if due is not None:"):
        with text.block("if due[0]:"):
            text.add("control()")
        with text.block("if eager or looks:"):
            text.add("sent.take(send_events(now, due[1], due[2]))")
        with text.block("else:"):
            for bus, place in (("body", 3), ("engine", 4)):
                text.declare("tuple[int, ...]", f"to_{bus}", value=f"due[{place}]")
                with text.block(f"for one in to_{bus}:"):
                    text.add("emit(one, out_codes, out_words)")
    with text.block("elif not silent:"):
        text.add("sent.take(send_events(now, (), ()))")


# WHAT A TICK AND A SPAN SHARE


def count_unknown(text: Text) -> None:
    """Add what counts `frame`, which nobody knows."""
    with text.block("if frame[0]:"):
        text.add("unknown_engine += 1")
    with text.block("else:"):
        text.add("unknown_body += 1")


def see_quantities(text: Text) -> None:
    """Add what looks at the quantities that frames and pins have touched, and wakes readers."""
    with text.block("if touched:"):
        text.add("evaluate(now)", "note()")
    with text.block("if woken:"):
        text.add("sleepers.attend(controls)")
