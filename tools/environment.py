"""The set-up that ``demo.py`` and ``test.py`` share: the virtual environment and child processes.

Standard library only, since it runs before anything is installed. The environment is ``.venv`` in
the project root. A stamp inside it remembers what was installed (hash of ``pyproject.toml``, the
Python version, the place of the project), so that the second run starts at once. An interrupted
set-up leaves a marker, and the next run starts that environment afresh.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import io
import json
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
_BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
_SUFFIX = ".exe" if os.name == "nt" else ""
PYTHON = _BIN / f"python{_SUFFIX}"
XLATE = _BIN / f"xlate{_SUFFIX}"

_STAMP = VENV / "xlate-set-up.json"
_IN_PROGRESS = VENV / "xlate-set-up-in-progress"
_LOG = VENV / "xlate-set-up.log"
_LOCK = ROOT / ".venv.lock"

PAIRINGS = ROOT / "fixtures" / "pairings"
VECTORS = ROOT / "fixtures" / "vectors"
LOGS = ROOT / "fixtures" / "logs"

_UNREACHABLE = re.compile(
    r"Retrying \(Retry|connection broken|ConnectionError|NewConnectionError|Max retries exceeded"
    r"|name resolution|timed out|ProxyError|Network is unreachable",
    re.IGNORECASE,
)


_running: set[subprocess.Popen[str]] = set()


class SetUpError(Exception):
    """The environment cannot be made; the text is one clear line for the person."""


@dataclass(frozen=True, slots=True)
class Requirement:
    """Something outside Python that a step needs; it is named only where a step needs it."""

    what: str
    why: str
    how: str
    present: Callable[[], bool]


def _has_c_compiler() -> bool:
    return any(shutil.which(name) for name in ("cc", "gcc", "clang"))


C_COMPILER = Requirement(
    what="a C compiler (cc, gcc or clang)",
    why="builds the firmware core for this machine",
    how="Debian: apt-get install gcc libc6-dev; macOS: xcode-select --install; "
    "Windows: install LLVM and put clang on PATH",
    present=_has_c_compiler,
)

ARM_COMPILER = Requirement(
    what="a compiler for the STM32F405 (arm-none-eabi-gcc)",
    why="builds the firmware of the board and of its emulator",
    how="Debian: apt-get install --no-install-recommends gcc-arm-none-eabi libnewlib-arm-none-eabi",
    present=lambda: shutil.which("arm-none-eabi-gcc") is not None,
)
EMULATOR = Requirement(
    what="the emulator qemu-system-arm",
    why="runs the firmware of the STM32F405 without the board",
    how="Debian: apt-get install --no-install-recommends qemu-system-arm",
    present=lambda: shutil.which("qemu-system-arm") is not None,
)
CPPCHECK = Requirement(
    what="cppcheck with its addon misra",
    why="reads the C sources for violations of MISRA C",
    how="Debian: apt-get install --no-install-recommends cppcheck",
    present=lambda: shutil.which("cppcheck") is not None,
)
COVERAGE = Requirement(
    what="gcc with gcovr",
    why="counts which decisions of the C core the corpora take",
    how="Debian: apt-get install --no-install-recommends gcc libc6-dev gcovr",
    present=lambda: shutil.which("gcc") is not None and shutil.which("gcovr") is not None,
)


def _has_fuzzer() -> bool:
    clang = shutil.which("clang")
    if clang is None:
        return False
    asked = [clang, "--print-file-name=libclang_rt.fuzzer-x86_64.a"]
    asked_runtime = [clang, "--print-resource-dir"]
    for command in (asked, asked_runtime):
        code, output = run(command)
        place = Path(output.strip())
        if code == 0 and (place.is_file() or any(place.glob("lib/**/libclang_rt.fuzzer*"))):
            return True
    return False


FUZZER = Requirement(
    what="clang with libFuzzer",
    why="throws arbitrary octets at the link decoder and at the core's receive",
    how="Debian: apt-get install --no-install-recommends clang libclang-rt-14-dev",
    present=_has_fuzzer,
)


def unmet(requirements: Sequence[Requirement]) -> list[Requirement]:
    """The requirements that this machine does not meet, in the order given."""
    return [requirement for requirement in requirements if not requirement.present()]


def use_utf8() -> None:
    """Write our own output as UTF-8 whatever the console's code page is."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(encoding="utf-8", errors="replace", line_buffering=True)


def say(text: str = "") -> None:
    """Print one line at once, so that it stands before the output of the next child."""
    print(text, flush=True)


def child_environment() -> dict[str, str]:
    """The environment of every child: UTF-8, unbuffered, our ``.venv`` first.

    ``PYTHONPATH`` and ``PYTHONHOME`` are dropped: a path to ``tools/`` in them would let
    ``tools/test.py`` shadow the standard package ``test``. Compiled modules may be kept, whatever
    the person's shell says: thousands of short child processes would compile everything anew.
    """
    environment = dict(os.environ)
    for name in ("PYTHONPATH", "PYTHONHOME", "PYTHONDONTWRITEBYTECODE"):
        environment.pop(name, None)
    environment["PYTHONUTF8"] = "1"
    environment["PYTHONUNBUFFERED"] = "1"
    environment["VIRTUAL_ENV"] = str(VENV)
    environment["PATH"] = str(_BIN) + os.pathsep + environment.get("PATH", "")
    return environment


def run(command: Sequence[str], on_line: Callable[[str], None] | None = None) -> tuple[int, str]:
    """Run a child in the project root without input; return its exit code and its whole output.

    ``on_line`` is called for every line as it comes. Ctrl-C ends the child before it is passed on.
    A command that cannot be started at all answers 127 and the reason.
    """
    try:
        child = subprocess.Popen(
            command,
            cwd=ROOT,
            env=child_environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            encoding="utf-8",
            errors="replace",
        )
    except OSError as error:
        return 127, f"cannot start {Path(command[0]).name}: {error.strerror}\n"
    lines: list[str] = []
    _running.add(child)
    try:
        assert child.stdout is not None
        for line in child.stdout:
            lines.append(line)
            if on_line is not None:
                on_line(line.rstrip("\r\n"))
        return child.wait(), "".join(lines)
    finally:
        _end(child)
        _running.discard(child)


def end_children() -> None:
    """Tell the children that other threads run to end."""
    for child in list(_running):
        child.terminate()


def _end(child: subprocess.Popen[str]) -> None:
    """End a child that still runs: it had Ctrl-C from the terminal, so first give it a moment."""
    for act in (None, child.terminate, child.kill):
        if act is not None:
            act()
        try:
            child.wait(timeout=3)
            return
        except subprocess.TimeoutExpired:
            continue


def set_up(extra: str | None = None) -> None:
    """Make ``.venv`` ready with the project in it, and with the named extra if one is asked for.

    Raises ``SetUpError`` with one clear line. Two runs at once wait for each other.
    """
    with _alone():
        version = None if _IN_PROGRESS.exists() else _probe()
        stamp = _fingerprint(version) if version else ""
        done, extras = _read_stamp()
        wanted = sorted(extras | ({extra} if extra else set()))
        if version and done == stamp and set(wanted) <= extras and XLATE.exists():
            return
        if version is None:
            _create()
            version = _probe()
            if version is None:
                raise SetUpError("the new .venv does not work: remove the folder .venv, try again")
        _install(wanted)
        _write_stamp(_fingerprint(version), wanted)


def _probe() -> str | None:
    """The Python version inside ``.venv``, or nothing when it is absent, too old or has no pip."""
    if not PYTHON.exists():
        return None
    code, output = run(
        [str(PYTHON), "-I", "-c", "import pip, sys; print('%d.%d.%d' % sys.version_info[:3])"]
    )
    found = re.fullmatch(r"(\d+)\.(\d+)\.\d+", output.strip())
    if code != 0 or found is None or (int(found[1]), int(found[2])) < (3, 11):
        return None
    return found[0]


def _fingerprint(version: str) -> str:
    """Hash of what the installation depends on; scripts in ``.venv`` hold the project's place."""
    digest = hashlib.sha256((ROOT / "pyproject.toml").read_bytes())
    digest.update(f"\0{version}\0{ROOT}".encode())
    return digest.hexdigest()


def _read_stamp() -> tuple[str, set[str]]:
    try:
        stamp = json.loads(_STAMP.read_text(encoding="utf-8"))
        return str(stamp["fingerprint"]), {str(extra) for extra in stamp["extras"]}
    except (OSError, ValueError, KeyError, TypeError):
        return "", set()


def _write_stamp(fingerprint: str, extras: list[str]) -> None:
    temporary = _STAMP.with_suffix(".tmp")
    text = json.dumps({"fingerprint": fingerprint, "extras": extras}) + "\n"
    temporary.write_text(text, encoding="utf-8")
    temporary.replace(_STAMP)
    _IN_PROGRESS.unlink(missing_ok=True)


def _create() -> None:
    """Make ``.venv`` afresh; whatever an interrupted set-up left there goes."""
    if Path(sys.prefix).resolve() == VENV.resolve():
        raise SetUpError("the .venv is incomplete and runs this script: use the system's python3")
    if importlib.util.find_spec("ensurepip") is None:
        raise SetUpError("this Python cannot make a .venv; Debian: apt-get install python3-venv")
    say("Setting up: making .venv")
    code, output = run([sys.executable, "-m", "venv", "--clear", str(VENV)])
    if code != 0:
        raise SetUpError(f"python -m venv failed: {last_line(output)}")


def _install(extras: list[str]) -> None:
    """Install the project editable; the whole of pip's output goes to a file inside ``.venv``."""
    say("Setting up: installing the project and its libraries (the first time takes a minute)")
    _IN_PROGRESS.touch()
    target = f".[{','.join(extras)}]" if extras else "."
    pip = [str(PYTHON), "-m", "pip", "install", "--no-input", "--disable-pip-version-check"]
    code, output = run([*pip, "-e", target])
    _LOG.write_text(output, encoding="utf-8")
    if code == 0:
        return
    if _UNREACHABLE.search(output):
        raise SetUpError("pip cannot reach the package index: check the network, then run again")
    raise SetUpError(f"pip failed: {last_line(output)} (all of it: .venv/{_LOG.name})")


def last_line(output: str) -> str:
    """Return the last line of a program's output that says something; of its errors, if any."""
    lines = [line.strip() for line in output.splitlines() if line.strip()]
    errors = [line for line in lines if line.startswith("ERROR")]
    return (errors or lines or ["no output"])[-1]


@contextlib.contextmanager
def _alone() -> Iterator[None]:
    """Hold the set-up lock; the system frees it when its holder ends, however that ends."""
    with _LOCK.open("a+", encoding="utf-8") as lock:
        told = False
        while not _try_lock(lock.fileno()):
            if not told:
                say("Setting up: another run is setting up; waiting for it")
                told = True
            time.sleep(0.5)
        yield


if sys.platform == "win32":
    import msvcrt

    def _try_lock(descriptor: int) -> bool:
        os.lseek(descriptor, 0, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _try_lock(descriptor: int) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
