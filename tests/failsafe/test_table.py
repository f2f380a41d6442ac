"""The failsafe table on the smallest pairing: what it says, and that a broken safe state shows."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.broken.harness import ROOT, Mistake, copy_engine
from tests.failsafe.tables import MINIMAL, REQUIRED, builder_of, row, rows_of
from tools.cli.main import main
from tools.failsafe.build import Builder
from tools.failsafe.folding import fold
from tools.failsafe.rows import Status
from xlate_core.errors import InputError

TEXT = REQUIRED.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def builder(tmp_path_factory: pytest.TempPathFactory) -> Builder:
    return builder_of(TEXT, tmp_path_factory.mktemp("table"))


def test_loss_of_the_message_turns_the_fan_on_in_the_time_of_the_pairing(builder: Builder) -> None:
    """STATE comes every 2 ms: lost 3..5 ms after the fault, held 6 ms, then a control tick of 2."""
    found = row(rows_of(builder, "lost"), "output.fan_relay", "lost")
    assert found.status is Status.PASS
    assert (found.required, found.observed) == ("on", "on")
    assert (found.threshold_least_ms, found.threshold_most_ms) == (3, 6)
    assert found.detection == "unit_lost of engine.STATE"
    assert 3 <= (found.detection_ms or 0) <= 6
    assert 9 <= (found.total_ms or 0) <= 15
    assert found.margin_ms == 30 - found.total_ms
    assert found.recovery.startswith("returns in ")
    assert found.enabling == "key_on"


def test_hot_engine_has_its_fan_on_before_and_after(builder: Builder) -> None:
    found = row(rows_of(builder, "lost"), "output.fan_relay", "lost", engine="hot")
    assert (found.status, found.total_ms) == (Status.PASS, 0)


def test_nothing_leaves_on_a_bus_that_is_off(builder: Builder) -> None:
    seen = {
        one.subject: one.observed
        for one in rows_of(builder, "bus-off")
        if one.output == "body.GAUGE.Turns"
    }
    assert seen == {"body": "silent", "engine": "0 rpm"}


def test_silence_is_noticed_again_after_everything_was_silent(builder: Builder) -> None:
    bench = builder.bench
    bench.power_on()
    seen = []
    for dead in (False, True, False, True):
        bench.watch.dead = {0, 1} if dead else set()
        bench.run(100)
        seen.append(bench.watch.values["body.GAUGE.Turns"] == "silent")
    assert seen == [False, True, False, True]


@pytest.mark.parametrize("kind", ["frozen", "wrong but plausible"])
def test_what_no_rule_sees_is_shown_as_undetected(builder: Builder, kind: str) -> None:
    rows = rows_of(builder, kind)
    assert rows == [] or {one.status for one in rows} == {Status.UNDETECTED}
    if kind != "frozen":
        assert rows


def test_what_nobody_requires_anything_for_is_open(tmp_path: Path) -> None:
    start = TEXT.index("[[require]]")
    only = TEXT[
        TEXT.index('[[require]]\nid = "FAN-LOSS"') : TEXT.index('[[require]]\nid = "WARMTH')
    ]
    rows = rows_of(builder_of(TEXT[:start] + only, tmp_path), "lost")
    assert row(rows, "output.fan_relay", "lost").status is Status.PASS
    assert row(rows, "body.GAUGE.Turns", "lost").status is Status.OPEN


def test_too_late_is_a_deviation(tmp_path: Path) -> None:
    """The deadline of 5 ms and the hold of 6 ms cannot be over after 8 ms."""
    rows = rows_of(builder_of(TEXT.replace("within_ms = 30", "within_ms = 8"), tmp_path), "lost")
    found = row(rows, "output.fan_relay", "lost")
    assert found.status is Status.DEVIATES
    assert "allowed 8 ms" in found.note


def test_wrong_recovery_is_a_deviation(tmp_path: Path) -> None:
    text = TEXT.replace('safer = "on: a fan', 'recovery = "stays"\nsafer = "on: a fan')
    found = row(rows_of(builder_of(text, tmp_path), "lost"), "output.fan_relay", "lost")
    assert (found.status, found.recovery_required) == (Status.DEVIATES, "stays")


def test_a_group_is_tried_as_one_fault_and_judged_by_its_parts(tmp_path: Path) -> None:
    group = """
[group.both]
words = "one plug"
faults = ["lost of engine.STATE", "stuck of input.key_switch", "flood of engine"]
[contradiction.key]
words = "key out while the engine turns"
set = { "input.key_switch" = "inactive" }
[[interaction]]
id = "MEET"
words = "data is lost, and the key goes out"
situations = { power = ["running"] }
faults = ["lost of engine.STATE"]
after_ms = 20
then = { "input.key_switch" = "inactive" }
outputs = ["output.fan_relay"]
state = "off"
within_ms = 20
because = "own choice"
"""
    builder = builder_of(TEXT + group, tmp_path)
    names = [one.name for one in builder.faults]
    assert "group of group.both" in names
    assert "pair of lost of engine.STATE + stuck of input.key_switch" in names
    assert "contradictory switches of contradiction.key" in names
    rows = rows_of(builder, "interaction")
    assert [(one.output, one.status) for one in rows] == [("output.fan_relay", Status.PASS)]


def test_a_named_interaction_is_one_line_for_all_its_outputs(tmp_path: Path) -> None:
    meeting = """
[[interaction]]
id = "MEET"
words = "data is lost, and the key goes out"
situations = { power = ["running"], engine = ["warm"] }
faults = ["lost of engine.STATE"]
after_ms = 20
then = { "input.key_switch" = "inactive" }
outputs = ["output.fan_relay", "body.GAUGE.FanOn"]
state = "off"
within_ms = 20
because = "own choice"
"""
    lines = fold(rows_of(builder_of(TEXT + meeting, tmp_path), "interaction"))
    assert [(line.output, line.rows, line.status) for line in lines] == [
        ("several outputs", 2, Status.PASS)
    ]


def test_faults_the_bench_cannot_make_are_undetected_unless_somebody_says_why(
    tmp_path: Path,
) -> None:
    """A reason that speaks of other outputs is none for this one."""
    other = """
[[not_applicable]]
faults = ["*"]
outputs = ["body.GAUGE.*"]
reason = "only shown, never acted on"
"""
    rows = list(builder_of(TEXT + other, tmp_path).static_rows())
    assert {(one.kind, one.status) for one in rows if one.output == "output.fan_relay"} == {
        (kind, Status.UNDETECTED) for kind in ("output open", "output shorted", "output stuck")
    }


def test_a_situation_that_was_not_reached_is_refused(tmp_path: Path) -> None:
    text = TEXT.replace('"body.GAUGE.Turns" = 2000', '"body.GAUGE.Turns" = 2500')
    builder = builder_of(text, tmp_path)
    with pytest.raises(InputError, match=r"running.shows: found body.GAUGE.Turns 2000 rpm"):
        rows_of(builder, "lost")


BREAK = {
    "fan_off_on_loss": Mistake(
        "fan_off_on_loss",
        "functions/cooling_fan.py",
        "wanted = max(wanted, spec.on_loss_stage)",
        "wanted = min(wanted, 0)",
        "",
    ),
    "deadline_never": Mistake(
        "deadline_never",
        "reception.py",
        "if reading >= expiry:",
        "if reading > expiry + 99999:",
        "",
    ),
    "hold_for_ever": Mistake(
        "hold_for_ever",
        "quantities.py",
        "elif state.held < spec.hold and",
        "elif state.held < spec.hold + 99999 and",
        "",
    ),
}
SHOW = """
import json, sys
from pathlib import Path
from tests.failsafe.tables import builder_of, rows_of, REQUIRED
builder = builder_of(REQUIRED.read_text(encoding="utf-8"), Path(sys.argv[1]))
rows = rows_of(builder, "lost", "not available", "error code", "bus-off")
print(json.dumps([(one.output, one.status.value) for one in rows]))
"""


@pytest.mark.parametrize("name", BREAK)
def test_a_broken_safe_state_does_not_pass(tmp_path: Path, name: str) -> None:
    """The same requirements on a broken copy of the engine: the fan relay must be told."""
    folder = copy_engine(tmp_path, BREAK[name])
    environment = dict(os.environ, PYTHONPATH=os.pathsep.join((str(folder), str(ROOT))))
    done = subprocess.run(
        [sys.executable, "-c", SHOW, str(tmp_path)],
        env=environment,
        cwd=folder,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 0, done.stderr
    fan = {status for output, status in json.loads(done.stdout) if output == "output.fan_relay"}
    assert fan & {"deviates", "undetected"}


def test_the_command_writes_the_table_of_the_smallest_pairing_without_an_open_row(
    tmp_path: Path,
) -> None:
    result = CliRunner().invoke(
        main, ["failsafe", "build", str(MINIMAL), "--out", str(tmp_path), "--jobs", "1"]
    )
    assert result.exit_code == 0, result.output
    told = json.loads((tmp_path / "table.json").read_text(encoding="utf-8"))
    assert told["counts"]["open"] == told["counts"]["deviates"] == 0
    assert told["counts"]["pass"] > 100
    assert told["counts"]["undetected"] > 0
    assert "No conformity is claimed" in (tmp_path / "table.html").read_text(encoding="utf-8")
    assert (tmp_path / "table.csv").read_text(encoding="utf-8").count("\n") == len(
        told["rows"]["values"]
    ) + 1


def test_folding_keeps_every_row_once(builder: Builder) -> None:
    rows = rows_of(builder, "lost", "bus-off", "not available")
    lines = fold(rows)
    assert sum(line.rows for line in lines) == len(rows)
    assert sorted(one for line in lines for one in line.ids) == sorted(one.id for one in rows)
    assert len(lines) < len(rows)
