"""Ctrl-C in long work: it ends soon with exit code 4, says how far it came and how to go on."""

import os
import re
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from importlib.machinery import EXTENSION_SUFFIXES
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from hil import disturbed_runs
from hil.boards import native as native_board
from hil.boards.native import NativeBoard
from hil.comparison import compare
from hil.link.port import Port
from hil.mutation import making, trial
from hil.mutation import survey as surveying
from hil.mutation.making import Mutant
from hil.mutation.trial import Fate
from hil.soak import running
from hil.soak.running import Round
from tests.link.helpers import ROOT, pairings, program, short_vectors, vector
from tools.cli.main import main
from tools.environment import C_COMPILER
from tools.logs.inspection import trial as inspecting

needs_compiler = pytest.mark.skipif(
    not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}"
)


def xlate(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def going_on(result: Result) -> list[str]:
    """The words of the command that goes on, which the last line of the errors names."""
    assert result.exit_code == 4, result.output
    said = re.search(r"interrupted after .*; go on with: xlate (.*)", result.stderr)
    assert said is not None, result.stderr
    return shlex.split(said[1])


class Interrupted:
    """A line on which the third reading is a Ctrl-C, which ends the board as well."""

    def __init__(self, port: Port) -> None:
        self.name = port.name
        self.port = port
        self.readings = 0

    def write(self, octets: bytes) -> None:
        self.port.write(octets)

    def read(self, timeout_s: float) -> bytes:
        self.readings += 1
        if self.readings == 3:
            self.port.close()
            raise KeyboardInterrupt
        return self.port.read(timeout_s)

    def close(self) -> None:
        self.port.close()


@needs_compiler
def test_a_line_that_is_gone_does_not_swallow_the_interrupt() -> None:
    longest = max(short_vectors(ticks=100_000, most=99), key=lambda path: path.stat().st_size)
    loaded, names = vector(str(longest))
    board = NativeBoard(pairings().names("minimal").pairing, program(), wrap=Interrupted)
    try:
        with pytest.raises(KeyboardInterrupt):
            compare(loaded, names, board)
    finally:
        board.close()


@needs_compiler
def test_disturbed_runs_say_how_many_were_done_and_go_on_there(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    run = disturbed_runs.compare
    seeds = []
    trouble_of = disturbed_runs.trouble_of

    def noted(seed: int, *rest: Any) -> Any:
        seeds.append(seed)
        return trouble_of(seed, *rest)

    def interrupted_in_the_third(*words: Any) -> Any:
        if len(seeds) == 3:
            raise KeyboardInterrupt
        return run(*words)

    monkeypatch.setattr(disturbed_runs, "trouble_of", noted)
    monkeypatch.setattr(disturbed_runs, "compare", interrupted_in_the_third)
    result = xlate("board", "disturb", "--runs", 5, "--seed", 40)
    assert "interrupted after 2 of 5 runs" in result.stderr
    assert "2 disturbed runs from seed 40" in result.stdout
    words = going_on(result)
    assert seeds == [40, 41, 42]
    monkeypatch.setattr(disturbed_runs, "compare", run)
    rest = xlate(*words)
    assert rest.exit_code == 0, rest.output
    assert "3 disturbed runs from seed 40, run 2" in rest.stdout
    assert seeds == [40, 41, 42, 42, 43, 44]


def test_a_first_run_behind_the_last_is_refused() -> None:
    result = xlate("board", "disturb", "--runs", 5, "--first-run", 5)
    assert result.exit_code == 2
    assert result.stderr.strip() == "--first-run: found 5, expected 0..4"


def test_an_interrupt_while_the_board_is_built_counts_as_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def interrupted(*words: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(native_board, "executable", interrupted)
    result = xlate("board", "disturb", "--runs", 5)
    assert going_on(result)[-2:] == ["--first-run", "0"]
    monkeypatch.setattr("hil.boards.serial_line.candidates", interrupted)
    listed = xlate("board", "list")
    assert listed.exit_code == 4
    assert listed.stderr.strip() == "interrupted"


def test_the_soak_goes_on_with_the_seed_that_was_not_finished(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def rounds(seed: int, keep: Path) -> Iterator[Round]:
        for style in (*running.STYLES, running.STYLES[0]):
            yield Round(seed + (style is running.STYLES[0] and seeds_done), style, 1000, "")
        raise KeyboardInterrupt

    seeds_done = 0
    monkeypatch.setattr(running, "rounds", rounds)
    result = xlate("board", "soak", "--seed", 7, "--million-ticks", 1, "--keep", tmp_path / "kept")
    assert "4 rounds" in result.stdout
    assert going_on(result) == [
        *("board", "soak", "--seed", "7", "--million-ticks", "0.996"),
        *("--keep", str(tmp_path / "kept")),
    ]


TELL = """\
import sys
sys.path.insert(0, sys.argv[1])
from tools.cli.interrupted import leave
leave("nothing", "board", "soak")
"""


@pytest.mark.parametrize("translated", [False, True])
def test_what_ran_in_machine_code_goes_on_in_it(tmp_path: Path, translated: bool) -> None:
    """The command in machine code is a process of its own: it knows by the engine it finds."""
    package = tmp_path / "xlate_core"
    package.mkdir()
    (package / "__init__.py").write_text("", encoding="utf-8")
    suffix = EXTENSION_SUFFIXES[0] if translated else ".py"
    (package / f"bridge{suffix}").write_bytes(b"")
    done = subprocess.run(
        [sys.executable, "-c", TELL, str(tmp_path)],
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    words = "xlate --machine-code board soak" if translated else "xlate board soak"
    assert done.stderr == f"interrupted after nothing; go on with: {words}\n"
    assert done.returncode == 4


class Judged:
    """Judges mutants by their order; an interrupt comes with the fourth."""

    def __init__(self) -> None:
        self.seen: list[int] = []

    def __call__(self, ranges: object, file: str, text: str, folder: Path) -> tuple[Fate, str]:
        number = int(text)
        self.seen.append(number)
        if number == 3:
            raise KeyboardInterrupt
        return (Fate.EQUAL if number == 1 else Fate.CAUGHT), ""


def test_the_mutants_go_on_behind_the_last_that_was_judged(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    judged = Judged()
    made = [Mutant("arithmetic.c", 1, "a", "b", str(number)) for number in range(40)]
    monkeypatch.setattr(trial, "prepare", lambda *words: None)
    monkeypatch.setattr(making, "make", lambda seed: made)
    monkeypatch.setattr(surveying, "judge", judged)
    result = xlate("firmware", "mutants", "--count", 6, "--seed", 5)
    assert "2 of 2 caught" in result.stdout
    words = going_on(result)
    assert words == [
        *("firmware", "mutants", "--seed", "5", "--jobs", "1"),
        *("--count", "4", "--first-mutant", "3"),
    ]
    assert max(judged.seen) < 8, "what had not begun is dropped"
    judged.seen.clear()
    monkeypatch.setattr(surveying, "judge", lambda *words: (Fate.CAUGHT, ""))
    rest = xlate(*words)
    assert rest.exit_code == 0
    assert "4 of 4 caught" in rest.stdout


def test_mutants_interrupted_before_the_first_say_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*words: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(trial, "prepare", lambda *words: None)
    made = [Mutant("arithmetic.c", 1, "a", "b", "0")]
    monkeypatch.setattr(making, "make", lambda seed: made)
    monkeypatch.setattr(surveying, "judge", interrupted)
    result = xlate("firmware", "mutants", "--count", 1)
    assert result.stdout == "0 of 0 caught: 0.0 % (none judged; 0 survivors do the same)\n"
    assert going_on(result)[-2:] == ["--first-mutant", "0"]


def test_every_mutant_has_its_turn_whatever_the_jobs(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[int] = []

    def judge(ranges: object, file: str, text: str, folder: Path) -> tuple[Fate, str]:
        seen.append(int(text))
        return Fate.CAUGHT, ""

    monkeypatch.setattr(surveying, "judge", judge)
    made = [Mutant("arithmetic.c", 1, "a", "b", str(number)) for number in range(40)]
    for jobs in (1, 3):
        seen.clear()
        found = surveying.survey(made, [], 40, Path("unused"), jobs)
        assert sorted(seen) == list(range(40))
        assert found.taken == 40


def test_the_trial_of_the_inspection_goes_on_with_the_next_network(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    inspect = inspecting.inspect
    seen = []

    def interrupted_at_second(table: Any) -> Any:
        if len(seen) == 1:
            raise KeyboardInterrupt
        seen.append(table)
        return inspect(table)

    monkeypatch.setattr(inspecting, "inspect", interrupted_at_second)
    small = ("--networks", 3, "--seed", 20, "--seconds", 10, "--messages", 3)
    result = xlate("log", "try-inspect", *small)
    assert "1 invented networks from seed 20" in result.stdout
    assert going_on(result) == [
        *("log", "try-inspect", "--networks", "2", "--seed", "21"),
        *("--seconds", "10", "--messages", "3"),
    ]
    table = tmp_path / "table.json"
    again = going_on(xlate("log", "try-inspect", *small, "--calibrate", table))
    assert again[again.index("--networks") :] == [str(word) for word in small]
    assert not table.exists(), "a calibration is whole or not there"


AT_A_TERMINAL = """\
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)
from tools.cli.main import main
main()
"""
"""The command as a terminal starts it; whoever runs the tests may ignore interrupts."""


@needs_compiler
@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="a console's Ctrl-C reaches the test itself there")
def test_one_ctrl_c_at_a_terminal_ends_it_soon(tmp_path: Path) -> None:
    """The signal goes to the whole group, as a terminal sends it: to the board as well."""
    program()
    command = [sys.executable, "-c", AT_A_TERMINAL, "board", "disturb"]
    with (tmp_path / "said").open("w+", encoding="utf-8") as said:
        child = subprocess.Popen(
            command,
            cwd=ROOT,
            stdout=said,
            stderr=said,
            start_new_session=True,
        )
        try:
            time.sleep(6.0)
            assert child.poll() is None
            os.killpg(child.pid, signal.SIGINT)
            assert child.wait(10.0) == 4
        finally:
            if child.poll() is None:
                os.killpg(child.pid, signal.SIGKILL)
                child.wait()
        said.seek(0)
        assert re.search(r"interrupted after \d+ of 100000 runs; go on with: xlate", said.read())
