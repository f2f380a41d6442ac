"""The readable engine in machine code does what its files say: the corpus passes on it."""

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from tools import machine_code
from tools.cli.main import main
from xlate_core.errors import InputError

ROOT = Path(__file__).resolve().parents[2]
DECLARED = """\
@dataclass(slots=True)
class State(Base):
    age: int = 0

    FIELDS: ClassVar[tuple[int, ...]] = (
        1,
        2,
    )
    more: int = 0
"""
APART = """\
class _StateDeclared:
    FIELDS: ClassVar[tuple[int, ...]] = (
        1,
        2,
    )
@dataclass(slots=True)
class State(_StateDeclared, Base):
    age: int = 0

    more: int = 0
"""


def test_what_a_dataclass_declares_moves_to_a_base_class() -> None:
    assert machine_code.with_declarations_apart(DECLARED) == APART
    alone = "class Plain:\n    FIELDS: ClassVar[int] = 1\n"
    assert machine_code.with_declarations_apart(alone) == alone


def test_what_is_missing_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(machine_code.importlib.util, "find_spec", lambda _: None)
    with pytest.raises(InputError, match="needs the package mypy: pip install"):
        machine_code.environment(print)
    answer = CliRunner().invoke(main, ["--machine-code", "pairing", "--help"])
    assert answer.exit_code == 2
    assert "machine code needs the package mypy" in answer.output


def test_without_a_compiler_one_line_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(machine_code.shutil, "which", lambda _: None)
    with pytest.raises(InputError, match="needs the C compiler"):
        machine_code.environment(print)


def test_an_engine_nobody_has_used_for_long_is_forgotten(tmp_path: Path) -> None:
    days = {"engine_old": 8, "engine_used": 6, "something_else": 30}
    for name, age in days.items():
        (tmp_path / name).mkdir()
        then = time.time() - age * 24 * 3600
        os.utime(tmp_path / name, (then, then))
    machine_code._forget_unused(tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {"engine_used", "something_else"}


@pytest.mark.skipif(os.name == "nt", reason="signals are of another kind there")
def test_an_interrupt_while_the_command_is_started_reaches_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    start = subprocess.Popen
    waits = "from tools.cli import hearing\nhearing.hear()\nimport time\ntime.sleep(50)\n"

    def interrupted(command: object, env: dict[str, str]) -> subprocess.Popen[bytes]:
        signal.raise_signal(signal.SIGINT)
        return start([sys.executable, "-c", waits], cwd=ROOT)

    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    monkeypatch.setattr(machine_code, "environment", lambda said: {})
    monkeypatch.setattr(machine_code.subprocess, "Popen", interrupted)
    began = time.monotonic()
    try:
        assert machine_code.run([], print) == 4
    finally:
        signal.signal(signal.SIGINT, before)
    assert time.monotonic() - began < 40


@pytest.mark.long(100)
@pytest.mark.slow
def test_the_whole_corpus_passes_in_machine_code() -> None:
    environment = machine_code.environment(print)
    where = "import xlate_core.bridge as engine; print(engine.__file__)"
    told = subprocess.run(
        [*machine_code.PYTHON, "-c", where], env=environment, capture_output=True, check=True
    )
    assert not told.stdout.strip().endswith(b".py")
    command = [*machine_code.PYTHON, "-m", "tools.cli.main", "vectors", "run"]
    done = subprocess.run(
        command, env=environment, cwd=ROOT, capture_output=True, encoding="utf-8", check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    count = sum(1 for path in (ROOT / "fixtures" / "vectors").rglob("*.vector*") if path.is_file())
    assert f"{count} vectors: {count} pass" in done.stdout


COLOURS = """\
from enum import IntEnum
from elsewhere import Shape

MOST = 3


class Colour(IntEnum):
    RED = 0
    BLUE = 1


def paint(colour: Colour) -> bool:
    return colour is Colour.BLUE and Shape.ROUND == Shape.other()
"""
FINAL = """\
from enum import IntEnum
from elsewhere import Shape
from typing import Final
_Shape_ROUND: Final = Shape.ROUND

MOST: Final = 3


class Colour(IntEnum):
    RED = 0
    BLUE = 1
_Colour_BLUE: Final = Colour.BLUE


def paint(colour: Colour) -> bool:
    return colour is _Colour_BLUE and _Shape_ROUND == Shape.other()
"""


def test_constants_and_members_become_final_names() -> None:
    members = machine_code.enumerations([COLOURS])
    assert members == {"Colour": {"RED", "BLUE"}}
    assert machine_code.with_constants(COLOURS, {**members, "Shape": {"ROUND"}}) == FINAL


def test_a_pairing_the_fast_form_does_not_know_is_said() -> None:
    folder = ROOT / "fixtures" / "pairings" / "long_nights"
    answer = CliRunner().invoke(main, ["pairing", "translate", str(folder)])
    assert answer.exit_code == 2
    assert "bus states, sleep and received profiles run on the engine alone" in answer.output


def test_more_functions_than_a_mask_has_bits_are_said_before_anything_is_translated(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def forbidden(_: object) -> Path:
        raise AssertionError("a translation was begun")

    monkeypatch.setattr(machine_code, "_translated", forbidden)
    folder = tmp_path / "minimal"
    shutil.copytree(ROOT / "fixtures" / "pairings" / "minimal", folder)
    bridge = folder / "bridge.toml"
    more = [
        f"[quantity.more_{number}]\nresolution = 1\nrange = [0, 1]\nwatch_only = true\n"
        f'[[function]]\nname = "more_{number}"\nkind = "mapping"\ninput = "key"\n'
        f'output = "more_{number}"\nscale = 1\noffset = 0\non_loss = 0\n'
        for number in range(63)
    ]
    bridge.write_text(bridge.read_text("utf-8") + "\n".join(more), "utf-8")
    answer = CliRunner().invoke(main, ["pairing", "translate", str(folder)])
    assert answer.exit_code == 2
    assert answer.output.strip() == (
        f"{bridge.as_posix()}: function[63]: found `more_62` at place 64, "
        "expected at most 63, one a bit of a 64-bit number"
    )


@pytest.mark.slow
def test_a_translated_fast_form_is_equal_to_the_engine() -> None:
    """Both in machine code, on a drive and on random traffic with trouble, resets, snapshots."""
    folder = ROOT / "fixtures" / "pairings" / "farm_pickup"
    machine_code.translate(folder, print)
    answer = CliRunner().invoke(main, ["pairing", "translate", str(folder)])
    assert "translated before" in answer.output
    command = [*machine_code.PYTHON, "-m", "tests.compiled.beside", str(folder), "1", "2", "3"]
    environment = machine_code.environment(print)
    done = subprocess.run(
        command, env=environment, cwd=ROOT, capture_output=True, encoding="utf-8", check=False
    )
    assert done.returncode == 0, done.stderr
    count, at_work = map(int, done.stdout.split())
    assert count > at_work > count // 4


@pytest.mark.slow
def test_an_engine_in_machine_code_without_a_translated_text_runs_alone(tmp_path: Path) -> None:
    """Who asks for the fast form gets the readable engine."""
    environment = machine_code.environment(print)
    pairing = ROOT / "fixtures" / "pairings" / "minimal"
    build = ["failsafe", "build", str(pairing), "--brief", "--jobs", "1", "--out", str(tmp_path)]
    for words in (build, ["board", "soak", "--million-ticks", "0.001", "--keep", str(tmp_path)]):
        done = subprocess.run(
            [*machine_code.PYTHON, "-m", "tools.cli.main", *words],
            env=environment,
            cwd=ROOT,
            capture_output=True,
            encoding="utf-8",
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
