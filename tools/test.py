"""``python3 tools/test.py``: set the project up, then run every check of it.

Works from any folder with nothing but Python >= 3.11. One line a step, then a summary, and at the
very end pytest's own closing line. Exit code 0 when all passed, 1 when anything failed (with
``--demand-everything`` also when anything could not run or a test was skipped), 2 for a wrong
option, 130 after Ctrl-C.
"""

from __future__ import annotations

import sys
from pathlib import Path

if sys.version_info < (3, 11):  # noqa: UP036 - a clear line for whoever starts it with an old one
    sys.exit("Python 3.11 or newer is needed; this is " + sys.version.split()[0])

if __name__ == "__main__":
    # A script's own folder comes first on the path, where this very file would be taken for the
    # standard package `test`: the project root takes its place.
    _here = Path(__file__).resolve().parent
    sys.path[:] = [str(_here.parent)] + [p for p in sys.path if Path(p).resolve() != _here]

import argparse
import os
import re
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

from tools import environment as env

_QUICK_VECTORS = 12  # spread over the corpus; a few seconds on the reference board
_CLOSING_LINE = re.compile(
    r"^(=+ )?(no tests ran|\d+ (passed|failed|errors?|skipped|deselected|xfailed|xpassed)).* in "
)
_COLOUR = re.compile(r"\x1b\[[0-9;]*m")


@dataclass(frozen=True, slots=True)
class Step:
    """One check: its name, its command, what it needs of the machine."""

    name: str
    command: Sequence[str]
    needs: Sequence[env.Requirement] = ()
    live: bool = False  # show the output as it comes, not only after a failure


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a step ended: exit code, output, seconds; or what it needs and was not found."""

    code: int = 0
    output: str = ""
    took_s: float = 0.0
    missing: Sequence[env.Requirement] = ()


@dataclass(slots=True)
class Results:
    """What came of the steps; ``could_not_run`` holds one line each."""

    rows: list[tuple[str, str, float]] = field(default_factory=list)
    could_not_run: list[str] = field(default_factory=list)
    closing_line: str = "pytest: no closing line"

    def failed(self, demand_everything: bool) -> bool:
        """Whether the whole run failed."""
        wrong = any(result == "failed" for _, result, _ in self.rows)
        return wrong or (demand_everything and bool(self.could_not_run))


def main() -> int:
    """Set up, run the steps, print the summary, return the exit code."""
    env.use_utf8()
    own, extra = _split_arguments(sys.argv[1:])
    options = _parser().parse_args(own)
    results = Results()
    try:
        env.set_up(extra="everything" if options.demand_everything else "test")
        with tempfile.TemporaryDirectory(prefix="xlate-test-") as folder:
            report = Path(folder) / "pytest.xml"
            _run_all(_steps(options.quick, report, extra), results)
            results.could_not_run += _skipped(report)
    except env.SetUpError as error:
        print(f"Set-up failed: {error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\nStopped by Ctrl-C.", file=sys.stderr)
        return 130
    return _summary(results, options.quick, options.demand_everything)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="test.py", description="Run every check of the project. After -- : more for pytest."
    )
    parser.add_argument(
        "--quick", action="store_true", help="ruff, mypy, a few vectors, tests not marked slow"
    )
    parser.add_argument(
        "--demand-everything",
        action="store_true",
        help="fail when anything could not run here or a test was skipped",
    )
    return parser


def _split_arguments(arguments: list[str]) -> tuple[list[str], list[str]]:
    """Ours before the first ``--``, pytest's after it."""
    if "--" not in arguments:
        return arguments, []
    place = arguments.index("--")
    return arguments[:place], arguments[place + 1 :]


def _steps(quick: bool, report: Path, extra: list[str]) -> list[Step]:
    """The steps in their order; the cheap ones first."""
    python, xlate = str(env.PYTHON), str(env.XLATE)
    steps = [
        Step("ruff check", [python, "-m", "ruff", "check", "."]),
        Step("mypy --strict", [python, "-m", "mypy", "--strict"]),
    ]
    tests = [python, "-m", "pytest", f"--junit-xml={report}"]
    if not any(word in ("-n", "-x", "--pdb") or word.startswith("-n") for word in extra):
        tests += ["-n", str(os.cpu_count() or 1), "--dist", "worksteal"]
    if quick:
        steps.append(Step("vectors verify (some)", [xlate, "vectors", "verify", *_some_vectors()]))
        tests += ["-m", "not slow"]
    else:
        steps.append(Step("pairing schema --check", [xlate, "pairing", "schema", "--check"]))
        steps += [
            Step(f"pairing check {folder.name}", [xlate, "pairing", "check", str(folder)])
            for folder in _pairings()
        ]
        steps.append(Step("vectors verify", [xlate, "vectors", "verify"]))
    steps.append(Step("pytest", tests + extra, live=True))
    return steps


def _pairings() -> list[Path]:
    """Every pairing of the project; the two that it cannot be without are always asked for."""
    found = {path.parent for path in env.PAIRINGS.glob("*/bridge.toml")}
    return sorted(found | {env.PAIRINGS / "farm_pickup", env.PAIRINGS / "j1939_instruments"})


def _some_vectors() -> list[str]:
    """A fixed sample spread over the corpus; nothing found leaves the choice to the command."""
    found = sorted(path.as_posix() for path in env.VECTORS.rglob("*.vector*") if path.is_file())
    stride = max(1, -(-len(found) // _QUICK_VECTORS))
    return found[::stride]


def _run_all(steps: Sequence[Step], results: Results) -> None:
    """Run the steps: the silent ones side by side, told in their order; live ones one by one."""
    silent = [step for step in steps if not step.live]
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        outcomes = [pool.submit(_outcome, step) for step in silent]
        try:
            for step, outcome in zip(silent, outcomes, strict=True):
                _note(step, outcome.result(), results)
        except KeyboardInterrupt:
            pool.shutdown(wait=False, cancel_futures=True)
            env.end_children()
            raise
    for step in steps:
        if step.live:
            _note(step, _outcome(step), results)


def _outcome(step: Step) -> Outcome:
    """Run one step, unless this machine lacks something that it needs."""
    missing = env.unmet(step.needs)
    if missing:
        return Outcome(missing=missing)
    show: Callable[[str], None] | None = env.say if step.live else None
    began = time.monotonic()
    code, output = env.run(step.command, on_line=show)
    return Outcome(code, output, time.monotonic() - began)


def _note(step: Step, outcome: Outcome, results: Results) -> None:
    """Note the result of a step and tell it; its output is shown when it failed."""
    if outcome.missing:
        for need in outcome.missing:
            results.could_not_run.append(
                f"{step.name}: needs {need.what}, which {need.why}. {need.how}"
            )
        results.rows.append((step.name, "could not run", 0.0))
        env.say(f"{'could not run':<14} {step.name}")
        return
    result = "passed" if outcome.code == 0 else "failed"
    if outcome.code != 0 and not step.live:
        env.say(outcome.output.rstrip())
    if step.name == "pytest":
        results.closing_line = _closing_line(outcome.output)
    results.rows.append((step.name, result, outcome.took_s))
    env.say(f"{result:<14} {step.name} ({outcome.took_s:.1f} s)")


def _closing_line(output: str) -> str:
    """Pytest's own last line, the one with the numbers."""
    for line in reversed(output.splitlines()):
        plain = _COLOUR.sub("", line)
        if _CLOSING_LINE.match(plain):
            return plain
    return "pytest: no closing line"


def _skipped(report: Path) -> list[str]:
    """The tests that pytest skipped, each with its reason; an expected failure is no skip."""
    if not report.exists():
        return []
    lines = []
    for case in ElementTree.parse(report).iter("testcase"):
        for skip in case.findall("skipped"):
            if skip.get("type") != "pytest.xfail":
                name = f"{case.get('classname', '')}.{case.get('name', '')}".strip(".")
                reason = skip.get("message", "")
                if reason == "collection skipped":  # the reason of a whole file is in the text
                    reason = (skip.text or "").strip("()'\" \n").split("Skipped: ")[-1]
                lines.append(f"{name}: {reason or 'no reason given'}")
    return lines


def _summary(results: Results, quick: bool, demand_everything: bool) -> int:
    """Print the table and what could not run; pytest's closing line comes last."""
    env.say()
    width = max(len(name) for name, _, _ in results.rows)
    for name, result, took in results.rows:
        env.say(f"  {name:<{width}}  {result:<13}  {took:7.1f} s")
    counts = {
        word: sum(result == word for _, result, _ in results.rows)
        for word in ("passed", "failed", "could not run")
    }
    env.say("  steps: " + ", ".join(f"{count} {word}" for word, count in counts.items()))
    if results.could_not_run:
        env.say()
        env.say(
            "Could not run here" + (", and everything is demanded:" if demand_everything else ":")
        )
        for line in results.could_not_run:
            env.say(f"  {line}")
    if quick:
        env.say("Quick run: slow tests, pairing checks and most vectors were left out.")
    env.say()
    failed = results.failed(demand_everything)
    passed = "passed, but not all could run here" if results.could_not_run else "passed"
    env.say("Result: " + ("FAILED" if failed else passed))
    env.say(results.closing_line)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
