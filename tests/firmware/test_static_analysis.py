"""cppcheck with the MISRA addon finds nothing but the deviations that are written down."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from hil.firmware import tables
from hil.firmware.programs import BOARDS, CORE, HERE, LINK
from tests.core.test_bridge import PAIRINGS
from tools.environment import CPPCHECK
from xlate_core.pairing import load

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not CPPCHECK.present(), reason=f"needs {CPPCHECK.what}. {CPPCHECK.how}"),
]

SOURCES = {"core": CORE, "link": LINK, "board": BOARDS / "stm32f405"}
ROW = re.compile(r"^\| (\d+\.\d+) \| (?:advisory|required|mandatory) \| ([a-z, ]+) \| .{20,} \|$")
FOUND = re.compile(r"^(.+)@([\w.-]+)$")


def listed() -> set[tuple[str, str]]:
    text = (HERE / "DEVIATIONS.md").read_text(encoding="utf-8")
    rows = [match for line in text.splitlines() if (match := ROW.match(line))]
    assert len(rows) == sum(line.startswith("| ") for line in text.splitlines()) - 1
    return {(match[1], area) for match in rows for area in match[2].split(", ")}


def findings(folder: Path) -> set[tuple[str, str]]:
    """Every (check, folder) that cppcheck reports; it works on copies, since it litters."""
    generated = folder / "generated"
    tables.write(load(PAIRINGS / "farm_pickup"), generated)
    copies = {area: folder / area for area in SOURCES}
    for area, source in SOURCES.items():
        shutil.copytree(source, copies[area])
    core = copies["core"]
    includes = [core, core / "functions", copies["link"], generated]
    command = [shutil.which("cppcheck") or "cppcheck", "--std=c99", "--addon=misra", "-q"]
    command += ["--enable=warning,portability,performance", "--template={file}@{id}", "-j2"]
    command += [f"-I{path}" for path in includes] + [str(path) for path in copies.values()]
    done = subprocess.run(command, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stderr
    found = set()
    for line in done.stderr.splitlines():
        match = FOUND.match(line)
        assert match is not None, line
        places = {**copies, "generated": generated}
        areas = [area for area, place in places.items() if place in Path(match[1]).parents]
        assert areas, f"{line}: outside what was asked for"
        area = "core" if areas[0] == "generated" else areas[0]
        found.add((match[2].removeprefix("misra-c2012-"), area))
    return found


@pytest.mark.long(27)
def test_only_the_written_deviations_are_found(tmp_path: Path) -> None:
    found, allowed = findings(tmp_path), listed()
    assert found - allowed == set(), "found, but not in DEVIATIONS.md"
    stale = {rule for rule, _ in allowed} - {rule for rule, _ in found}
    assert stale == set(), "in DEVIATIONS.md, but no longer found"
