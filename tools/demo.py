"""``python3 tools/demo.py``: set the project up, then show its main job on the command line.

Works from any folder with nothing but Python >= 3.11. Exit code 0 when every step did what it
shows, 1 when one did not, 130 after Ctrl-C.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

if sys.version_info < (3, 11):  # noqa: UP036 - a clear line for whoever starts it with an old one
    sys.exit("Python 3.11 or newer is needed; this is " + sys.version.split()[0])

if __name__ == "__main__":
    # A script's own folder comes first on the path, where tools/test.py would be taken for the
    # standard package `test`: the project root takes its place.
    _here = Path(__file__).resolve().parent
    sys.path[:] = [str(_here.parent)] + [p for p in sys.path if Path(p).resolve() != _here]

from tools import environment as env

_FARM_PICKUP = env.PAIRINGS / "farm_pickup"
_J1939 = env.PAIRINGS / "j1939_instruments"
_OUT = env.ROOT / "demo_out"

_STEPS: tuple[tuple[str, list[str]], ...] = (
    (
        """\
A pairing is one car with one engine controller. The check reads its bridge.toml and both DBC files
and proves what can be proven before anything runs: layouts, ranges, overflow, rates.""",
        ["pairing", "check", str(_FARM_PICKUP)],
    ),
    (
        """\
The second pairing is nothing but data: the same code serves instruments that speak J1939.""",
        ["pairing", "check", str(_J1939)],
    ),
    (
        """\
Vectors hold what goes in and what must come out, tick by tick. Here the board `reference` runs
them all; firmware on a board is held to the same files, bit for bit.""",
        ["vectors", "run", str(env.VECTORS)],
    ),
    (
        """\
What must each output do when something fails? A person requires it, every fault is tried in every
situation, and the table shows what was seen: a row is one output, fault and situation. "undetected"
is shown, not hidden: nothing tells a plausible wrong value from a true one. Here the smallest
pairing; `xlate failsafe build fixtures/pairings/farm_pickup` does the whole car in minutes.""",
        [
            "failsafe",
            "build",
            str(env.PAIRINGS / "minimal"),
            "--brief",
            "--out",
            str(_OUT / "failsafe"),
        ],
    ),
    (
        """\
A log taken on a bus is fed to the bridge frame by frame: this is what the module would have made
of it.""",
        [
            "log",
            "replay",
            str(_J1939),
            str(env.LOGS / "j1939_rows.log"),
            "--input",
            "ignition_switch=active",
            "--out",
            str(_OUT / "sent.log"),
            "--csv",
            str(_OUT / "sent.csv"),
        ],
    ),
)

_HIL_OUT = _OUT / "hardware_in_the_loop"
_NATIVE = (
    """\
The firmware, the same C that is flashed, runs as a process behind the link of a real board. It is
built for the pairing, gets the same vectors, and is held to them bit for bit.""",
    ["vectors", "run", str(env.VECTORS / "farm_pickup"), "--board", "native"],
)
_EMULATED = (
    """\
The very ELF file that is flashed to an STM32F405, on an emulated one: a few short vectors.""",
    [
        "vectors",
        "run",
        str(env.VECTORS / "farm_pickup" / "modulo_15.vector"),
        str(env.VECTORS / "farm_pickup" / "route_newest.vector"),
        "--board",
        "emulated",
    ],
)

# Recorded frame, what SAE J1939-71 makes of it, and the instrument signal it must become.
_BY_HAND: tuple[tuple[str, str, str, str], ...] = (
    (
        "EEC1 0CF00400#FFFFFFF506FFFFFF",
        "0x06F5 = 1781, x 0.125 rpm = 222.625, so 223",
        "Turns",
        "223",
    ),
    (
        "ET1  18FEEE00#3EFFFFFFFFFFFFFF",
        "0x3E = 62, - 40 degC = 22",
        "Coolant",
        "22",
    ),
    (
        "VEP1 18FEF700#FFFFFFFFF100FFFF",
        "0x00F1 = 241, x 0.05 V = 12.05, in tenths 12.1 (halves away from zero)",
        "Voltage",
        "12.1",
    ),
)

_CLOSING = """\
Next: copy fixtures/pairings/farm_pickup, change one deadline in its bridge.toml and run
`xlate pairing check` on the copy; `xlate --help` lists the rest. All checks: python3 tools/test.py

Caution: a bench result is no approval. Road use needs the checks of local regulations and a
licensed or accredited person. Work on a raised, unpowered vehicle, with fuel pump and starter
disarmed until the bench vectors pass."""


def main() -> int:
    """Set up, run every step, return the exit code."""
    env.use_utf8()
    try:
        env.set_up()
        _OUT.mkdir(exist_ok=True)
        failed = [" ".join(shown) for shown in map(_show, _STEPS) if shown]
        failed += _check_by_hand(_OUT / "sent.csv")
        failed += _hardware_in_the_loop()
    except env.SetUpError as error:
        print(f"Set-up failed: {error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\nStopped by Ctrl-C.", file=sys.stderr)
        return 130
    env.say()
    env.say(_CLOSING)
    if failed:
        env.say()
        env.say(f"Failed: {'; '.join(failed)}")
        return 1
    return 0


def _check_by_hand(sent: Path) -> list[str]:
    """Look up the values worked out by hand among the sent signals; return what is missing."""
    env.say()
    env.say("Three of the recorded frames, worked out by hand, and what the module sent:")
    if not sent.is_file():
        return ["the sent signals"]
    with sent.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    missing = []
    for frame, arithmetic, signal, value in _BY_HAND:
        found = [row for row in rows if (row["signal"], row["physical"]) == (signal, value)]
        where = f"sent from {found[0]['time_s']} s on" if found else "NOT SENT"
        env.say(f"  {frame}: {arithmetic}")
        env.say(f"       {signal} {value}: {where}")
        if not found:
            missing.append(f"{signal} {value}")
    return missing


def _hardware_in_the_loop() -> list[str]:
    """Run vectors on the firmware, as far as this machine has what it takes; return what failed."""
    failed: list[str] = []
    boards = (
        ("native", _NATIVE, (env.C_COMPILER,)),
        ("emulated", _EMULATED, (env.ARM_COMPILER, env.EMULATOR)),
    )
    for board, (text, arguments), needed in boards:
        lacking = [one for one in needed if not one.present()]
        if lacking:
            env.say()
            env.say(f"Not shown, the board {board}: it needs {lacking[0].what}. {lacking[0].how}")
            continue
        folder = _HIL_OUT / board
        shown = _show((text, [*arguments, "--out", str(folder)]))
        failed += [" ".join(shown)] if shown else []
        env.say(f"Report: {(folder / 'report.html').relative_to(env.ROOT).as_posix()}")
    return failed


def _show(step: tuple[str, list[str]]) -> list[str]:
    """Run one step in the open; return its command when it failed, else nothing."""
    text, arguments = step
    shown = ["xlate"] + [
        Path(word).relative_to(env.ROOT).as_posix() if Path(word).is_absolute() else word
        for word in arguments
    ]
    env.say()
    env.say(text)
    env.say("$ " + " ".join(shown))
    code, _ = env.run([str(env.XLATE), *arguments], on_line=env.say)
    return shown if code != 0 else []


if __name__ == "__main__":
    sys.exit(main())
