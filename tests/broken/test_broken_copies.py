"""Deliberately broken copies of the reference: some vector notices every one of them.

And the harness itself, shown what it must not take for a catch.
"""

import importlib
from pathlib import Path

import pytest

from tests.broken.harness import (
    PACKAGE,
    ROOT,
    Mistake,
    StaleMistakeError,
    break_copy,
    broken_text,
    copy_engine,
    mend_copy,
    run_vectors,
    vector_file,
)

LISTS = sorted(path.stem for path in Path(__file__).parent.glob("mistakes*.py"))
MISTAKES: tuple[Mistake, ...] = tuple(
    one for name in LISTS for one in importlib.import_module(f"tests.broken.{name}").MISTAKES
)
VECTORS = ROOT / "fixtures" / "vectors"
EXAMPLE = "minimal/deadline_exact"


def verdict(folder: Path, mistake: Mistake | None, name: str) -> str:
    vector = vector_file(name, VECTORS)
    return run_vectors(copy_engine(folder, mistake), [vector])[str(vector)]


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One copy for all mistakes: it is broken and mended again."""
    return copy_engine(tmp_path_factory.mktemp("copy"))


@pytest.mark.slow
@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.name)
def test_the_vector_catches_the_mistake(mistake: Mistake, copy: Path) -> None:
    vector = vector_file(mistake.caught_by, VECTORS)
    break_copy(copy, mistake)
    try:
        assert run_vectors(copy, [vector]) == {str(vector): "mismatch"}
    finally:
        mend_copy(copy, mistake)


@pytest.mark.long(20)
@pytest.mark.slow
def test_the_same_vectors_pass_on_an_unbroken_copy(tmp_path: Path) -> None:
    vectors = sorted({vector_file(mistake.caught_by, VECTORS) for mistake in MISTAKES})
    verdicts = run_vectors(copy_engine(tmp_path), vectors)
    assert verdicts == {str(vector): "pass" for vector in vectors}


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.name)
def test_the_mistake_fits_the_engine_once(mistake: Mistake) -> None:
    text = (ROOT / PACKAGE / mistake.file).read_text(encoding="utf-8")
    broken = broken_text(mistake, text)
    compile(broken, mistake.file, "exec")
    assert broken != text


def test_every_mistake_has_its_own_name() -> None:
    assert len({mistake.name for mistake in MISTAKES}) == len(MISTAKES)


@pytest.mark.parametrize("old", ["this text stands nowhere", "return"])
def test_a_text_that_is_not_there_exactly_once_is_refused(old: str, tmp_path: Path) -> None:
    mistake = Mistake("stale", "arithmetic.py", old, "pass", EXAMPLE)
    with pytest.raises(StaleMistakeError, match="expected once"):
        copy_engine(tmp_path, mistake)


def test_a_change_that_changes_nothing_is_refused() -> None:
    line = "INT32_MIN = -(1 << 31)"
    with pytest.raises(StaleMistakeError, match="changes nothing"):
        broken_text(Mistake("none", "arithmetic.py", line, line, EXAMPLE), line)


def test_a_harmless_change_is_no_mismatch(tmp_path: Path) -> None:
    line = "INT32_MIN = -(1 << 31)"
    harmless = Mistake("harmless", "arithmetic.py", line, "INT32_MIN = -(2**31)", EXAMPLE)
    assert verdict(tmp_path, harmless, EXAMPLE) == "pass"


def test_a_crash_is_no_mismatch(tmp_path: Path) -> None:
    line = "if reading >= expiry:"
    crashing = Mistake("crash", "reception.py", line, "if reading >= missing_name:", EXAMPLE)
    assert verdict(tmp_path, crashing, EXAMPLE).startswith("crash: NameError")


def test_an_engine_that_cannot_be_read_is_no_mismatch(tmp_path: Path) -> None:
    line = "INT32_MIN = -(1 << 31)"
    unreadable = Mistake("unreadable", "arithmetic.py", line, "INT32_MIN = = 1", EXAMPLE)
    assert verdict(tmp_path, unreadable, EXAMPLE).startswith("crash: SyntaxError")


def test_a_vector_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match="no vector `minimal/nothing`"):
        vector_file("minimal/nothing", tmp_path)
