"""The readable engine in machine code: its own files, translated by mypyc, kept apart from them.

The files stay the definition and nothing in them is bent: a copy of `xlate_core` is translated, in
a folder named after all it was made of, so a change of any file makes it anew and an old
translation is never taken for the new engine. What runs with `environment()` imports that copy.
Only the engine is translated; reading a pairing and writing the fast form stay Python. The text of
a pairing's fast form is translated too when somebody asks for it, into the same folder.
"""

import ast
import contextlib
import hashlib
import importlib.util
import os
import shutil
import signal
import subprocess
import sys
import sysconfig
import tempfile
import time
from collections.abc import Callable, Iterable, Sequence
from importlib import metadata
from pathlib import Path

from hil.cache import cache_folder, digest_of
from hil.parallel import interrupts_wait
from tools.environment import last_line
from xlate_core.compiled.bridge import is_suited
from xlate_core.compiled.native import beyond_masks, module_text
from xlate_core.compiled.program import native_name
from xlate_core.compiled.ticking import write
from xlate_core.errors import InputError
from xlate_core.pairing import PairingError, Problem, load

ROOT = Path(__file__).resolve().parents[1]
ENGINE = ROOT / "xlate_core"
PYTHON = (sys.executable, "-P")  # -P: the folder it is started in does not come first
STAY_PYTHON = ("pairing", "compiled")
BESIDE = ("compiled/rest.py",)  # what else a tick of the fast form runs through
UNWANTED = shutil.ignore_patterns("__pycache__", "*.so")
FOLDER = "engine_"  # how their names begin
UNUSED_S = 7 * 24 * 3600.0  # after which an engine is removed when another is made
EVERY_S = 10.0  # between two lines while the translation goes on
GROUP = "xlate_engine"  # of the translated modules, which is one library
TRANSLATE = """\
import sys
from mypyc.build import mypycify
from setuptools import setup
group, text, *engine = sys.argv[1:]
groups = [(engine, group)] + ([([text + ".py"], text)] if text else [])
files = [file for names, _ in groups for file in names]
level = "1" if text else "2"
modules = mypycify(["--ignore-missing-imports", *files], opt_level=level, separate=groups)
if text:
    modules = [one for one in modules if one.name.startswith(text)]
setup(name=group, ext_modules=modules, script_args=["-q", "build_ext", "--inplace"])
"""
"""With a text only that is compiled, beside an engine that was before."""


def environment(said: Callable[[str], None]) -> dict[str, str]:
    """Return the environment in which a Python finds the engine in machine code.

    The translation is made first when there is none; `said` gets a line now and then meanwhile.
    Start it as PYTHON. Raises InputError when mypyc, setuptools or a C compiler is missing, or
    says no.
    """
    folder = _translated(said)
    path = os.pathsep.join((str(folder), str(ROOT)))
    return {**os.environ, "PYTHONPATH": path, "PYTHONSAFEPATH": "1"}


def translate(folder: Path, said: Callable[[str], None]) -> bool:
    """Put the fast form of a pairing into machine code; False when it was before.

    Raises InputError for a faulty pairing, for one the fast form does not know, and as
    `environment` does.
    """
    pairing = load(folder)
    if not is_suited(pairing.spec):
        raise InputError(
            f"{folder}: bus states, sleep and received profiles run on the engine alone, "
            "which `xlate --machine-code` runs in machine code as it is"
        )
    beyond = [Problem("bridge.toml", None, *words) for words in beyond_masks(pairing.spec)]
    if beyond:
        raise PairingError(beyond, pairing.directory)
    engine, name = _translated(said), native_name(pairing.spec)
    if any(engine.glob(f"{name}.*")):
        return False
    said(f"{pairing.name}: translating its fast form, once for each state of pairing and engine")
    with tempfile.TemporaryDirectory(prefix=".text-", dir=engine.parent) as temporary:
        made = Path(temporary) / "made"
        modules = _prepared(made)
        text = module_text(write(pairing.spec, native=True))
        (made / f"{name}.py").write_text(text, encoding="utf-8")
        _run([name, *modules], made, said)
        libraries = sorted(made.glob(f"{name}*"), key=lambda path: "__mypyc" not in path.name)
        for path in libraries:  # the module itself last: it says that all is there
            if path.suffix != ".py":
                path.replace(engine / path.name)
    return True


def run(words: Sequence[str], said: Callable[[str], None]) -> int:
    """Run `xlate` with these words on the engine in machine code; return its exit code."""
    command = [*PYTHON, "-m", "tools.cli.main", *words]
    alike = environment(said)
    child = None
    try:
        with interrupts_wait():  # the command lets them in when it can say what they come to
            child = subprocess.Popen(command, env=alike)
    except KeyboardInterrupt:
        if child is None:
            raise
        child.send_signal(signal.SIGINT)  # it was not there yet when we were told
    with child:
        while True:
            try:
                return child.wait()
            except KeyboardInterrupt:
                continue  # the command was told too, and says itself how far it came


def _translated(said: Callable[[str], None]) -> Path:
    """Return the folder of the translated engine."""
    _demand_tools()
    folder = cache_folder() / f"{FOLDER}{_ingredients()}"
    if folder.is_dir():
        with contextlib.suppress(OSError):  # of somebody else: it is not to be kept for us
            os.utime(folder)
        return folder
    said("engine: translating into machine code, once for each state of its files")
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=".engine-", dir=folder.parent) as temporary:
        made = Path(temporary) / "made"
        modules = _prepared(made)
        _run(["", *modules], made, said)
        shutil.rmtree(made / "build", ignore_errors=True)
        try:
            made.rename(folder)
            _forget_unused(folder.parent)
        except OSError:
            if not folder.is_dir():  # another process was quicker
                raise
    return folder


def _forget_unused(cache: Path) -> None:
    """Remove engines of other states of the files that nobody has used for a while."""
    for folder in cache.glob(f"{FOLDER}*"):
        if time.time() - folder.stat().st_mtime > UNUSED_S:
            shutil.rmtree(folder, ignore_errors=True)


def _modules(engine: Path) -> list[Path]:
    """Return the modules that a tick runs through."""
    return [
        path
        for path in engine.rglob("*.py")
        if path.relative_to(engine).parts[0] not in (*STAY_PYTHON, "__init__.py")
        or path.relative_to(engine).as_posix() in BESIDE
    ]


def _prepared(made: Path) -> list[str]:
    """Copy the engine and put its modules into the form mypyc needs; return those with code."""
    shutil.copytree(ENGINE, made / ENGINE.name, ignore=UNWANTED)
    texts = {path: path.read_text("utf-8") for path in sorted(_modules(made / ENGINE.name))}
    members = enumerations(texts.values())
    found = []
    for path, text in texts.items():
        if any(not isinstance(node, ast.Expr) for node in ast.parse(text).body):
            path.write_text(with_declarations_apart(with_constants(text, members)), "utf-8")
            found.append(str(path.relative_to(made)))
    return found


def enumerations(texts: Iterable[str]) -> dict[str, set[str]]:
    """Return the names of the members of every enumeration in some modules."""
    found: dict[str, set[str]] = {}
    for text in texts:
        for node in ast.parse(text).body:
            if not isinstance(node, ast.ClassDef):
                continue
            if any(ast.unparse(base) in ("Enum", "IntEnum") for base in node.bases):
                names = [one.targets[0] for one in node.body if isinstance(one, ast.Assign)]
                found[node.name] = {name.id for name in names if isinstance(name, ast.Name)}
    return found


def with_constants(text: str, members: dict[str, set[str]]) -> str:
    """Return a module whose constants, and the members it uses in its functions, are final names.

    mypyc looks other global names up in a dictionary each time; a final one it knows.
    """
    lines = text.split("\n")
    tree = ast.parse(text)
    used: dict[str, set[str]] = {}
    places: list[tuple[int, int, int, str]] = []
    for function in ast.walk(tree):
        if not isinstance(function, ast.FunctionDef):
            continue
        for node in (inner for part in function.body for inner in ast.walk(part)):
            if not (isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name)):
                continue
            kind, member = node.value.id, node.attr
            if member in members.get(kind, ()) and node.end_col_offset is not None:
                used.setdefault(kind, set()).add(member)
                place = (node.lineno - 1, node.col_offset, node.end_col_offset)
                places.append((*place, f"_{kind}_{member}"))
    for line, begin, end, name in sorted(set(places), reverse=True):
        lines[line] = lines[line][:begin] + name + lines[line][end:]
    behind: dict[int, list[str]] = {}
    last_import = 0
    for one in tree.body:
        if isinstance(one, ast.Import | ast.ImportFrom):
            last_import = one.end_lineno or 0
        target = one.targets[0] if isinstance(one, ast.Assign) else None
        if isinstance(target, ast.Name) and target.id.isupper():
            line = one.lineno - 1
            lines[line] = lines[line].replace(f"{target.id} =", f"{target.id}: Final =", 1)
        if isinstance(one, ast.ClassDef) and one.name in used:
            behind[one.end_lineno or 0] = _finals(one.name, used.pop(one.name))
    head = ["from typing import Final"]
    for kind, names in sorted(used.items()):
        head += _finals(kind, names)
    behind.setdefault(last_import, [])[:0] = head
    for line, added in sorted(behind.items(), reverse=True):
        lines[line:line] = added
    return "\n".join(lines)


def _finals(kind: str, members: set[str]) -> list[str]:
    return [f"_{kind}_{name}: Final = {kind}.{name}" for name in sorted(members)]


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


def _run(words: list[str], folder: Path, said: Callable[[str], None]) -> None:
    """Translate modules where they stand; the first word is the text beside them, if any."""
    what = "fast form" if words[0] else "engine"
    command = [sys.executable, "-c", TRANSLATE, GROUP, *words]
    log = folder / "translation.log"
    with log.open("w", encoding="utf-8") as output:
        alike = {**os.environ, "PYTHONHASHSEED": "0"}  # the engine is laid out alike each time
        worker = subprocess.Popen(
            command, cwd=folder, env=alike, stdout=output, stderr=subprocess.STDOUT
        )
        waited = 0.0
        try:
            while True:
                try:
                    code = worker.wait(timeout=EVERY_S)
                    break
                except subprocess.TimeoutExpired:
                    waited += EVERY_S
                    said(f"{what}: translating, {waited:.0f} s")
        finally:
            if worker.poll() is None:
                worker.kill()
                worker.wait()
    if code != 0:
        raise InputError(f"the translation failed: {last_line(log.read_text('utf-8', 'replace'))}")


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
