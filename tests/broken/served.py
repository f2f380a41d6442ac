"""Runs of broken copies, each in a process of its own that need not load the libraries again.

`python -m tests.broken.served` loads the libraries that engine and bench use, nothing of the
project, and waits for orders on its input, one line of JSON each: folder and arguments. For each it
forks, and the new process imports the project from the folder's copy as a fresh Python would. It
answers with the exit code, negative for a signal; output and errors stand in files of the folder.
"""

import gc
import json
import os
import signal
import sys
import traceback
from importlib import import_module
from pathlib import Path
from types import ModuleType

LIBRARIES = (
    *("cantools.database", "cobs.cobs", "construct", "crcmod.predefined", "tree_sitter"),
    *("tree_sitter_toml", "argparse", "ctypes", "difflib", "gzip", "pickle", "tomllib"),
    *("pydantic.main", "pydantic.fields", "pydantic.functional_validators", "zoneinfo"),
)
OURS = ("xlate_core", "hil", "tools")
OUTPUT, ERRORS = "output.json", "errors.txt"
TIMEOUT_S = 300
"""Whoever runs longer is ended by SIGALRM."""


def main() -> None:
    """Take orders until the input ends."""
    # cantools brings python-can along for a tester nobody uses here: half the time of its import.
    sys.modules.setdefault("cantools.tester", ModuleType("cantools.tester"))
    for name in LIBRARIES:
        import_module(name)
    gc.freeze()  # a child need not look through what is here
    sys.dont_write_bytecode = True  # of a module that is broken for a moment
    for line in sys.stdin:
        order = json.loads(line)
        loaded = [name for name in sys.modules if name.split(".")[0] in OURS]
        if loaded:
            raise SystemExit(f"loaded before the copy is there: {loaded}")
        child = os.fork()
        if child == 0:
            os._exit(run(Path(order["folder"]), order["vectors"]))
        _, status = os.waitpid(child, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)


def run(folder: Path, vectors: list[str]) -> int:
    """Run the vectors on the copy in the folder; return the exit code."""
    signal.alarm(TIMEOUT_S)
    os.chdir(folder)
    sys.path.insert(0, str(folder))
    for stream, name in ((sys.stdout, OUTPUT), (sys.stderr, ERRORS)):
        with Path(name).open("wb") as target:
            os.dup2(target.fileno(), stream.fileno())
    try:
        import_module("tests.broken.run_vectors").main(vectors)
    except BaseException:  # noqa: BLE001 - a fresh Python, too, would tell it and end with 1
        traceback.print_exc()
        return 1
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
    return 0


if __name__ == "__main__":
    main()
