"""Work over processes: results in order, the longest first; one bad item stops no other."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from hil import parallel
from hil.vectors import corpus
from tests.vectors.helpers import HEADER
from tests.vectors.test_commands import write_scenario, xlate


def squared(item: int) -> tuple[int, int]:
    """Return a result, and the process that worked it out."""
    return item * item, os.getpid()


def test_results_of_other_processes_come_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parallel, "FEW", 1)
    done = list(parallel.in_order(squared, [3, 1, 2], 2, may_fork=True))
    assert [number for number, _ in done] == [9, 1, 4]
    assert os.getpid() not in {process for _, process in done}


def interrupts_are_held_back(_: int = 0) -> bool:
    return signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, [])


@pytest.mark.skipif(os.name == "nt", reason="a process there cannot hold interrupts back")
@pytest.mark.parametrize("may_fork", [False, True])
def test_an_interrupt_ends_an_item_not_a_process_that_is_being_started(
    monkeypatch: pytest.MonkeyPatch, may_fork: bool
) -> None:
    """What is started hears none; who starts it hears it afterwards."""
    monkeypatch.setattr(parallel, "FEW", 1)
    assert not any(parallel.in_order(interrupts_are_held_back, [1, 2], 2, may_fork=may_fork))
    asked = "import signal; print(signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, []))"
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    reached = []

    def starting() -> None:
        with parallel.interrupts_wait():
            signal.raise_signal(signal.SIGINT)
            reached.append(subprocess.check_output([sys.executable, "-c", asked], text=True))

    try:
        with pytest.raises(KeyboardInterrupt):
            starting()
    finally:
        signal.signal(signal.SIGINT, before)
    assert reached == ["True\n"]
    assert not interrupts_are_held_back()


def test_a_scenario_costs_what_it_lasts(tmp_path: Path) -> None:
    path = tmp_path / "sample.scenario"

    def cost(lasts: str, body: str) -> int:
        path.write_text(HEADER.format(pairing="minimal", lasts=lasts) + body, encoding="utf-8")
        return corpus.outline(path).cost

    assert cost("2 s", "") == cost("2000 ms", "") == 2000
    assert cost("2 s", "random seed 1 style hostile\n") > 2000
    assert cost("1.5 s", "") == 1500


def test_batches_are_of_one_pairing_and_those_with_expectations_come_first(tmp_path: Path) -> None:
    expects = "expect output fan_relay active at 50 ms\n"
    texts = {
        "long": ("minimal", "14 s", expects),
        "short_1": ("minimal", "200 ms", expects),
        "short_2": ("minimal", "300 ms", expects),
        "other": ("wiring", "400 ms", expects),
        "endless": ("minimal", "900 s", expects),
        "random": ("minimal", "60 s", "random seed 1 style hostile\n"),
        "remark": ("minimal", "1 s", "# expect nothing\n"),
    }
    for name, (pairing, lasts, body) in texts.items():
        text = HEADER.format(pairing=pairing, lasts=lasts).replace("sample", name, 1) + body
        (tmp_path / f"{name}.scenario").write_text(text, encoding="utf-8")
    paths = sorted(tmp_path.glob("*.scenario"))
    found = corpus.batches(paths)
    assert [[path.stem for path in batch.scenarios] for batch in found] == [
        ["endless"],
        ["long", "short_2"],
        ["other"],
        ["short_1"],
        ["random"],
        ["remark"],
    ]
    assert [batch.expects for batch in found] == [True] * 4 + [False] * 2
    assert sorted(path for batch in found for path in batch.scenarios) == paths


FAULTS = [
    (
        "lasts    100 ms",
        "lasts    9 miles",
        ":6: `miles` is no unit of time; nearest valid name: ms",
    ),
    ("lasts    100 ms", "last     100 ms", ":6: `last` begins no header line; expected one of "),
    ("lasts    100 ms", "", ":5: the header has no line `lasts ...`"),
    ("scenario one", "scenario two", ":1: id `two` found; the file's name says `one`"),
    ("title    A sample", "title", ":2: `title` says nothing; expected `title TEXT`"),
]


@pytest.mark.parametrize("command", ["generate", "verify"])
@pytest.mark.parametrize(("line", "instead", "said"), FAULTS)
def test_a_faulty_header_is_told_before_anything_is_played(
    tmp_path: Path, command: str, line: str, instead: str, said: str
) -> None:
    expects = "expect quantity key 0 at 50 ms\n"
    one, two = (write_scenario(tmp_path, expects, name) for name in ("one", "two"))
    text = one.read_text(encoding="utf-8").replace(line, instead)
    one.write_text(text, encoding="utf-8")
    two.write_text(two.read_text(encoding="utf-8").replace("lasts", "lsats"), encoding="utf-8")
    good = write_scenario(tmp_path, expects, "three").parent
    result = xlate(command, good, "--vectors", tmp_path / "vectors")
    assert result.exit_code == 2
    first, second = result.stderr.splitlines()
    assert first.startswith(f"{one}{said}")
    assert second.startswith(f"{two}:6: `lsats` begins no header line")
    assert second.endswith("nearest valid name: lasts")
    assert result.stdout == ""
    assert not (tmp_path / "vectors").exists()


def test_the_verdict_is_told_before_vectors_nobody_expects_anything_of(tmp_path: Path) -> None:
    write_scenario(tmp_path, "expect quantity key 0 at 50 ms\n", "one")
    write_scenario(tmp_path, "expect quantity key 1 at 50 ms\n", "two")
    write_scenario(tmp_path, "random seed 1 style hostile\n", "three")
    result = xlate("generate", tmp_path / "scenarios", "--vectors", tmp_path / "vectors")
    assert result.exit_code == 1
    told = result.output.splitlines()
    met = told.index("1 of 2 expectations are met in 2 scenarios; 1 without any follow")
    assert "expect quantity key 1 at 50 ms" in told[met - 1]
    assert told[met + 1 :] == [
        "2 of 3 vectors written",
        "the reference disagrees with 1 expectations",
    ]


def test_a_pairing_that_cannot_be_loaded_is_told_for_its_scenarios_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parallel, "FEW", 1)
    write_scenario(tmp_path, "")
    gone = write_scenario(tmp_path, "", "of_no_pairing")
    text = gone.read_text(encoding="utf-8").replace("pairing  minimal", "pairing  gone")
    gone.write_text(text, encoding="utf-8")
    folder = tmp_path / "scenarios"
    result = xlate("generate", folder, "--vectors", tmp_path / "vectors", "--jobs", 2)
    assert result.exit_code == 2
    assert result.output.count("no pairing `gone`") == 1
    assert "1 of 2 vectors written" in result.output
