"""Run vectors on the engine that stands first on the path; print the verdicts as JSON.

Started by the harness in a process of its own: `python -m tests.broken.run_vectors VECTOR ...`, or
forked from `served.py`.
"""

import json
import sys
from pathlib import Path
from types import ModuleType

import xlate_core
from hil.boards.reference import ReferenceBoard
from hil.comparison import compare
from hil.runner import Pairings, load_for_run
from hil.verdicts import Verdict
from xlate_core.pairing import load

ROOT = Path(__file__).resolve().parents[2]


def main(arguments: list[str]) -> None:
    """Run the vectors at these paths."""
    here = Path(xlate_core.__file__).resolve().parent.parent
    if here != Path.cwd().resolve():
        raise SystemExit(f"the engine in use is {here}, not the copy in {Path.cwd()}")
    # cantools brings python-can along for a tester nobody uses here: half the time of this process.
    sys.modules.setdefault("cantools.tester", ModuleType("cantools.tester"))
    pairings = Pairings(ROOT / "fixtures" / "pairings", load, {})
    verdicts = {}
    for argument in arguments:
        try:
            vector, names = load_for_run(Path(argument), pairings)
            # The runner's comparison alone: the repetition that explains a difference takes long.
            run = compare(
                vector, names, ReferenceBoard(names.pairing)
            )  # the definition itself, never its fast form
            verdicts[argument] = Verdict.PASS if run.difference is None else Verdict.MISMATCH
        except Exception as error:  # noqa: BLE001 - whatever a broken engine throws is its verdict
            verdicts[argument] = f"crash: {type(error).__name__}: {error}"
    json.dump(verdicts, sys.stdout)


if __name__ == "__main__":
    main(sys.argv[1:])
