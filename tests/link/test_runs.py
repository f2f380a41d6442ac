"""Runs over boards with a line: journal, resume, several boards, the page of a mismatch."""

import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from hil.bench import Bench, BenchPlan
from hil.boards.interface import ForesightedBoard, LineBoard
from hil.boards.native import NativeBoard
from hil.disturbed_runs import spoil
from hil.firmware.building import NATIVE_MEMORY, OPTIMISED, compile_core
from hil.firmware.programs import BOARDS, CORE, LINK
from hil.reports import page
from hil.runner import Result as Outcome
from hil.runner import run_vector
from hil.verdicts import Verdict
from tests.link.helpers import PAIRINGS, native, pairings, program, short_vectors, vector
from tools.cli.main import main

FEW = short_vectors(most=4)


def xlate(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def run(*words: object) -> Result:
    result = xlate("vectors", "run", *words, "--pairings", PAIRINGS)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.output
    return result


def test_the_native_board_is_a_board_with_a_line() -> None:
    board = native()
    try:
        assert isinstance(board, ForesightedBoard)
        assert isinstance(board, LineBoard)
    finally:
        board.close()


def test_the_list_says_what_a_board_lacks(monkeypatch: pytest.MonkeyPatch) -> None:
    from hil.boards import emulated

    monkeypatch.setattr(emulated, "PROGRAM", "qemu-that-is-not-there")
    listed = xlate("board", "list")
    assert listed.exit_code == 0
    assert "reference" in listed.output
    assert "not usable here: no emulator" in listed.output
    told = json.loads(xlate("board", "list", "--json").output)
    assert {one["board"] for one in told["made_here"]} >= {"reference", "native", "emulated"}


def test_a_run_leaves_journal_byte_log_and_page(tmp_path: Path) -> None:
    result = run(*FEW, "--board", "native", "--out", tmp_path)
    assert result.exit_code == 0, result.output
    lines = (tmp_path / "journal.jsonl").read_text(encoding="utf-8").splitlines()
    entries = [json.loads(line) for line in lines]
    assert [entry["kind"] for entry in entries] == ["run"] + ["result"] * len(FEW)
    assert {entry["board"] for entry in entries[1:]} == {"native"}
    assert "firmware" in entries[1]["identity"]
    assert "bit for bit" in (tmp_path / "report.html").read_text(encoding="utf-8")
    logs = list(tmp_path.glob("bytes-*.log"))
    assert len(logs) == 1
    listed = xlate("board", "log", logs[0])
    assert listed.exit_code == 0
    assert "identity session" in listed.output
    assert "reset" in listed.output
    assert "1 ticks" in listed.output


def test_resume_runs_only_what_has_no_verdict(tmp_path: Path) -> None:
    assert run(*FEW[:2], "--board", "native", "--out", tmp_path).exit_code == 0
    journal = tmp_path / "journal.jsonl"
    with journal.open("a", encoding="utf-8") as stream:
        stream.write('{"kind": "result", "torn')  # as a power cut leaves it
    text = journal.read_text(encoding="utf-8").replace('{"kind": "result", "torn', "")
    journal.write_text(text, encoding="utf-8")
    result = run(*FEW, "--board", "native", "--resume", tmp_path)
    assert result.exit_code == 0, result.output
    assert f"{len(FEW)} pass" in result.output
    entries = [json.loads(line) for line in journal.read_text(encoding="utf-8").splitlines()]
    names = [entry["id"] for entry in entries if entry["kind"] == "result"]
    assert len(names) == len(FEW)  # the first two were not run again
    assert [entry["kind"] for entry in entries].count("resumed") == 1


def test_a_run_is_gone_on_with_on_its_own_boards(tmp_path: Path) -> None:
    assert run(*FEW[:2], "--board", "native", "--out", tmp_path).exit_code == 0
    journal = (tmp_path / "journal.jsonl").read_text(encoding="utf-8")
    result = run(*FEW, "--resume", tmp_path)
    assert result.exit_code == 2
    assert result.stderr == ("--resume: found a run on native, expected the same: --board native\n")
    assert (tmp_path / "journal.jsonl").read_text(encoding="utf-8") == journal


def test_what_no_board_is_left_for_is_one_line_with_the_command_for_the_rest(
    tmp_path: Path,
) -> None:
    result = run(*FEW, "--board", "/dev/no_port", "--out", tmp_path)
    assert result.exit_code == 3
    why = "/dev/no_port: no such port; `xlate board list` shows those there are"
    assert result.stdout.count(why) == 2
    assert f"NOT_RUN {len(FEW) - 1} vectors: {why}\n" in result.stdout
    assert f"ended after 1 of {len(FEW)} vectors; go on with: xlate vectors run" in result.stderr
    assert result.stderr.endswith(f"--resume {tmp_path}\n")


def test_a_torn_journal_is_read_up_to_the_tear(tmp_path: Path) -> None:
    assert run(*FEW[:2], "--board", "native", "--out", tmp_path).exit_code == 0
    journal = tmp_path / "journal.jsonl"
    text = journal.read_text(encoding="utf-8")
    journal.write_text(text[: len(text) - 40], encoding="utf-8")
    from hil.journal import read

    assert len(read(tmp_path)) == 1


@pytest.mark.parametrize("text", ["", "no journal\n", '{"kind": "run", "format": 99}\n'])
def test_what_is_no_journal_is_bad_input(tmp_path: Path, text: str) -> None:
    file = tmp_path / "journal.jsonl"
    file.write_text(text, encoding="utf-8")
    result = run(FEW[0], "--board", "native", "--resume", file)
    assert result.exit_code == 2
    assert "journal" in result.output


@pytest.mark.slow
def test_two_boards_share_the_vectors_or_run_them_all(tmp_path: Path) -> None:
    shared = run(*FEW, "--board", "native", "--board", "reference", "--out", tmp_path / "a")
    assert shared.exit_code == 0, shared.output
    assert f"{len(FEW)} vectors: {len(FEW)} pass" in shared.output
    report = tmp_path / "report.json"
    words = ("--each", "--out", tmp_path / "b", "--json", report)
    each = run(*FEW, "--board", "native", "--board", "reference", *words)
    assert each.exit_code == 0, each.output
    ran = json.loads(report.read_text(encoding="utf-8"))["vectors"]
    assert sorted((one["id"], one["board"]) for one in ran) == sorted(
        (path.stem, board) for path in FEW for board in ("native", "reference")
    )


@pytest.fixture(scope="module")
def broken(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A native board of minimal whose deadlines come one tick late."""
    folder = tmp_path_factory.mktemp("broken")
    core = folder / "core"
    shutil.copytree(CORE, core)
    path = core / "reception.c"
    text = path.read_text(encoding="utf-8")
    right, wrong = "return state->age >= deadline;", "return state->age > deadline;"
    assert right in text
    path.write_text(text.replace(right, wrong), encoding="utf-8")
    more = [*LINK.glob("*.c"), *(BOARDS / "native").glob("*.c")]
    flags = (*OPTIMISED, f"-I{LINK}", '-DXB_BOARD_NAME="native"', *NATIVE_MEMORY)
    pairing = pairings().names("minimal").pairing
    return compile_core(pairing, folder, "xlate_native", flags, more, core)


def mismatches(program: Path) -> list[Outcome]:
    names = pairings().names("minimal")
    board = NativeBoard(names.pairing, program)
    try:
        outcomes = []
        for path in short_vectors(most=60):
            loaded, names = vector(str(path))
            outcome = run_vector(loaded, names, board, "again")
            if outcome.verdict is not Verdict.PASS:
                outcomes.append(outcome)
        return outcomes
    finally:
        board.close()


@pytest.mark.slow
def test_a_broken_firmware_is_caught_and_explained_by_its_state(broken: Path) -> None:
    found = mismatches(broken)
    assert found
    assert {one.verdict for one in found} == {Verdict.MISMATCH}
    text = "\n".join(line for one in found for line in one.explanation)
    assert "state differs from the reference first at tick" in text
    assert re.search(r"unit\.\S+\.(status|age) expected \d+, actual \d+", text)


@pytest.mark.slow
def test_the_page_of_a_mismatch_stands_alone_and_is_small(broken: Path, tmp_path: Path) -> None:
    found = mismatches(broken)
    path = tmp_path / "report.html"
    page.write(path, "Vectors on native", found * 60)
    text = path.read_text(encoding="utf-8")
    assert len(text.encode("utf-8")) < 2_000_000
    assert "MISMATCH" in text
    assert "<svg" in text
    assert "expected" in text
    assert "licensed or" in text
    assert "run again again" in text
    assert not re.search(r'(src|href)="|url\(|@import|<script', text)


def test_a_picture_tells_expected_from_actual_without_colour(tmp_path: Path) -> None:
    loaded, names = vector(str(FEW[0]))
    spoiled = spoil(loaded, tmp_path)
    board = NativeBoard(names.pairing, program())
    try:
        outcome = run_vector(spoiled, names, board, "again")
    finally:
        board.close()
    assert outcome.verdict is Verdict.MISMATCH
    assert "<circle" in outcome.picture
    assert "| actual " in outcome.picture
    colours = set(re.findall(r'(?:stroke|fill)="([^"]+)"', outcome.picture))
    assert colours <= {"black", "none"}


def test_a_mismatch_is_never_retried(tmp_path: Path) -> None:
    loaded, _ = vector(str(FEW[0]))
    spoiled = spoil(loaded, tmp_path)
    bench = Bench(BenchPlan("native", PAIRINGS, None, retries=3), pairings())
    try:
        outcome = bench.run(spoiled.path)
    finally:
        bench.close()
    assert (outcome.verdict, outcome.attempts) == (Verdict.MISMATCH, 1)
