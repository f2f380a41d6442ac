"""A generator with a mistake in it is caught: the lockstep of the fast form is no idle test."""

import pytest

from tests.compiled.lockstep import calm_stimulus, run_beside
from tests.core.test_bridge import PAIRINGS
from xlate_core.compiled import program
from xlate_core.compiled.text import Text
from xlate_core.compiled.ticking import write
from xlate_core.interface import BridgeSpec
from xlate_core.pairing import load

MISTAKES: dict[str, tuple[str, str]] = {
    "deadline_one_tick_late": ("return nearest <= now", "return nearest < now"),
    "counter_not_followed": ("r9 = counter", "r9 = counter if counter else r9"),
    "arrival_not_noted": ("a13 = now", "a13 = a13"),
    "pack_left_open": ("e0_0 = v", "e0_0 = v & 65534"),
    "counter_skips_its_last": ("if k0 >= 16:", "if k0 >= 15:"),
    "nobody_woken": ("woken.append(", "id("),
    "unknown_counted_on_the_other_bus": ("unknown_engine += 1", "unknown_body += 1"),
    "rejection_not_counted": ("Any = support.reject", "Any = lambda *_: None  # "),
    "moved_pins_not_read": ("held = read_pins(inputs)", "held = inputs"),
    "unknown_selector_not_counted": ("if unknown:", "if False:"),
    "pins_not_driven": ("pins_frequency = True", "pins_frequency = False"),
}


def spoilt(mistake: str, spec: BridgeSpec) -> Text:
    """The text of the fast form with a mistake in it."""
    old, new = MISTAKES[mistake]
    text = write(spec)
    found = sum(old in line for line in text.lines)
    assert found, f"mistake `{mistake}` no longer fits the text: {old!r}"
    text.lines = [line.replace(old, new) for line in text.lines]
    return text


def lockstep(spec: BridgeSpec, seed: int) -> int:
    """Run both forms on traffic with silences and trouble; return the ticks of the fast form."""
    return run_beside(spec, calm_stimulus(spec, seed, 4000, trouble=0.0005), seed)[1]


def lockstep_all(spec: BridgeSpec) -> list[int]:
    """Run six drives."""
    return [lockstep(spec, seed) for seed in range(6)]


@pytest.mark.slow
@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_broken_generator_is_caught(mistake: str, monkeypatch: pytest.MonkeyPatch) -> None:
    spec = load(PAIRINGS / "farm_pickup").spec
    monkeypatch.setattr(program, "write", lambda one: spoilt(mistake, one))
    with pytest.raises(AssertionError, match=r"tick \d+: |expected"):
        lockstep_all(spec)


@pytest.mark.slow
def test_the_same_traffic_passes_unbroken() -> None:
    spec = load(PAIRINGS / "farm_pickup").spec
    assert max(lockstep_all(spec)) > 2000
