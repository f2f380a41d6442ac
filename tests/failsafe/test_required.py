"""A required.toml with mistakes: every one is told, with its line and the nearest valid name."""

from pathlib import Path

from click.testing import CliRunner

from tests.failsafe.tables import MINIMAL, REQUIRED
from tools.cli.main import main

TEXT = REQUIRED.read_text(encoding="utf-8")


def told(folder: Path, *changes: tuple[str, str]) -> tuple[int, list[str], str]:
    """Return exit code, lines of problems and text of a spoiled file."""
    text = TEXT
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "required.toml"
    path.write_text(text, encoding="utf-8", newline="\n")
    out = folder / "out"
    arguments = ["failsafe", "build", MINIMAL, "--required", path, "--out", out]
    result = CliRunner().invoke(main, list(map(str, arguments)))
    assert not out.exists()
    return result.exit_code, result.stderr.splitlines(), text


def line_of(text: str, part: str) -> int:
    return text[: text.index(part)].count("\n") + 1


def test_every_problem_comes_in_one_run_with_line_and_nearest_name(tmp_path: Path) -> None:
    code, lines, text = told(
        tmp_path,
        ('"engine.STATE.Coolant" = 85', '"engine.STATE.Coolent" = 85'),
        ('outputs = ["output.fan_relay", "body.GAUGE.FanOn"]', 'outputs = ["output.fan_relais"]'),
        ('only = { power = ["running"] }', 'only = { power = ["runing"] }'),
        ('state = "not available"', 'state = "none"'),
    )
    assert code == 2
    parts = ("engine.STATE.Coolent", "fan_relais", '"runing"', '"none"')
    for part in parts:
        (line,) = (one for one in lines if part.strip('"') in one)
        assert f"required.toml:{line_of(text, part)}: " in line
        assert "expected" in line
    assert any("nearest valid name: output.fan_relay" in line for line in lines)
    assert any("nearest valid name: running" in line for line in lines)


def test_unknown_class_of_faults(tmp_path: Path) -> None:
    code, lines, _ = told(tmp_path, ('faults = ["stuck"]', 'faults = ["stack"]'))
    assert code == 2
    assert "nearest valid name: stuck" in lines[0]


def test_unknown_key_and_missing_key(tmp_path: Path) -> None:
    code, lines, _ = told(tmp_path, ("within_ms = 30", "withn_ms = 30"))
    assert code == 2
    assert any("withn_ms" in line and "nearest valid name: within_ms" in line for line in lines)


def test_one_requirement_twice(tmp_path: Path) -> None:
    code, lines, _ = told(tmp_path, ('id = "LOAD-ZERO"', 'id = "TURNS-ZERO"'))
    assert code == 2
    assert "a name of its own" in lines[0]


def test_group_of_a_fault_that_is_none(tmp_path: Path) -> None:
    group = '[group.plug]\nwords = "one plug"\nfaults = ["lost of engine.STATE", "lost of body"]\n'
    code, lines, _ = told(tmp_path, ("[[not_applicable]]", f"{group}[[not_applicable]]"))
    assert code == 2
    assert "group.plug.faults" in lines[0]


def test_no_file_says_where_the_manual_is(tmp_path: Path) -> None:
    arguments = ["failsafe", "build", str(MINIMAL), "--required", str(tmp_path / "none.toml")]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 2
    assert "tools/failsafe/REQUIRED.md" in result.stderr
