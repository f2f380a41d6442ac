"""Boards and lines that misbehave: the right verdict, one sentence, and an end."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from hil.boards.native import NativeProcess
from tests.link import fake
from tests.link.helpers import PAIRINGS, pairings, program, short_vectors
from tools.cli.main import main

pytestmark = pytest.mark.slow
IN_THE_MIDDLE = 100  # octets from the board, however often a busy machine repeats its hello
FEW = [str(path) for path in short_vectors(most=3)]


def xlate(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def run(url: str, folder: Path, *more: str, vectors: list[str] = FEW) -> tuple[Result, Any]:
    report = folder / "report.json"
    words = ("--board", url, "--timeout-s", "0.6", "--json", str(report), "--out", str(folder))
    result = xlate("vectors", "run", *vectors, *words, "--pairings", str(PAIRINGS), *more)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.output
    return result, json.loads(report.read_text(encoding="utf-8"))


@pytest.fixture
def serve() -> Iterator[Any]:
    servers: list[fake.Server] = []

    def start(function: Any) -> str:
        servers.append(fake.Server(function))
        return servers[-1].url

    yield start
    for server in servers:
        server.close()


@pytest.fixture
def process() -> Iterator[NativeProcess]:
    started = NativeProcess(program())
    yield started
    started.end()


def test_a_silent_board_is_named_and_the_rest_is_not_run(serve: Any, tmp_path: Path) -> None:
    result, report = run(serve(fake.silent), tmp_path)
    assert result.exit_code == 3
    assert [one["verdict"] for one in report["vectors"]] == ["timeout", "not_run", "not_run"]
    assert "silent within 3 s" in report["vectors"][0]["explanation"][0]


def test_a_line_that_carries_something_else_is_told_from_silence(
    serve: Any, tmp_path: Path
) -> None:
    result, report = run(serve(fake.babbling), tmp_path)
    assert result.exit_code == 3
    assert "none an answer to hello" in report["vectors"][0]["explanation"][0]


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"rules": 99}, "obeys rules 99, expected rules"),
        ({"pairing": bytes(32)}, "carries pairing 000000000000, expected minimal"),
        ({"firmware_minor": 77}, "carries firmware 0.77.0, expected"),
        ({"image_octets": 9}, "state has 9 octets, expected"),
        ({"link": 9}, "speaks link version 9, expected"),
        ({"slots": 0}, "sizes make no sense"),
    ],
)
def test_another_board_than_meant_is_a_sentence_of_its_own(
    serve: Any, tmp_path: Path, changed: dict[str, Any], sentence: str
) -> None:
    pairing = pairings().names("minimal").pairing
    url = serve(fake.answers_hello(fake.identity(pairing, **changed)))
    result, report = run(url, tmp_path, vectors=FEW[:1])
    assert result.exit_code == 3
    assert sentence in report["vectors"][0]["explanation"][0]


@pytest.mark.parametrize(
    ("trouble", "verdict", "sentence"),
    [
        ("hang", "timeout", "silent for 0.6 s in the middle of a run"),
        ("garbage", "protocol", "damaged packets"),
        ("restart", "reset", "the board restarted in the middle"),
        ("unplug", "bench_fault", "the line is gone"),
    ],
)
def test_trouble_in_the_middle_has_its_own_verdict(
    serve: Any, tmp_path: Path, process: NativeProcess, trouble: str, verdict: str, sentence: str
) -> None:
    url = serve(fake.between(process.port, trouble, IN_THE_MIDDLE, connections=1000))
    result, report = run(url, tmp_path)
    assert result.exit_code == 3
    first = report["vectors"][0]
    assert first["verdict"] == verdict, first["explanation"]
    assert first["attempts"] == 2
    assert sentence in first["explanation"][0]


@pytest.mark.parametrize("trouble", ["hang", "garbage", "restart", "unplug"])
def test_what_passes_when_run_again_is_marked_unstable(
    serve: Any, tmp_path: Path, process: NativeProcess, trouble: str
) -> None:
    url = serve(fake.between(process.port, trouble, IN_THE_MIDDLE, connections=1))
    result, report = run(url, tmp_path)
    assert result.exit_code == 0, result.output
    assert [one["verdict"] for one in report["vectors"]] == ["pass"] * 3
    assert [one["unstable"] for one in report["vectors"]] == [True, False, False]
    assert "1 unstable" in result.output


def test_nobody_listening_is_a_sentence(tmp_path: Path) -> None:
    result, report = run("socket://127.0.0.1:1", tmp_path, vectors=FEW[:1])
    assert result.exit_code == 3
    assert "no connection" in report["vectors"][0]["explanation"][0]


def test_a_board_of_two_that_dies_leaves_its_work_to_the_other(
    serve: Any, tmp_path: Path, process: NativeProcess
) -> None:
    broken = serve(fake.answers_hello(b""))
    result, report = run(
        broken, tmp_path, "--board", f"socket://127.0.0.1:{process.port}", "--retries", "0"
    )
    verdicts = sorted(one["verdict"] for one in report["vectors"])
    assert verdicts == ["pass", "pass", "protocol"]
    assert result.exit_code == 3


def test_a_recover_command_runs_a_bounded_number_of_times(serve: Any, tmp_path: Path) -> None:
    mark = tmp_path / "revived"
    script = tmp_path / "revive.sh"
    script.write_text(f"echo again >> {mark}\n", encoding="utf-8")
    words = ("--recover", f"sh {script}", "--recover-tries", "2")
    result, report = run(serve(fake.silent), tmp_path, *words, vectors=FEW[:1])
    assert result.exit_code == 3
    assert mark.read_text(encoding="utf-8").count("again") == 2
    assert "ran 2 times without reviving it" in report["vectors"][0]["explanation"][0]


def test_identify_names_what_is_there_and_what_is_not(serve: Any, process: NativeProcess) -> None:
    result = xlate("board", "identify", f"socket://127.0.0.1:{process.port}")
    assert result.exit_code == 0, result.output
    assert "(minimal)" in result.output
    result = xlate("board", "identify", serve(fake.silent))
    assert result.exit_code == 3
    assert "silent within" in result.output


@pytest.mark.parametrize(
    ("name", "code", "part"),
    [
        ("nativ", 2, 'did you mean "native"'),
        ("/dev/ttyNOTHERE7", 3, "no such port"),
        ("FFFF:FFFE", 3, "no such board"),
        ("socket://nowhere", 2, "expected socket://HOST:PORT"),
        ("reference", 2, "board `reference` has no line to ask who it is"),
    ],
)
def test_a_name_that_names_nothing(name: str, code: int, part: str) -> None:
    result = xlate("board", "identify", name)
    assert result.exit_code == code
    assert len(result.output.splitlines()) == 1
    assert part in result.output
    assert "Traceback" not in result.output


def test_a_state_field_that_is_none_is_answered_with_the_nearest(process: NativeProcess) -> None:
    url = f"socket://127.0.0.1:{process.port}"
    words = ("board", "state", url, "--pairing", str(PAIRINGS / "minimal"))
    assert xlate(*words, "power").exit_code == 0
    result = xlate(*words, "powr.mode")
    assert result.exit_code == 2
    told = "no state field begins with powr.mode; nearest valid name: power.mode"
    assert result.output.strip() == told


def test_vectors_are_not_begun_on_an_address_that_is_none(tmp_path: Path) -> None:
    result = xlate("vectors", "run", *FEW, "--board", "socket://host", "--out", str(tmp_path / "a"))
    assert result.exit_code == 2
    assert result.output == "socket://host: no TCP address; expected socket://HOST:PORT\n"
    assert list(tmp_path.iterdir()) == []
