"""The statements that disturb the frames of a simulated sender."""

from hil.vectors.names import Names, read_message
from hil.vectors.scenario import Disturb, Scenario
from hil.vectors.words import Words
from xlate_core.frames import MAX_DATA_LENGTH

MAX_FRAMES = 1_000_000

DISTURBANCES = {
    "corrupt": "`at TIME corrupt checksum of MESSAGE [for N frames]`",
    "freeze": "`at TIME freeze counter of MESSAGE [for N frames]`",
    "jump": "`at TIME jump counter of MESSAGE by N`",
    "shorten": "`at TIME shorten MESSAGE to N octets [for N frames]`",
    "lengthen": "`at TIME lengthen MESSAGE to N octets [for N frames]`",
    "length": "`at TIME length code N of MESSAGE [for N frames]`",
    "drop": "`at TIME drop N frames of MESSAGE`",
}


def read_disturbance(words: Words, names: Names, tick: int, scenario: Scenario) -> None:
    """Read corrupt, freeze, jump, shorten, lengthen, length code and drop."""
    verb = words.word("a verb")
    words.forms = DISTURBANCES[verb]
    value, frames = 0, 0
    if verb == "drop":
        frames = words.integer("the number of frames", 1, MAX_FRAMES)
        if not words.maybe("frames"):
            words.keyword("frame")
        words.keyword("of")
    elif verb == "corrupt":
        words.keyword("checksum", "of")
    elif verb in {"freeze", "jump"}:
        words.keyword("counter", "of")
    elif verb == "length":
        words.keyword("code")
        value = words.integer("the raw length code", MAX_DATA_LENGTH + 1, 15)
        words.keyword("of")
    message = read_message(words, names)
    received = names.received[message]
    if verb == "corrupt" and received.checksum is None:
        raise words.error(f"{message} has no checksum")
    if verb in {"freeze", "jump"} and received.counter is None:
        raise words.error(f"{message} has no counter")
    if verb == "jump":
        words.keyword("by")
        value = words.integer("the step", 1, 255)
    elif verb in {"shorten", "lengthen"}:
        words.keyword("to")
        own = received.layout.length
        low, high = (0, own - 1) if verb == "shorten" else (own + 1, MAX_DATA_LENGTH)
        value = words.integer("the number of octets", low, high)
        words.keyword("octets")
    if frames == 0:
        frames = 1
        if verb != "jump" and words.maybe("for"):
            frames = words.integer("the number of frames", 1, MAX_FRAMES)
            if not words.maybe("frames"):
                words.keyword("frame")
    words.end()
    kinds = {"corrupt": "checksum", "length": "code"}
    scenario.actions.append(Disturb(tick, message, kinds.get(verb, verb), frames, value))
