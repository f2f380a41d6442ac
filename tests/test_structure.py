"""The house rules that a machine can judge: who imports whom, integers only, names, places.

Everything is read from the syntax tree or from git's own list of files; no module of the project
is run.
"""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

# Packages downwards: each may import itself and those before it.
PACKAGES = ("xlate_core", "hil", "tools")

# Inside the reference, downwards in the order of a tick's life: each may import those before it.
CORE_ORDER = (
    "arithmetic",
    "frames",
    "errors",
    "events",
    "fields",
    "signals",
    "protection",
    "reception",
    "pins",
    "quantities",
    "decoding",
    "fault_memory",
    "faults",
    "power",
    "conditions",
    "buses",
    "functions",
    "transmission",
    "state_image",
    "kept_memory",
    "interface",
    "intake",
    "terminals",
    "sending",
    "bus_watch",
    "control",
    "image_order",
    "bridge",
    "compiled",
    "pairing",
)

# The reference has no clock, chance, thread, record or file; only pairing/ reads files.
FORBIDDEN_IN_CORE = {"time", "random", "threading", "logging", "os", "pathlib", "io"}
LOADS_BY_NAME = {"__import__", "import_module", "exec", "eval"}

# The fast form is a text generated from the pairing; one place turns it into functions.
RUNS_A_TEXT = "xlate_core.compiled.program"
# Beside an engine in machine code the engine's own files are loaded again, as Python, for trials.
LOADS_AGAIN = "xlate_core.compiled.interpreted"
MAY_LOAD = {("exec", RUNS_A_TEXT), ("import_module", RUNS_A_TEXT), ("import_module", LOADS_AGAIN)}

# The two commands have the names that a newcomer types; both take their own folder off the path
# before they import anything that could mean the standard package `test`.
STANDARD_NAMES_ALLOWED = {"tools/demo.py", "tools/test.py"}
STANDARD_NAMES = sys.stdlib_module_names | {"test"}  # the list leaves its own tests out
STANDARD_LIBRARY_ONLY = ("tools/demo.py", "tools/test.py", "tools/environment.py")

TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "LICENSE",
    "pyproject.toml",
    ".gitignore",
    ".gitattributes",
    ".ci",
    "xlate_core",
    "hil",
    "fixtures",
    "tests",
    "tools",
}

# Built from pieces, so that this file passes its own test.
MACHINE_PATH = re.compile(r"(?<![\w.~])/(?:" + "|".join(("work", "root", "home")) + r")/")


def modules_of(package: str) -> list[Path]:
    found = sorted((ROOT / package).rglob("*.py"))
    assert found, f"{package} has no module to judge"
    return found


def dotted_name(path: Path) -> str:
    parts = list(path.relative_to(ROOT).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports_of(tree: ast.AST, module: str, is_package: bool) -> Iterator[tuple[int, str]]:
    """Line and full name of all that is imported, wherever the import stands.

    `from a import b` yields `a.b`: b may be a module, and a name in a is a use of a all the same.
    """
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = module.split(".")
                kept = len(parts) - node.level + (1 if is_package else 0)
                base = ".".join(parts[:kept] + ([base] if base else []))
            for alias in node.names:
                yield node.lineno, f"{base}.{alias.name}"


def import_faults(source: str, module: str, is_package: bool = False) -> list[str]:
    """Imports that go upwards: between the packages, or inside the reference."""
    faults = []
    own = module.split(".")
    for line, name in imports_of(ast.parse(source), module, is_package):
        target = name.split(".")
        if target[0] == "tests":
            faults.append(f"{module}:{line} imports {name}: the product imports no test")
        if target[0] not in PACKAGES:
            continue
        if PACKAGES.index(target[0]) > PACKAGES.index(own[0]):
            faults.append(f"{module}:{line} imports {name}: {own[0]} may not import {target[0]}")
        elif own[0] == target[0] == "xlate_core":
            faults += core_order_faults(f"{module}:{line} imports {name}", own, target)
    return faults


def core_order_faults(what: str, own: list[str], target: list[str]) -> list[str]:
    if len(own) == 1:
        return [f"{what}: the package itself imports nothing of its own"]
    if len(target) < 2 or target[1] not in CORE_ORDER:
        return [f"{what}: {'.'.join(target[:2])} has no place in the order"]
    if own[1] not in CORE_ORDER:
        return [f"{what}: xlate_core.{own[1]} has no place in the order"]
    if CORE_ORDER.index(target[1]) > CORE_ORDER.index(own[1]):
        return [f"{what}: {own[1]} stands above {target[1]} in the order"]
    return []


def integer_faults(source: str, module: str) -> list[str]:
    """Floats, true division, and the imports and loaders that the reference does without."""
    tree = ast.parse(source)
    faults = []
    for node in ast.walk(tree):
        place = f"{module}:{getattr(node, 'lineno', 0)}"
        if isinstance(node, ast.Constant) and isinstance(node.value, float | complex):
            faults.append(f"{place} has the number {node.value!r}")
        elif isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.Div):
            faults.append(f"{place} divides with /")
        elif isinstance(node, ast.Name) and node.id == "float":
            faults.append(f"{place} names float")
        elif isinstance(node, ast.Call):
            called = getattr(node.func, "id", getattr(node.func, "attr", ""))
            if called in LOADS_BY_NAME and (called, module) not in MAY_LOAD:
                faults.append(f"{place} calls {called}")
    for line, name in imports_of(tree, module, is_package=False):
        own_files = module == LOADS_AGAIN and name.split(".")[0] == "pathlib"
        if name.split(".")[0] in FORBIDDEN_IN_CORE and not own_files:
            faults.append(f"{module}:{line} imports {name}")
    return faults


def tracked_files() -> list[str]:
    """Git's own list. A clone whose owner is somebody else is still ours to read."""
    command = ["git", "-c", "safe.directory=*", "ls-files", "-z"]
    try:
        listed = subprocess.run(command, cwd=ROOT, capture_output=True, check=False)
    except FileNotFoundError:
        pytest.skip("git is not installed: Debian: apt-get install git")
    if listed.returncode != 0:
        pytest.skip("this folder is no git clone: git clone it to have the tracked files judged")
    return [name for name in listed.stdout.decode("utf-8").split("\0") if name]


def test_imports_go_downwards() -> None:
    faults = []
    for package in PACKAGES:
        for path in modules_of(package):
            source = path.read_text(encoding="utf-8")
            faults += import_faults(source, dotted_name(path), path.name == "__init__.py")
    assert not faults, "\n".join(faults)


def test_every_core_module_has_its_place_in_the_order() -> None:
    units = {path.relative_to(ROOT / "xlate_core").parts[0] for path in modules_of("xlate_core")}
    units = {unit.removesuffix(".py") for unit in units} - {"__init__"}
    assert units <= set(CORE_ORDER), f"no place in the order: {sorted(units - set(CORE_ORDER))}"


def test_the_reference_counts_in_integers_and_touches_nothing() -> None:
    faults = []
    for path in modules_of("xlate_core"):
        if path.relative_to(ROOT / "xlate_core").parts[0] != "pairing":
            faults += integer_faults(path.read_text(encoding="utf-8"), dotted_name(path))
    assert not faults, "\n".join(faults)


def test_no_tool_has_the_name_of_a_standard_module() -> None:
    named = {
        path.relative_to(ROOT).as_posix()
        for path in modules_of("tools")
        for name in [path.stem, *path.relative_to(ROOT / "tools").parts[:-1]]
        if name in STANDARD_NAMES
    }
    named -= STANDARD_NAMES_ALLOWED
    assert not named, f"named like a standard module: {sorted(named)}"


@pytest.mark.parametrize("name", STANDARD_LIBRARY_ONLY)
def test_what_sets_up_needs_nothing_installed(name: str) -> None:
    tree = ast.parse((ROOT / name).read_text(encoding="utf-8"))
    for line, imported in imports_of(tree, name.removesuffix(".py").replace("/", "."), False):
        standard = imported.split(".")[0] in sys.stdlib_module_names
        assert standard or imported == "tools.environment", f"{name}:{line} imports {imported}"


def test_no_tracked_text_names_a_place_on_one_machine() -> None:
    faults = []
    for name in tracked_files():
        path = ROOT / name
        data = path.read_bytes() if path.is_file() else b""
        if b"\0" in data or name.endswith(".gz"):
            continue
        for number, line in enumerate(data.decode("utf-8").splitlines(), start=1):
            if MACHINE_PATH.search(line):
                faults.append(f"{name}:{number}: {line.strip()[:80]}")
    assert not faults, "\n".join(faults)


def test_tracked_files_stand_in_their_places() -> None:
    strangers = {name.split("/")[0] for name in tracked_files()} - TOP_LEVEL
    assert not strangers, f"no place in the house: {sorted(strangers)}"
    in_ci = {name for name in tracked_files() if name.startswith(".ci/")}
    assert in_ci == {".ci/run"}


# The judges themselves, each shown something it must refuse and something it must let pass.


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("xlate_core.frames", "import hil.link"),
        ("xlate_core.frames", "def f():\n    from tools import cli"),
        ("hil.runner", "from tools.cli import main"),
        ("hil.runner", "import tests.helpers"),
        ("xlate_core.arithmetic", "from xlate_core import frames"),
        ("xlate_core.arithmetic", "from .frames import Frame"),
        ("xlate_core.functions.lamps", "from ..transmission import Slot"),
        ("xlate_core.bridge", "from xlate_core.pairing.model import Model"),
        ("xlate_core.bridge", "from xlate_core import utilities"),
    ],
)
def test_an_upward_import_is_refused(module: str, source: str) -> None:
    assert import_faults(source, module)


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("xlate_core.frames", "from xlate_core.arithmetic import divide"),
        ("xlate_core.functions.lamps", "from .gauges import Needle\nfrom ..pins import Level"),
        ("xlate_core.pairing.loader", "import xlate_core.bridge"),
        ("tools.cli.main", "from hil import runner\nimport click"),
    ],
)
def test_a_downward_import_is_let_pass(module: str, source: str) -> None:
    assert import_faults(source, module) == []


@pytest.mark.parametrize(
    "source",
    [
        "half = 0.5",
        "a = b / c",
        "a /= c",
        "a = float(b)",
        "import time",
        "import os.path",
        "from pathlib import Path",
        "def f():\n    import logging",
        "clock = __import__('time')",
    ],
)
def test_a_float_or_a_clock_is_refused(source: str) -> None:
    assert integer_faults(source, "xlate_core.example")


def test_a_text_is_run_in_one_place_only() -> None:
    assert integer_faults("exec(code, names)", RUNS_A_TEXT) == []
    assert integer_faults("exec(code, names)", "xlate_core.compiled.bridge")
    assert integer_faults("eval(code)", RUNS_A_TEXT)


def test_integer_arithmetic_is_let_pass() -> None:
    source = "from collections.abc import Sequence\na = b // c\nd = '0.5 / 2'  # 0.5 / 2"
    assert integer_faults(source, "xlate_core.example") == []


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("open('/" + "work/main/x')", True),
        ("see /" + "home/someone/log", True),
        ("frame/work/order", False),
        ("https://example.org/" + "home/page", False),
    ],
)
def test_a_machine_path_is_told_from_other_slashes(text: str, found: bool) -> None:
    assert bool(MACHINE_PATH.search(text)) is found
