"""Files and folders a person names wrongly: one sentence, exit code 2, before the work begins."""

import errno
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from hil.firmware import toolchains
from hil.firmware.toolchains import NoCompilerError
from hil.vectors import files
from tools.cli import outputs
from tools.cli.main import main
from tools.timing import observation
from xlate_core.pairing.problems import nearest_name

ROOT = Path(__file__).resolve().parents[2]
PAIRING = ROOT / "fixtures" / "pairings" / "minimal"
VECTOR = ROOT / "fixtures" / "vectors" / "minimal" / "fan_on_loss.vector"


def xlate(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [*map(str, words)])


def test_a_file_where_a_folder_is_needed_is_said(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("")
    scenario = ROOT / "fixtures" / "scenarios" / "minimal" / "fan_on_loss.scenario"
    answer = xlate("vectors", "generate", "--vectors", file, scenario)
    assert answer.exit_code == 2
    assert answer.output == f"{file}/minimal: cannot be read or written (not a directory)\n"


@pytest.mark.parametrize("command", [("pairing", "check"), ("timing", "bus")])
def test_a_file_of_a_pairing_in_place_of_its_folder_is_said(command: tuple[str, str]) -> None:
    answer = xlate(*command, PAIRING / "bridge.toml")
    assert answer.exit_code == 2
    assert answer.stderr.splitlines()[0] == (
        f"{PAIRING}/bridge.toml/: found a file, expected the folder of a pairing, with "
        f"bridge.toml; nearest valid name: {PAIRING}"
    )


def test_a_folder_where_a_file_is_needed_is_said(tmp_path: Path) -> None:
    answer = xlate("failsafe", "build", PAIRING, "--required", tmp_path)
    assert answer.exit_code == 2
    assert answer.output == f"{tmp_path}: cannot be read or written (is a directory)\n"


@pytest.mark.parametrize(
    ("words", "option"),
    [
        (("timing", "paths", PAIRING), "--html"),
        (("vectors", "run", VECTOR), "--json"),
        (("vectors", "run", VECTOR), "--junit"),
        (("vectors", "run", VECTOR), "--html"),
        (("vectors", "reduce", VECTOR, "--board", "reference"), "--out"),
        (("firmware", "coverage"), "--json"),
        (("firmware", "mutants"), "--json"),
        (("board", "measure", "--board", "emulated"), "--json"),
        (("speed",), "--json"),
    ],
)
def test_what_cannot_be_written_is_said_before_the_work(
    tmp_path: Path, words: tuple[str | Path, ...], option: str
) -> None:
    file = tmp_path / "file"
    file.write_text("")
    for target, told in (
        (tmp_path, f"found {tmp_path}, a folder, expected the name of a file"),
        (file / "new" / "out", f"found {file}, a file, expected a folder to write in"),
    ):
        answer = xlate(*words, option, target)
        assert answer.exit_code == 2
        assert f"Invalid value for '{option}': {told}" in answer.output
    assert sorted(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize("words", [("timing", "paths", PAIRING), ("board", "soak"), ("speed",)])
def test_a_folder_that_cannot_be_written_is_said_before_the_work(
    tmp_path: Path, words: tuple[str | Path, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "file"
    file.write_text("")
    for target in (file, file / "new" / "kept"):
        answer = xlate(*words, "--keep", target)
        assert answer.exit_code == 2
        told = f"found {file}, a file, expected a folder to write in"
        assert f"Invalid value for '--keep': {told}" in answer.output
    monkeypatch.setattr(outputs.os, "access", lambda *_: False)
    answer = xlate(*words, "--keep", tmp_path / "kept")
    assert answer.exit_code == 2
    assert f"found {tmp_path}, expected a folder that can be written" in answer.output
    assert sorted(tmp_path.iterdir()) == [file]


@pytest.mark.parametrize("option", ["--vectors", "--scenarios"])
def test_an_empty_folder_is_said_before_anything_is_measured(tmp_path: Path, option: str) -> None:
    answer = xlate("speed", option, tmp_path)
    assert answer.exit_code == 2
    assert answer.output.startswith(f"{tmp_path}: no ")
    assert "measuring" not in answer.output


@pytest.mark.parametrize("step", ["fdopen", "replace"])
def test_a_full_disk_names_the_file_and_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    def full(handle: object, *_: object) -> None:
        if isinstance(handle, int):
            files.os.close(handle)
        raise OSError(errno.ENOSPC, "No space left on device")

    page = tmp_path / "page.html"
    page.write_text("old")
    monkeypatch.setattr(observation, "observe", lambda *_: iter(()))
    monkeypatch.setattr(files.os, step, full)
    answer = xlate("timing", "paths", PAIRING, "--html", page)
    assert answer.exit_code == 2
    assert answer.stderr == f"{page}: cannot be read or written (no space left on device)\n"
    assert [one.name for one in tmp_path.iterdir()] == ["page.html"]
    assert page.read_text() == "old"


def test_folders_on_the_way_to_a_new_file_are_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(observation, "observe", lambda *_: iter(()))
    page = tmp_path / "a" / "b" / "page.html"
    assert xlate("timing", "paths", PAIRING, "--html", page).exit_code == 0
    assert page.is_file()


def test_one_cause_of_many_scenarios_is_said_once(tmp_path: Path) -> None:
    scenarios = ROOT / "fixtures" / "scenarios" / "minimal"
    words = ("--pairings", tmp_path, "--vectors", tmp_path / "vectors", "--jobs", "1", scenarios)
    for verb in ("generate", "verify"):
        answer = xlate("vectors", verb, *words)
        assert answer.exit_code == 2
        assert answer.output.count("no pairing `minimal` (bridge.toml is not there)") == 1


def test_a_name_is_not_its_own_nearest_one(tmp_path: Path) -> None:
    assert nearest_name("body.dbc", ["body.dbc", "bodi.dbc"]) == "bodi.dbc"
    assert nearest_name("body.dbc", ["body.dbc"]) is None
    (tmp_path / "drive.log").write_text("")
    answer = xlate("vectors", "generate", tmp_path / "drive.log")
    assert answer.exit_code == 2
    assert "nearest" not in answer.output
    shutil.copytree(PAIRING, tmp_path / "car")
    (tmp_path / "car" / "bridge.toml").unlink()
    (tmp_path / "car" / "bridge.toml").mkdir()
    answer = xlate("pairing", "check", tmp_path / "car")
    assert answer.exit_code == 2
    assert "found is a directory, expected a readable file bridge.toml in car\n" in answer.output


def test_a_place_for_differences_that_is_a_file_is_refused_before_the_soak(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("")
    answer = xlate("board", "soak", "--million-ticks", "0.001", "--keep", file)
    assert answer.exit_code == 2
    assert "'--keep'" in answer.output


def test_a_compiler_that_is_not_there_is_said_with_those_there_are(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    gcc = toolchains.Toolchain("gcc", ("gcc",), (), True, True)
    monkeypatch.setattr(toolchains, "candidates", lambda board: [gcc])
    assert toolchains.find("native", "gcc") is gcc
    with pytest.raises(NoCompilerError) as caught:
        toolchains.find("native", "zig")
    assert str(caught.value) == "zig is not there for the board native; there is gcc"
