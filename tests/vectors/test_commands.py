"""`xlate vectors`: files in, files out, exit codes, and nothing half-written."""

import json
import shlex
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from hil.vectors.vector import Vector
from tests.vectors.helpers import HEADER, ROOT
from tools.cli.main import main
from xlate_core.bridge import Bridge, Inputs, Outputs

BODY = "send engine.STATE every 2 ms\nat 10 ms set input key_switch active\n"
FLAG = "deadline_off_by_one"  # any flag that fixtures/flags.toml explains


def xlate(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["vectors", *map(str, arguments)])


def write_scenario(folder: Path, body: str, name: str = "sample") -> Path:
    text = HEADER.format(pairing="minimal", lasts="100 ms").replace("nothing_real", FLAG)
    path = folder / "scenarios" / "minimal" / f"{name}.scenario"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text.replace("scenario sample", f"scenario {name}") + body, encoding="utf-8")
    return path


def generate(folder: Path) -> Result:
    return xlate("generate", folder / "scenarios", "--vectors", folder / "vectors")


@pytest.fixture
def corpus(tmp_path: Path) -> Path:
    write_scenario(tmp_path, BODY)
    assert generate(tmp_path).exit_code == 0
    return tmp_path


def stored(folder: Path) -> Path:
    return folder / "vectors" / "minimal" / "sample.vector"


def test_generate_verify_run(corpus: Path) -> None:
    assert stored(corpus).is_file()
    verified = xlate("verify", "--vectors", corpus / "vectors", "--scenarios", corpus / "scenarios")
    assert verified.exit_code == 0, verified.output
    ran = xlate("run", corpus / "vectors")
    assert ran.exit_code == 0, ran.output
    assert "1 vectors: 1 pass; 100 ticks, 50 frames in" in ran.output


def test_a_disagreement_leaves_the_old_vector(corpus: Path) -> None:
    before = stored(corpus).read_bytes()
    write_scenario(corpus, BODY + "expect output fan_relay active at 50 ms\n")
    result = generate(corpus)
    assert result.exit_code == 1
    assert "sample.scenario:9: expect output fan_relay active at 50 ms: at 50 ms" in result.output
    assert stored(corpus).read_bytes() == before


def test_all_disagreements_and_mistakes_are_listed(corpus: Path) -> None:
    write_scenario(corpus, BODY + "expect output fan_relay active at 50 ms\n", "one")
    write_scenario(corpus, BODY + "expect quantity key 0 at 50 ms\n", "two")
    write_scenario(corpus, "sett supply 1 mV\n", "three")
    result = generate(corpus)
    assert result.exit_code == 2
    for part in ("one.scenario:9", "two.scenario:9", "three.scenario:7", "1 of 4 vectors written"):
        assert part in result.output
    assert {path.name for path in (corpus / "vectors").rglob("*") if path.is_file()} == {
        "sample.vector"
    }


def test_a_flag_that_nothing_explains_is_refused(tmp_path: Path) -> None:
    path = write_scenario(tmp_path, BODY)
    text = path.read_text(encoding="utf-8").replace(FLAG, FLAG + "x")
    path.write_text(text, encoding="utf-8")
    result = generate(tmp_path)
    assert result.exit_code == 2
    expected = "expected a flag that fixtures/flags.toml explains"
    said = f"{path}:5: hunts `{FLAG}x`, {expected}; nearest valid name: {FLAG}\n"
    assert result.stderr == said


def test_a_scenario_that_is_no_text_is_told_with_its_line(tmp_path: Path) -> None:
    path = write_scenario(tmp_path, "")
    path.write_bytes(path.read_bytes() + b"# 20 \xb0C\n")
    result = generate(tmp_path)
    assert result.exit_code == 2
    place = path.read_bytes().index(0xB0)
    told = f"octet 0xB0 at {place} is no text in UTF-8; expected a scenario file"
    assert result.stderr == f"{path}:7: {told}\n"


def test_verify_finds_changed_missing_and_stray_vectors(corpus: Path) -> None:
    def verify() -> Result:
        return xlate("verify", "--vectors", corpus / "vectors", "--scenarios", corpus / "scenarios")

    content = stored(corpus).read_bytes()
    stored(corpus).write_bytes(content + b"\n")
    assert "differs from what sample.scenario yields" in verify().output
    stored(corpus).rename(stored(corpus).with_name("stray.vector"))
    result = verify()
    assert result.exit_code == 1
    assert "is not there" in result.output
    assert "stray.vector: no scenario yields this vector" in result.output


def test_verify_of_one_vector_looks_at_its_scenario_only(corpus: Path) -> None:
    write_scenario(corpus, BODY, "other")
    places = ("--vectors", corpus / "vectors", "--scenarios", corpus / "scenarios")
    result = xlate("verify", stored(corpus), *places)
    assert result.exit_code == 0, result.output
    assert "1 scenarios checked" in result.output


def test_a_mismatch_is_explained_and_reported(
    corpus: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tick = Bridge.tick

    def silent_from_tick_40(self: Bridge, inputs: Inputs) -> Outputs:
        silent = self.now >= 40
        outputs = tick(self, inputs)
        return outputs._replace(frames=((), ())) if silent else outputs

    monkeypatch.setattr(Bridge, "tick", silent_from_tick_40)
    json_file, junit_file = corpus / "report.json", corpus / "report.xml"
    result = xlate("run", corpus / "vectors", "--json", json_file, "--junit", junit_file)
    assert result.exit_code == 1
    assert "MISMATCH" in result.output
    assert "missing: an expected frame did not come: body.GAUGE" in result.output
    again = [line for line in result.output.splitlines() if "run again" in line]
    assert again == [f"  run again xlate vectors run --board reference {stored(corpus)}"]

    data = json.loads(json_file.read_text(encoding="utf-8"))
    assert data["counts"]["mismatch"] == 1
    assert data["vectors"][0]["verdict"] == "mismatch"
    assert "no approval" in data["caution"]
    suite = ElementTree.parse(junit_file).getroot()[0]
    assert (suite.get("tests"), suite.get("failures"), suite.get("errors")) == ("1", "1", "0")
    failure = suite.find("testcase/failure")
    assert failure is not None
    assert "first difference at tick" in (failure.text or "")


def test_reports_of_a_pass(corpus: Path) -> None:
    json_file, junit_file = corpus / "report.json", corpus / "report.xml"
    result = xlate("run", stored(corpus), "--json", json_file, "--junit", junit_file)
    assert result.exit_code == 0
    assert json.loads(json_file.read_text(encoding="utf-8"))["vectors"][0]["ticks"] == 100
    case = ElementTree.parse(junit_file).getroot()[0].find("testcase")
    assert case is not None
    assert len(case) == 0


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (("run", "no_such_folder"), "no_such_folder: no such file or folder"),
        (("run", str(ROOT / "pyproject.toml")), "expected the name *.vector"),
        (("run", str(ROOT / "tools")), "no vector in this folder"),
        (("generate", "no_such.scenario"), "no scenario"),
        (("explain", "no_such.vector"), "no such vector file"),
        (("drive", "minimall", "out"), "nearest valid name: minimal"),
        (("run", "--board", "toaster"), "toaster"),
    ],
)
def test_bad_input_is_exit_code_2_and_no_traceback(arguments: tuple[str, ...], part: str) -> None:
    result = xlate(*arguments)
    assert result.exit_code == 2
    assert part in result.output
    assert "Traceback" not in result.output


def test_a_damaged_vector_stops_the_run_before_it_starts(corpus: Path) -> None:
    write_scenario(corpus, BODY, "second")
    generate(corpus)
    stored(corpus).write_bytes(stored(corpus).read_bytes()[:-20])
    result = xlate("run", corpus / "vectors")
    assert result.exit_code == 2
    assert "sample.vector: cut short" in result.output
    assert "pass" not in result.output


def test_an_own_folder_of_pairings(corpus: Path) -> None:
    import shutil

    shutil.copytree(ROOT / "fixtures" / "pairings" / "minimal", corpus / "mine" / "minimal")
    assert xlate("run", "--pairings", corpus / "mine", corpus / "vectors").exit_code == 0
    path = corpus / "mine" / "minimal" / "bridge.toml"
    text = path.read_text(encoding="utf-8").replace("deadline_ms = 5", "deadline_ms = 6", 1)
    path.write_text(text, encoding="utf-8")
    result = xlate("run", "--pairings", corpus / "mine", corpus / "vectors")
    assert result.exit_code == 2
    assert "the pairing changed, generate the vector again" in result.output


def test_explain_tells_and_draws(corpus: Path) -> None:
    write_scenario(corpus, BODY + "at 50 ms stop all\nat 80 ms reset watchdog\n")
    assert generate(corpus).exit_code == 0
    svg = corpus / "picture.svg"
    result = xlate("explain", stored(corpus), "--svg", svg)
    assert result.exit_code == 0, result.output
    lines = result.output.splitlines()
    assert "      10 ms  input key_switch: active" in lines
    assert any("49 ms  received engine.STATE: silent" in line for line in lines)
    assert "      80 ms  reset watchdog, memory kept" in lines
    picture = {line.split("  ")[0].strip(): line for line in lines}
    row = next(line for line in picture.values() if line.startswith("input key_switch"))
    assert row.endswith("_____#############################################")
    root = ElementTree.parse(svg).getroot()
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    text = svg.read_text(encoding="utf-8")
    assert "href" not in text
    assert "key_switch" in text


def test_explain_of_a_random_vector_names_its_seed(tmp_path: Path) -> None:
    write_scenario(tmp_path, "random seed 5 style disturbed\n")
    assert generate(tmp_path).exit_code == 0
    assert "seed 5, style disturbed" in xlate("explain", stored(tmp_path)).output


def test_an_interrupted_run_is_incomplete_and_still_reported(
    corpus: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from hil import runner

    write_scenario(corpus, BODY, "second")
    write_scenario(corpus, BODY, "third")
    assert generate(corpus).exit_code == 0
    run_vector = runner.run_vector

    def interrupted_at_second(vector: Vector, *rest: Any) -> runner.Result:
        if vector.header.identity == "second":
            raise KeyboardInterrupt
        return run_vector(vector, *rest)

    monkeypatch.setattr(runner, "run_vector", interrupted_at_second)
    json_file = corpus / "report.json"
    words = ("run", corpus / "vectors", "--json", json_file)
    result = xlate(*words)
    assert result.exit_code == 4
    counts = json.loads(json_file.read_text(encoding="utf-8"))["counts"]
    assert (counts["pass"], counts["not_run"]) == (1, 2)
    said = "interrupted after 1 of 3 vectors"
    assert result.stdout.startswith("NOT_RUN 2 vectors\n3 vectors: 1 pass, 2 not_run;")
    assert result.stderr == f"{said}; only with --out FOLDER a run can be gone on with\n"

    folder = corpus / "run"
    kept = xlate(*words, "--out", folder)
    rest = ["xlate", "vectors", *map(str, words), "--out", str(folder), "--resume", str(folder)]
    assert kept.stderr == f"{said}; go on with: {shlex.join(rest)}\n"
    again = xlate(*rest[2:])
    assert again.exit_code == 4
    assert again.stderr == kept.stderr, "it is not resumed twice"
    monkeypatch.setattr(runner, "run_vector", run_vector)
    assert "3 vectors: 3 pass" in xlate(*rest[2:]).stdout
    lines = (folder / "journal.jsonl").read_text(encoding="utf-8").splitlines()
    assert sum('"kind": "result"' in line for line in lines) == 3
