"""What is left of a failing vector, as a scenario to keep."""

from collections.abc import Iterator

from hil.boards.interface import RESET_CAUSES
from hil.differences import Kind
from hil.reduction import Event, Reduced
from hil.vectors.bus_statements import CONDITIONS
from hil.vectors.names import Names
from xlate_core.bridge import ResetCause
from xlate_core.buses import BusCommand
from xlate_core.frames import BUS_NAMES, Frame, show_identifier

CONDITION_WORDS = {given: word for word, given in CONDITIONS.items()}
CAUSE_WORDS = {cause: word for word, cause in RESET_CAUSES.items()}


def scenario_text(identity: str, origin: str, board: str, reduced: Reduced, names: Names) -> str:
    """Return the scenario; its expectation is what the reference does, for a person to judge."""
    failure = reduced.failure
    tick_ms = names.tick_ms
    last = max([failure.tick, *(event.tick for event in reduced.events)])
    lines = [
        f"# Reduced from {origin}: {len(reduced.events)} of {reduced.of} events are left.",
        f"# Board {board} differed at tick {failure.tick} ({failure.kind}). The expectations say",
        "# what the reference does: derive them from the requirement before this is kept.",
        f"scenario {identity}",
        f"title    Board and reference part in {origin}",
        f"pairing  {names.pairing.name}",
        "purpose  A board and the reference must do the same",
        "hunts    state_divergence",
        f"lasts    {(last + 1) * tick_ms} ms",
        "",
        *(statement(event, names) for event in reduced.events),
        *expectations(reduced, names),
    ]
    return "\n".join(lines) + "\n"


def statement(event: Event, names: Names) -> str:
    """Return one event as a statement of the scenario language."""
    at = f"at {event.tick * names.tick_ms} ms"
    if event.reset is not None:
        cause, keep = event.reset
        return f"{at} reset {CAUSE_WORDS[ResetCause(cause)]}" + ("" if keep else " forgetting")
    if event.frame is not None:
        return f"{at} {frame_words(event.frame)}"
    if event.pin is None:
        raise AssertionError  # an event is one of the three
    field, place, value = event.pin
    if field == "levels":
        name = next(name for name, (index, _) in names.levels.items() if index == place)
        return f"{at} set input {name} {'high' if value else 'low'}"
    if field == "counts":
        name = next(name for name, index in names.analogues.items() if index == place)
        return f"{at} set input {name} {value} counts"
    if field == "supply_mv":
        return f"{at} set supply {value} mV"
    condition = CONDITION_WORDS.get(value) if field == "buses" else None  # type: ignore[call-overload]
    if condition is not None:
        return f"{at} bus {BUS_NAMES[place]} {condition}"
    return f"# {at}: {field} {place} becomes {value}: no statement for this, write it by hand"


def frame_words(frame: Frame) -> str:
    """Return a frame as scenarios write it."""
    identifier = show_identifier(frame.identifier, frame.extended)
    return f"frame {BUS_NAMES[frame.bus]} {identifier} {frame.data.hex() or '-'}"


def expectations(reduced: Reduced, names: Names) -> Iterator[str]:
    """Yield what the reference does where the board differs."""
    failure = reduced.failure
    at = f"{failure.tick * names.tick_ms} ms"
    if failure.kind is Kind.STATE:
        for path, reference, _ in failure.fields:
            yield f"expect state {path} {reference} at {at}"
        return
    for bus, (wanted, actual) in enumerate(
        zip(failure.wanted.frames, failure.actual.frames, strict=True)
    ):
        for frame in wanted:
            if frame not in actual or wanted != actual:
                yield f"expect {frame_words(frame)} at {at}"
        wanted_keys = {frame[:3] for frame in wanted}
        for frame in actual:
            if frame[:3] not in wanted_keys:
                identifier = show_identifier(frame.identifier, frame.extended)
                yield f"expect no frame {BUS_NAMES[bus]} {identifier} from {at} to {at}"
    for name, pin in names.outputs.items():
        kind = pin.kind.name.lower()
        field = {"level": "levels"}.get(kind, kind)
        wanted_value = getattr(failure.wanted, field)[pin.index]
        if wanted_value != getattr(failure.actual, field)[pin.index]:
            value = {True: "high", False: "low"}[wanted_value] if kind == "level" else wanted_value
            word = "" if kind == "level" else f"{kind} "
            yield f"expect output {name} {word}{value} at {at}"
    for bus, command in enumerate(failure.wanted.commands):
        if command != failure.actual.commands[bus]:
            word = BusCommand(command).name.lower()
            yield f"expect command to {BUS_NAMES[bus]} {word} at {at}"
    if failure.wanted.power_hold != failure.actual.power_hold:
        yield f"expect power hold {'on' if failure.wanted.power_hold else 'off'} at {at}"
