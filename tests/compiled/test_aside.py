"""First arrivals, losses and returns: the generated text stays at work, and nothing is missed."""

from collections.abc import Callable

import pytest

from hil.vectors import driving
from hil.vectors.names import names_of
from tests.core.test_bridge import PAIRINGS
from xlate_core.bridge import Bridge
from xlate_core.compiled import CompiledBridge, aside, program, ticking
from xlate_core.compiled.handlers import choose_handler
from xlate_core.compiled.rest import Sleepers
from xlate_core.compiled.support import Support
from xlate_core.compiled.text import Text
from xlate_core.frames import Frame
from xlate_core.interface import BridgeSpec
from xlate_core.pairing import load
from xlate_core.pairing.model import Pairing

TICKS = 6000
BEGUN = 1000  # start-up times are over, every message has come
SILENT_FOR = 700  # beyond every deadline, hold and return
WRONG_FOR = 100
QUIET = (*range(4000, 4700), *range(4900, 5600))  # both buses
SUITED = ("farm_pickup", "minimal", "orchard_hauler", "quarry_truck", "j1939_instruments")


def with_silences(pairing: Pairing, seed: int) -> list[list[Frame]]:
    """A drive in which every received message stays away in turn, then all of them twice."""
    keys = [message.key for message in pairing.spec.messages]
    pauses = {
        key: range(BEGUN + 83 * place % 2000, BEGUN + 83 * place % 2000 + SILENT_FOR)
        for place, key in enumerate(keys)
    }
    arriving = []
    for tick, frames in enumerate(driving.frames(pairing, seed, TICKS)):
        heard = [one for one in frames if tick not in pauses.get(one.key, ())]
        heard = [] if tick in QUIET else heard
        arriving.append([_spoilt(one, tick, pauses.get(one.key)) for one in heard])
    return arriving


def _spoilt(frame: Frame, tick: int, pause: range | None) -> Frame:
    """The first frames of a message that returns are wrong."""
    if pause is None or not pause.stop <= tick < pause.stop + WRONG_FOR:
        return frame
    return frame._replace(data=bytes((frame.data[0] ^ 1, *frame.data[1:])))


def beside(pairing: Pairing, seed: int) -> int:
    """Run both forms on such a drive; return the ticks after BEGUN that the text was at work."""
    plain, fast = Bridge(pairing.spec), CompiledBridge(pairing.spec, calm_before_first=2)
    inputs = driving.driving_inputs(names_of(pairing))
    at_work = 0
    for tick, frames in enumerate(with_silences(pairing, seed)):
        plain.receive_all(frames)
        fast.receive_all(frames)
        assert fast.tick(inputs) == plain.tick(inputs), f"tick {tick}"
        assert tick % 50 or fast.image() == plain.image(), f"tick {tick}"
        at_work += tick >= BEGUN and fast.is_fast()
    assert fast.image() == plain.image()
    return at_work


@pytest.mark.parametrize("name", SUITED)
def test_the_text_stays_at_work_while_messages_stay_away_and_return(name: str) -> None:
    pairing = load(PAIRINGS / name)
    assert beside(pairing, 1) > (TICKS - BEGUN) * 99 // 100


def without_taking_up(support: Support, number: int) -> None:
    """Choose who takes the message, its live state left as it was."""
    choose_handler(support, support.engine.spec.messages[number].key.identifier)


def a_tick_late(support: Support, now: int, lose: Callable[..., bool] = aside.lose) -> bool:
    """Lose units one tick after their deadline."""
    return lose(support, now - 1)


MISTAKES: dict[str, tuple[object, str, object]] = {
    "not_taken_up": (aside, "_take_up", without_taking_up),
    "a_tick_late": (aside, "lose", a_tick_late),
    "faults_sleep_on": (Sleepers, "wake_control", lambda *_: None),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_caught(mistake: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(*MISTAKES[mistake])
    with pytest.raises(AssertionError):
        beside(load(PAIRINGS / "minimal"), 1)


SPOILT: dict[str, tuple[str, str]] = {
    "counter_not_written_back": ("m0.reference = r0", "pass"),
    "payload_not_written_back": ("support.settle_unit(", "(lambda *_: None)("),
    "deadlines_not_looked_at": ("at_expiry = 0", "at_expiry = at_expiry"),
}


@pytest.mark.parametrize("mistake", SPOILT)
def test_a_mistake_of_the_text_is_caught(mistake: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def write(spec: BridgeSpec) -> Text:
        text = ticking.write(spec)
        text.lines = [line.replace(*SPOILT[mistake]) for line in text.lines]
        assert text.lines != ticking.write(spec).lines
        return text

    monkeypatch.setattr(program, "write", write)
    with pytest.raises(AssertionError):
        beside(load(PAIRINGS / "minimal"), 1)
