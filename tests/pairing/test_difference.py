"""`compare`: what changed, and what it touches, directly or through quantities."""

from pathlib import Path

import pytest

from tests.pairing.small import write
from xlate_core.pairing.difference import Difference, compare
from xlate_core.pairing.loader import read


def difference(folder: Path, *changes: tuple[str, str, str]) -> Difference:
    return compare(read(write(folder / "a")), read(write(folder / "b", *changes)))


def test_notation_is_no_difference(tmp_path: Path) -> None:
    found = difference(
        tmp_path,
        ("bridge.toml", 'resolution = "1/4"', "resolution = 0.25 # the same"),
        ("bridge.toml", "modulo = 15 }", "modulo = 15, max_step = 1 }"),
    )
    assert found == Difference((), (), ())


@pytest.mark.parametrize(
    ("change", "shown", "messages", "functions"),
    [
        (
            ("bridge.toml", "hold_ms = 100", "hold_ms = 102"),
            "quantity.speed.hold_ms: 100 -> 102",
            # the speed decides the power mode and the condition, so all that follows them
            {"body.CLUSTER", "body.PAGES", "engine.MOTOR"},
            {"cooling"},
        ),
        (
            ("bridge.toml", "[2, 5]]", "[2, 6]]"),
            "function.words.table[2]: [2, 5] -> [2, 6]",
            {"body.CLUSTER"},
            {"words"},
        ),
        (
            ("bridge.toml", "[80, 48]", "[80, 47]"),
            "curve.needle_curve.points[1]: [80, 48] -> [80, 47]",
            {"body.CLUSTER"},
            {"gauge"},
        ),
        (
            (
                "body.dbc",
                '(0.5,0) [0|100] "%" CAR\n SG_ Word',
                '(0.4,0) [0|100] "%" CAR\n SG_ Word',
            ),
            "database.body.CLUSTER.Needle.factor: 0.5 -> 0.4",
            {"body.CLUSTER"},
            set(),
        ),
        (
            ("engine.dbc", "Coolant : 16|8@1+ (1,-40)", "Coolant : 16|8@1+ (1,-50)"),
            "database.engine.MOTOR.Coolant.offset: -40 -> -50",
            {"engine.MOTOR", "body.CLUSTER", "body.PAGES"},
            {"cooling", "gauge"},
        ),
        (
            ("bridge.toml", "{ fifo = 8 }", '"newest"'),
            "route.diagnosis.queue: 8 -> 0",
            {"engine.ANSWER", "body.ANSWER"},
            set(),
        ),
        (
            ("bridge.toml", "limit = 50", "limit = 51"),
            "fault.coolant_data.limit: 50 -> 51",
            {"body.PAGES"},
            {"cooling"},
        ),
        (
            ("bridge.toml", "after_run_ms = 5000", "after_run_ms = 6000"),
            "power.after_run_ms: 5000 -> 6000",
            {"body.CLUSTER", "body.PAGES", "engine.MOTOR"},
            {"cooling"},
        ),
        (
            ("bridge.toml", 'name = "words"', 'name = "other_words"'),
            "function.other_words.otherwise: absent -> 0",
            {"body.CLUSTER"},
            {"words", "other_words"},
        ),
    ],
)
def test_a_change_names_what_it_touches(
    change: tuple[str, str, str],
    shown: str,
    messages: set[str],
    functions: set[str],
    tmp_path: Path,
) -> None:
    found = difference(tmp_path, change)
    assert shown in [str(one) for one in found.changes]
    assert messages <= set(found.messages)
    assert functions <= set(found.functions)
    if not functions:
        assert found.functions == ()


def test_a_ticks_change_touches_everything(tmp_path: Path) -> None:
    found = difference(tmp_path, ("bridge.toml", "control_ms = 10", "control_ms = 2"))
    assert set(found.functions) == {"cooling", "gauge", "words"}
    assert "engine.SERVICE" in found.messages
