"""Ctrl-C from the first line of a command to its last: one line at most, and its own exit code."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
HEARD = """\
import os, signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
def ctrl_c():
    os.kill(os.getpid(), signal.SIGINT)
"""
AT_AN_IMPORT = """\
import builtins, runpy
module, *words = sys.argv[1:]
real = builtins.__import__
def interrupted(name, *rest, **named):
    if name == module:
        builtins.__import__ = real
        ctrl_c()
    return real(name, *rest, **named)
builtins.__import__ = interrupted
sys.argv[1:] = words
runpy.run_module("tools.cli.main", run_name="__main__")
"""
WORK = """\
from tools.cli import hearing
hearing.hear()
hearing.work_begins()
"""
IN_A_MODULE = """\
sys.path.insert(0, sys.argv[1])
try:
    import interrupted_here
    while True:
        pass
except KeyboardInterrupt:
    sys.exit(0 if interrupted_here.WHOLE else 1)
"""
IN_AN_EXEC = """\
try:
    exec("ctrl_c()")
except KeyboardInterrupt:
    sys.exit(4)
"""
AFTER_THE_END = """\
try:
    hearing.run(lambda: sys.exit(3))
finally:
    ctrl_c()
"""
HELD_BACK = """\
signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
ctrl_c()
from tools.cli import hearing
hearing.hear()
"""
IGNORED = """\
signal.signal(signal.SIGINT, signal.SIG_IGN)
from tools.cli import hearing
hearing.hear()
hearing.work_begins()
ctrl_c()
"""

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals are of another kind there")


def ended(text: str, *words: object) -> tuple[int, str]:
    """Run a text as a program that hears interrupts; return its exit code and errors."""
    done = subprocess.run(
        [sys.executable, "-c", HEARD + text, *map(str, words)],
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
        check=False,
        timeout=60,
    )
    return done.returncode, done.stderr


@pytest.mark.parametrize("module", ["click", "hil.collecting", "tools.timing.bus_report", "numpy"])
def test_an_interrupt_while_a_command_starts_is_one_line(module: str) -> None:
    words = ("timing", "bus", ROOT / "fixtures" / "pairings" / "minimal")
    assert ended(AT_AN_IMPORT, module, *words) == (4, "interrupted\n")


def test_an_interrupt_in_an_import_waits_until_it_is_done(tmp_path: Path) -> None:
    text = "from __main__ import ctrl_c\nctrl_c()\nWHOLE = True\n"
    (tmp_path / "interrupted_here.py").write_text(text, encoding="utf-8")
    assert ended(WORK + IN_A_MODULE, tmp_path) == (0, "")


def test_an_interrupt_out_of_an_exec_leaves_the_exit_code() -> None:
    assert ended(WORK + IN_AN_EXEC) == (4, "")


def test_an_interrupt_after_the_end_leaves_the_exit_code() -> None:
    assert ended(WORK + AFTER_THE_END) == (3, "")


def test_an_interrupt_held_back_by_the_parent_is_heard() -> None:
    assert ended(HELD_BACK) == (4, "interrupted\n")


def test_who_ignores_interrupts_goes_on_doing_so() -> None:
    assert ended(IGNORED) == (0, "")
