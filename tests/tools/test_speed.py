"""`xlate speed` measures and prints every row; how fast is no test."""

import json
import tomllib
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from tools.cli.main import main
from tools.speed import codec
from tools.speed.commands import measure_drive, measure_edit
from tools.speed.pictures import groups_of, picture
from tools.speed.rows import Floor, Measured, Row

ROOT = Path(__file__).resolve().parents[2]
KEYS = [
    *(f"decode_{who}.{series}" for series in ("all_new", "one_new") for who in codec.SUBJECTS),
    *(f"encode_{who}" for who in codec.SUBJECTS),
    "engine_real_time",
    "fast_real_time",
    "fast_to_plain",
    "three_times_as_large",
    "bus_analysis",
    "native_corpus",
    "native_packets",
    "echo_packets",
    "paced_1ms",
    "paced_8ms",
    *("store_write", "store_read", "store_size", "text_import", "text_python_can", "inspect_hour"),
    "replay_hour",
    "machine_real_time",
    "machine_hour",
    "machine_fast_real_time",
    "machine_fast_spans",
    "machine_fast_hour",
    "machine_decode",
    "run_hour",
    "edit_to_verdict",
    "edit_changed",
    "edit_machine",
]


def quiet(_: str) -> None:
    """Tell nobody."""


def speed(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["speed", *map(str, arguments)])


@pytest.fixture
def one_scenario(tmp_path: Path) -> Path:
    """A folder with one scenario of our own, so that the corpus may change."""
    with (ROOT / "fixtures" / "flags.toml").open("rb") as file:
        flag = next(iter(tomllib.load(file)["flags"]))
    folder = tmp_path / "scenarios" / "minimal"
    folder.mkdir(parents=True)
    (folder / "cold_fan.scenario").write_text(
        f"""\
scenario cold_fan
title    The fan stays off with a cold engine
pairing  minimal
purpose  Something short to measure
hunts    {flag}
lasts    30 ms

set input key_switch active
send engine.STATE
set engine.STATE.Coolant 80
expect output fan_relay stays inactive from 0 ms to 29 ms
""",
        encoding="utf-8",
    )
    return folder.parent


@pytest.mark.long(20)
@pytest.mark.slow
def test_every_row_is_measured_and_printed(one_scenario: Path, tmp_path: Path) -> None:
    report = tmp_path / "speed.json"
    sizes = ("--drive-s", "2", "--engine-s", "1", "--repeats", "1", "--codec-s", "0.005")
    link = ("--paced-s", "1", "--vectors", ROOT / "fixtures" / "vectors" / "j1939_instruments")
    kept = tmp_path / "kept"
    kept.mkdir()
    before = {"rows": [{"key": "engine_real_time", "median": 12.25}]}
    (kept / "figures.json").write_text(json.dumps(before), encoding="utf-8")
    where = ("--scenarios", one_scenario, "--json", report, "--keep", kept)
    result = speed(*sizes, *link, *where)
    assert result.exit_code == 0, result.output

    rows: list[dict[str, Any]] = json.loads(report.read_text(encoding="utf-8"))["rows"]
    assert [row["key"] for row in rows] == KEYS
    for row in rows:
        assert row["median"] is not None, row["note"]
        assert row["median"] > 0
        assert row["what"] in result.stdout
        assert f"{row['median']:.2f} {row['unit']}" in result.stdout
    by_key = {row["key"]: row for row in rows}
    floors = [key for key, row in by_key.items() if row["floor"]]
    assert floors == [
        "decode_engine.all_new",
        "decode_fast.all_new",
        "decode_engine.one_new",
        "decode_fast.one_new",
        "encode_fast",
        "engine_real_time",
        "fast_real_time",
        "fast_to_plain",
        "three_times_as_large",
        "bus_analysis",
        "paced_1ms",
        "paced_8ms",
        "store_read",
        "store_size",
        "text_import",
        "inspect_hour",
        "replay_hour",
        "machine_real_time",
        "machine_hour",
        "machine_fast_real_time",
        "machine_fast_spans",
        "machine_fast_hour",
        "machine_decode",
        "run_hour",
        "edit_to_verdict",
        "edit_changed",
        "edit_machine",
    ]
    own, raw = by_key["decode_engine.all_new"], by_key["decode_cantools_raw.all_new"]
    assert own["ratio_to_engine"] == 1
    assert raw["ratio_to_engine"] == pytest.approx(raw["median"] / own["median"])
    assert own["met"] == (own["median"] <= raw["median"])
    assert by_key["edit_to_verdict"]["note"].startswith("scenarios: 1; all vectors ")
    assert "on the line through both" in by_key["run_hour"]["note"]

    assert by_key["engine_real_time"]["previous"] == 12.25
    assert "12.25" in result.stdout
    assert (kept / "figures.json").read_bytes() == report.read_bytes()
    drawn = {path.stem for path in kept.glob("*.svg")}
    assert drawn == set(groups_of([Row(r["key"], r["what"], 1.0, r["unit"]) for r in rows]))
    for path in kept.glob("*.svg"):
        assert ElementTree.parse(path).getroot().tag.endswith("svg")


def test_a_picture_says_in_words_what_its_shapes_say() -> None:
    floor = Floor(4.0, True, "<= 4 us")
    rows = [Row("a", "decode: a < b", 2.0, "us", floor=floor), Row("b", "decode: b", None, "us")]
    drawn = picture("decode", rows, {"a": 3.0})
    words = " ".join(ElementTree.fromstring(drawn).itertext())
    assert "decode: a < b" in words
    assert "2.00 us (previous 3.00); floor <= 4 us, met" in words
    assert "not measured" in words


@pytest.mark.parametrize(
    ("kept", "said"),
    [
        (b'{"rows": 7}', "figures.json: found other rows, expected"),
        (b'{"row": []}', "figures.json: found no 'rows', expected"),
        (b'{"rows":\n[}', "figures.json:2: found no JSON (Expecting value), expected"),
        (b'{"rows": "\xff"}', "figures.json: found octet 0xFF at 10 is no text in UTF-8"),
    ],
)
def test_a_kept_file_of_something_else_is_refused_before_measuring(
    kept: bytes, said: str, tmp_path: Path
) -> None:
    (tmp_path / "figures.json").write_bytes(kept)
    result = speed("--keep", tmp_path)
    assert result.exit_code == 2
    assert said in result.stderr
    assert "remove it to begin anew" in result.stderr


@pytest.mark.parametrize(
    ("value", "at_most", "met"),
    [(9.0, True, True), (10.0, True, True), (11.0, True, False), (9.0, False, False)],
)
def test_a_floor_is_met_or_not(value: float, at_most: bool, met: bool) -> None:
    row = Row("key", "what", value, "s", floor=Floor(10.0, at_most, "10 s"))
    assert row.met is met


def test_without_a_figure_no_floor_is_met() -> None:
    assert Row("key", "what", None, "s", floor=Floor(10.0, True, "10 s")).met is None


@pytest.mark.slow
def test_a_command_that_fails_leaves_its_row_with_the_reason(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    measured = Measured()
    measure_edit(measured, tmp_path, quiet)  # no scenario in it
    (tmp_path / "bad.scenario").write_text("pairing minimal\nnonsense\n", encoding="utf-8")
    measure_edit(measured, tmp_path, quiet)
    monkeypatch.setattr("tools.speed.commands.PAIRINGS", tmp_path / "nowhere")
    measure_drive(measured, 2, quiet)
    assert [row.value for row in measured.rows] == [None] * 7
    nothing, bad, drive = measured.rows[:3], measured.rows[3:6], measured.rows[6]
    assert {row.note for row in nothing} == {"there is no scenario"}
    commands = ("vectors generate", "vectors generate --changed", "--machine-code vectors generate")
    for row, command in zip(bad, commands, strict=True):
        assert row.note.startswith(f"`xlate {command}")
        assert "the header has no line" in row.note
    assert drive.note.startswith("`xlate vectors run")


def test_without_its_benchmarks_the_codec_keeps_its_rows(monkeypatch: pytest.MonkeyPatch) -> None:
    measured = Measured()
    monkeypatch.setattr(codec, "BENCHMARKS", Path("tests") / "no_such.py")
    codec.measure(measured, 0.001)
    assert [row.key for row in measured.rows] == KEYS[: 3 * len(codec.SUBJECTS)]
    assert {row.note for row in measured.rows} == {"needs the project's folder tests/benchmarks"}
