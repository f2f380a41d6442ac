"""Decode and encode beside cantools and bitstruct, measured by pytest-benchmark in one run.

What is measured stands in tests/benchmarks/test_codec.py: there every result is checked too.
"""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from tools.environment import last_line
from tools.speed.rows import Floor, Measured, Row

ROOT = Path(__file__).resolve().parents[2]
BENCHMARKS = Path("tests") / "benchmarks" / "test_codec.py"

SUBJECTS = {
    "engine": "engine",
    "fast": "fast form",
    "cantools_raw": "cantools raw",
    "cantools_scaled": "cantools scaled",
    "bitstruct": "bitstruct",
}
GROUPS = {
    ("decode", "all_new"): "decode all 8",
    ("decode", "one_new"): "decode 1 of 8",
    ("encode", ""): "encode all 8",
}
COMPARED = (
    """\
decode: one message of 8 signals, 4 Intel and 4 Motorola, one signed in each order, all 64 bits
used; 64 different payloads in turn, in which all 8 signals, or 1 of 8, differ from the payload
before; processor time for one payload.
  engine: what Bridge.receive does with an accepted payload (bits, special codes, range, exact
  scale, status of 8 sources); signals whose bits are as before are seen and passed over.
  fast form: a codec generated from the message's signals, raw values to one dict.
  cantools: decode(decode_choices=False) to a dict, raw with scaling=False. bitstruct: two compiled
  formats (one a byte order) to one dict, raw. Both use their C code where it is built.
encode: engine: transmission.pack of 8 quantities (status, exact scale, saturation). cantools:
encode of a dict with its checks. bitstruct: two compiled formats from a dict, no checks.""",
)


def measure(measured: Measured, seconds: float) -> None:
    """Add the rows of the codec; `seconds` is the time given to each benchmark."""
    try:
        benchmarks = run_benchmarks(seconds, (sys.executable,), os.environ)
    except NotRunError as error:
        for group in GROUPS:
            measured.rows += [
                Row(_key(group, subject), _what(group, subject), None, "us", note=str(error))
                for subject in SUBJECTS
            ]
        return
    measured.compared += COMPARED
    for group in GROUPS:
        own = benchmarks[_key(group, "engine")][0]
        raw = benchmarks[_key(group, "cantools_raw")][0]
        for subject in SUBJECTS:
            value, rounds = benchmarks[_key(group, subject)]
            floor = None
            if group[0] == "decode" and subject == "engine":
                floor = Floor(raw, True, "<= cantools raw")
            if subject == "fast":
                floor = Floor(raw / 4, True, "<= raw / 4")
            measured.rows.append(
                Row(
                    key=_key(group, subject),
                    what=_what(group, subject),
                    value=value,
                    unit="us",
                    samples=rounds,
                    ratio=value / own,
                    floor=floor,
                )
            )


class NotRunError(Exception):
    """The benchmarks could not run here; the text says why."""


def run_benchmarks(
    seconds: float, python: Sequence[str], environment: Mapping[str, str], only: str = ""
) -> dict[str, tuple[float, int]]:
    """Return (median in microseconds a message, rounds) per key.

    `only` chooses benchmarks by a part of their names. Raises NotRunError.
    """
    if not (ROOT / BENCHMARKS).exists():
        raise NotRunError("needs the project's folder tests/benchmarks")
    with tempfile.TemporaryDirectory(prefix="xlate-speed-") as folder:
        report = Path(folder) / "benchmarks.json"
        command = [
            *(*python, "-m", "pytest", "-q", "-p", "no:cacheprovider", str(BENCHMARKS)),
            *("-k", only, "-o", "pythonpath="),  # which engine is the environment's to say
            *("--benchmark-enable", "--benchmark-only", f"--benchmark-json={report}"),
            *(f"--benchmark-max-time={seconds}", "--benchmark-min-rounds=5"),
            *("--benchmark-timer=time.process_time", "--benchmark-warmup=on"),
            f"--benchmark-warmup-iterations={max(2, round(200 * seconds))}",
        ]
        done = subprocess.run(
            command,
            cwd=ROOT,
            env=_own(environment),
            capture_output=True,
            encoding="utf-8",
            errors="replace",
            check=False,
        )
        if done.returncode != 0 or not report.exists():
            raise NotRunError(_reason(done.stdout + done.stderr))
        data: dict[str, Any] = json.loads(report.read_text(encoding="utf-8"))
    found = {}
    for entry in data["benchmarks"]:
        key = entry["name"].removeprefix("test_").replace("[", ".").rstrip("]")
        stats = entry["stats"]
        each = stats["median"] / entry["extra_info"]["messages"] * 1e6
        found[key] = (each, int(stats["rounds"]))
    return found


def _own(environment: Mapping[str, str]) -> dict[str, str]:
    """Return an environment without the marks of a pytest around us.

    Started from a test that shares the processors, the benchmarks would take themselves for one
    of its workers and refuse to measure.
    """
    return {name: text for name, text in environment.items() if not name.startswith("PYTEST_")}


def _reason(output: str) -> str:
    """Return in one line why pytest did not measure."""
    if "No module named" in output or "unrecognized arguments" in output:
        return "needs pytest-benchmark: pip install xlate-bridge[test]"
    return f"the benchmarks failed: {last_line(output)}"


def _key(group: tuple[str, str], subject: str) -> str:
    action, series = group
    return f"{action}_{subject}" + (f".{series}" if series else "")


def _what(group: tuple[str, str], subject: str) -> str:
    return f"{GROUPS[group]}: {SUBJECTS[subject]}"
