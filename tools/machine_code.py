"""The readable engine in machine code: its own files, translated by mypyc, kept apart from them.

The files stay the definition and nothing in them is bent: a copy of `xlate_core` is translated, in
a folder named after all it was made of, so a change of any file makes it anew and an old
translation is never taken for the new engine. What runs with `environment()` imports that copy.
Only the engine is translated; reading a pairing and the fast form stay Python.
"""

import ast
import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from collections.abc import Callable, Sequence
from importlib import metadata
from pathlib import Path

from hil.cache import cache_folder, digest_of
from tools.environment import last_line
from xlate_core.errors import InputError

ROOT = Path(__file__).resolve().parents[1]
ENGINE = ROOT / "xlate_core"
PYTHON = (sys.executable, "-P")  # -P: the folder it is started in does not come first
STAY_PYTHON = ("pairing", "compiled")
EVERY_S = 10.0  # between two lines while the translation goes on
TRANSLATE = """\
import sys
from mypyc.build import mypycify
from setuptools import setup
modules = mypycify(["--ignore-missing-imports", *sys.argv[1:]], opt_level="2")
setup(name="engine", ext_modules=modules, script_args=["-q", "build_ext", "--inplace"])
"""


def environment(said: Callable[[str], None]) -> dict[str, str]:
    """Return the environment in which a Python finds the engine in machine code.

    The translation is made first when there is none; `said` gets a line now and then meanwhile.
    Start it as PYTHON. Raises InputError when mypyc, setuptools or a C compiler is missing, or
    says no.
    """
    folder = _translated(said)
    path = os.pathsep.join((str(folder), str(ROOT)))
    return {**os.environ, "PYTHONPATH": path, "PYTHONSAFEPATH": "1"}


def run(words: Sequence[str], said: Callable[[str], None]) -> int:
    """Run `xlate` with these words on the engine in machine code; return its exit code."""
    command = [*PYTHON, "-m", "tools.cli.main", *words]
    with subprocess.Popen(command, env=environment(said)) as child:
        while True:
            try:
                return child.wait()
            except KeyboardInterrupt:
                continue  # the command was told too, and says itself how far it came


def _translated(said: Callable[[str], None]) -> Path:
    """Return the folder of the translated engine."""
    _demand_tools()
    folder = cache_folder() / f"engine_{_ingredients()}"
    if folder.is_dir():
        return folder
    said("engine: translating into machine code, once for each state of its files")
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".engine-", dir=folder.parent) as temporary:
        made = Path(temporary) / "made"
        shutil.copytree(
            ENGINE, made / ENGINE.name, ignore=shutil.ignore_patterns("__pycache__", "*.so")
        )
        modules = [path for path in sorted(_modules(made / ENGINE.name)) if _translate(path)]
        _run([str(path.relative_to(made)) for path in modules], made, said)
        shutil.rmtree(made / "build", ignore_errors=True)
        try:
            made.rename(folder)
        except OSError:
            if not folder.is_dir():  # another process was quicker
                raise
    return folder


def _modules(engine: Path) -> list[Path]:
    """Return the modules that a tick runs through."""
    return [
        path
        for path in engine.rglob("*.py")
        if path.relative_to(engine).parts[0] not in (*STAY_PYTHON, "__init__.py")
    ]


def _translate(path: Path) -> bool:
    """Put a module of the copy into the form mypyc needs; False when it holds no code."""
    text = path.read_text(encoding="utf-8")
    path.write_text(with_declarations_apart(text), encoding="utf-8")
    return any(not isinstance(node, ast.Expr) for node in ast.parse(text).body)


def with_declarations_apart(text: str) -> str:
    """Return a module with the ClassVars of each dataclass moved to a base class of their own.

    mypyc takes the ClassVar of a dataclass for a field of it.
    """
    lines = text.split("\n")
    for node in reversed(ast.parse(text).body):
        if not isinstance(node, ast.ClassDef):
            continue
        if not any("dataclass" in ast.unparse(one) for one in node.decorator_list):
            continue
        declared = [
            one
            for one in node.body
            if isinstance(one, ast.AnnAssign) and ast.unparse(one.annotation).startswith("ClassVar")
        ]
        if not declared:
            continue
        base = f"_{node.name}Declared"
        moved = [lines[one.lineno - 1 : one.end_lineno] for one in declared]
        for one in reversed(declared):
            del lines[one.lineno - 1 : one.end_lineno]
        head = f"class {node.name}"
        line = lines[node.lineno - 1]
        lines[node.lineno - 1] = (
            line.replace(f"{head}(", f"{head}({base}, ")
            if node.bases
            else line.replace(f"{head}:", f"{head}({base}):")
        )
        start = node.decorator_list[0].lineno - 1
        lines[start:start] = [f"class {base}:", *(line for part in moved for line in part)]
    return "\n".join(lines)


def _run(modules: list[str], folder: Path, said: Callable[[str], None]) -> None:
    """Translate modules where they stand."""
    command = [sys.executable, "-c", TRANSLATE, *modules]
    log = folder / "translation.log"
    with log.open("w", encoding="utf-8") as output:
        worker = subprocess.Popen(command, cwd=folder, stdout=output, stderr=subprocess.STDOUT)
        waited = 0.0
        try:
            while True:
                try:
                    code = worker.wait(timeout=EVERY_S)
                    break
                except subprocess.TimeoutExpired:
                    waited += EVERY_S
                    said(f"engine: translating, {waited:.0f} s")
        finally:
            if worker.poll() is None:
                worker.kill()
                worker.wait()
    if code != 0:
        raise InputError(
            f"the engine was not translated: {last_line(log.read_text('utf-8', 'replace'))}"
        )


def _demand_tools() -> None:
    """Say what is missing; raises InputError."""
    for name in ("mypyc", "setuptools"):
        if importlib.util.find_spec(name) is None:
            raise InputError(
                f"machine code needs the package {'mypy' if name == 'mypyc' else name}: "
                "pip install xlate-bridge[test]"
            )
    compiler = (sysconfig.get_config_var("CC") or "cc").split()[0]
    if os.name == "posix" and not any(map(shutil.which, (os.environ.get("CC", compiler), "cc"))):
        raise InputError(
            f"machine code needs the C compiler {compiler}; without it the engine runs as Python"
        )


def _ingredients() -> str:
    """Return a name of the engine's files and of what translates them."""
    tools = f"{sysconfig.get_platform()} {sys.version} {metadata.version('mypy')}"
    return hashlib.sha256(tools.encode() + digest_of(ENGINE, Path(__file__))).hexdigest()[:20]
