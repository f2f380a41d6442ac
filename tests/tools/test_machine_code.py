"""The readable engine in machine code does what its files say: the corpus passes on it."""

import subprocess
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


@pytest.mark.slow
def test_the_fast_form_leaves_an_engine_in_machine_code_to_itself(tmp_path: Path) -> None:
    """Its steps take no recording numbers: who asks for the fast form gets the readable engine."""
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
