"""`xlate pairing ...` as a person calls it: what it says, where, and the exit code."""

import json
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner, Result

from hil.vectors.vector import Header, render, write_vector
from tests.pairing.small import line_of, write
from tools.cli import pairing as commands
from tools.cli.main import main
from tools.cli.pairing_facts import frame_bits
from xlate_core.pairing import load


def xlate(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["pairing", *map(str, arguments)])


def spoiled(folder: Path) -> Path:
    return write(
        folder,
        ("bridge.toml", "hold_ms = 100", "hold_mss = 100"),
        ("bridge.toml", "limit = 50", "limit = 50\nup = 1"),
        ("bridge.toml", "after_run_ms = 5000", "after_run_ms = 5001"),
    )


def test_check_approves_in_one_line(tmp_path: Path) -> None:
    folder = write(tmp_path)
    result = xlate("check", folder)
    assert result.exit_code == 0
    (line,) = result.stdout.splitlines()
    assert line.startswith(f"{folder.as_posix()}: good, 2 received, 2 sent, 1 routed, ")
    assert line.endswith(load(folder).digest[:16])


def test_check_says_every_problem_of_every_folder(tmp_path: Path) -> None:
    bad, good = spoiled(tmp_path / "bad"), write(tmp_path / "good")
    result = xlate("check", bad, good, tmp_path / "none")
    assert result.exit_code == 2
    assert len(result.stdout.splitlines()) == 1
    lines = result.stderr.splitlines()
    line = line_of(bad, "bridge.toml", "hold_mss")
    assert lines[0].startswith(f"{bad.as_posix()}/bridge.toml:{line}: quantity.speed.hold_mss: ")
    assert lines[0].endswith("; nearest valid name: hold_ms")
    assert lines[2] == f"{bad.as_posix()}: 2 problems"
    assert len(lines) == 5


def test_check_prints_the_notes(tmp_path: Path) -> None:
    spoiled = ("bridge.toml", "deadline_ms = 50\n", "deadline_ms = 20\n")
    result = xlate("check", write(tmp_path, spoiled))
    assert result.exit_code == 0
    assert "  note: receive.engine.MOTOR: deadline 20 ms is not longer" in result.stdout


@pytest.mark.parametrize("command", ["show", "compare"])
def test_a_bad_pairing_is_told_on_stderr_without_traceback(command: str, tmp_path: Path) -> None:
    folders = [spoiled(tmp_path)] * (2 if command == "compare" else 1)
    result = xlate(command, *folders)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Traceback" not in result.stderr
    assert "nearest valid name: hold_ms" in result.stderr


def shown(folder: Path) -> dict[str, Any]:
    result = xlate("show", folder, "--json")
    assert result.exit_code == 0
    told = json.loads(result.stdout)
    assert isinstance(told, dict)
    return told


def test_show_tells_rates_and_load(tmp_path: Path) -> None:
    told = shown(write(tmp_path))
    body, engine = told["buses"]["body"], told["buses"]["engine"]
    rows = {row["name"]: row for row in body["messages"]}
    assert (rows["CLUSTER"]["role"], rows["CLUSTER"]["period_ms"]) == ("sent", 20)
    assert rows["WISH"]["role"] == "not used"
    assert (rows["ANSWER"]["role"], rows["ANSWER"]["identifier"]) == ("routed in", "0x708")
    # 135 bits every 20 ms and 135 every 100 ms, of 500 bits a ms
    assert body["load_percent"] == pytest.approx(1.6, abs=0.05)
    assert body["without_period"] == 2
    received = {row["name"]: row for row in engine["messages"]}
    assert received["MOTOR"]["detail"] == "lost after 50 ms"
    assert received["SERVICE"]["detail"] == (
        "lost after 500 ms; tail: lost after 100 ms; path.3..7: lost after 400 ms"
    )
    assert received["ANSWER"]["role"] == "routed on"


def test_frame_bits_are_the_bound_with_worst_stuffing() -> None:
    assert [frame_bits(8, extended) for extended in (False, True)] == [135, 160]
    assert frame_bits(0, extended=False) == 55


def test_show_tells_ways_pins_functions_and_conditions(tmp_path: Path) -> None:
    told = shown(write(tmp_path))
    quantities = {one["name"]: one for one in told["quantities"]}
    assert quantities["speed"]["from"] == ["engine.MOTOR.Speed"]
    assert "body.CLUSTER.Speed" in quantities["speed"]["to"]
    assert quantities["speed"]["range"] == ["0", "10000"]
    assert quantities["coolant"]["substitute"] == "not available"
    assert quantities["fan"] == quantities["fan"] | {
        "from": ["function cooling"],
        "substitute": None,
    }
    assert [pin["name"] for pin in told["inputs"]] == ["key", "sender"]
    assert [one["kind"] for one in told["functions"]] == ["cooling_fan", "gauge", "mapping"]
    terms = told["conditions"][0]["terms"]
    assert terms == ["mode ignition_on/running", "speed < 36000 steps"]


def test_show_for_people_has_no_colour_in_a_pipe(tmp_path: Path) -> None:
    folder = write(tmp_path)
    result = xlate("show", folder)
    assert result.exit_code == 0
    assert "\x1b" not in result.stdout
    for word in ("small", load(folder).digest, "CLUSTER", "cooling_fan", "needle", "fan_relay"):
        assert word in result.stdout


def test_compare_exits_1_on_a_difference(tmp_path: Path) -> None:
    before = write(tmp_path / "a")
    after = write(tmp_path / "b", ("bridge.toml", "off = 94", "off = 93"))
    same = xlate("compare", before, before)
    assert (same.exit_code, same.stdout[:13]) == (0, "no difference")
    result = xlate("compare", before, after, "--json", "--vectors", tmp_path)
    assert result.exit_code == 1
    told = json.loads(result.stdout)
    assert told["changes"] == [
        {"path": "function.cooling.stages[0].off", "before": "94", "after": "93"}
    ]
    assert (told["functions"], told["messages"], told["vectors"]) == (["cooling"], [], [])
    text = xlate("compare", before, after).stdout
    assert "function.cooling.stages[0].off: 94 -> 93" in text
    assert "functions touched: cooling" in text


def test_new_writes_a_starting_point_that_passes_the_check(tmp_path: Path) -> None:
    made = xlate("new", "next_car", "--into", tmp_path)
    assert made.exit_code == 0
    assert sorted(file.name for file in tmp_path.iterdir()) == ["next_car"]
    assert xlate("check", tmp_path / "next_car").exit_code == 0
    assert load(tmp_path / "next_car").name == "next_car"
    assert load(tmp_path / "next_car").notes == ()
    before = (tmp_path / "next_car" / "bridge.toml").read_bytes()
    again = xlate("new", "next_car", "--into", tmp_path)
    assert (again.exit_code, again.stdout) == (2, "")
    assert "exists already" in again.stderr
    assert (tmp_path / "next_car" / "bridge.toml").read_bytes() == before


@pytest.mark.parametrize("name", ["Next", "a-b", "../x", "", "9x"])
def test_new_refuses_a_bad_name(name: str, tmp_path: Path) -> None:
    result = xlate("new", name, "--into", tmp_path)
    assert result.exit_code == 2
    assert "expected lower-case letters" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_the_kept_schema_is_the_model_s() -> None:
    result = xlate("schema", "--check")
    assert result.exit_code == 0, result.output


def test_a_stale_schema_is_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(commands, "ROOT", tmp_path)
    monkeypatch.setattr(commands, "SCHEMA", tmp_path / "schemas" / "bridge.schema.json")
    monkeypatch.setattr(commands, "OPTION_SCHEMA", tmp_path / "schemas" / "option.schema.json")
    assert xlate("schema", "--check").exit_code == 1
    assert xlate("schema").exit_code == 0
    assert xlate("schema", "--check").exit_code == 0
    with commands.SCHEMA.open("a", encoding="utf-8") as file:
        file.write("\n")
    assert xlate("schema", "--check").exit_code == 1


def test_the_schema_takes_and_refuses_what_the_check_does(tmp_path: Path) -> None:
    schema = json.loads(commands.SCHEMA.read_text(encoding="utf-8"))
    validator = jsonschema.Draft202012Validator(schema)
    good = (write(tmp_path / "good") / "bridge.toml").read_text(encoding="utf-8")
    assert list(validator.iter_errors(tomllib.loads(good))) == []
    bad = (spoiled(tmp_path / "bad") / "bridge.toml").read_text(encoding="utf-8")
    (error,) = validator.iter_errors(tomllib.loads(bad))
    assert "hold_mss" in error.message


def test_every_key_of_the_schema_is_described() -> None:
    schema = json.loads(commands.SCHEMA.read_text(encoding="utf-8"))
    tables = [schema, *schema["$defs"].values()]
    missing = [
        f"{table.get('title')}.{name}"
        for table in tables
        for name, key in table.get("properties", {}).items()
        if not key.get("description")
    ]
    assert missing == []
    assert all(table.get("additionalProperties") is False for table in tables)


def test_an_unknown_command_is_answered_with_the_nearest() -> None:
    result = CliRunner().invoke(main, ["paring"])
    assert result.exit_code == 2
    assert 'did you mean "pairing"?' in result.stderr


def test_compare_lists_the_vectors_of_the_pairing(tmp_path: Path) -> None:
    before = write(tmp_path / "a")
    after = write(tmp_path / "b", ("bridge.toml", "off = 94", "off = 93"))
    for pairing in ("small", "other"):
        origin = ("s.scenario", "0" * 64)
        header = Header(f"of_{pairing}", "Title", pairing, "0" * 64, 1, 2, 10, 5, (), *origin, None)
        write_vector(tmp_path / "vectors", f"of_{pairing}", render(header, ["0|||"]))
    result = xlate("compare", before, after, "--json", "--vectors", tmp_path / "vectors")
    assert json.loads(result.stdout)["vectors"] == ["of_small.vector"]
