"""The analysis of a bus: offsets, advice, the streams of a pairing, the command."""

import json
import random
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.pairing.small import line_of, write
from tools.cli.main import main
from tools.timing.advice import audsley, curing_bit_rate, curing_offset
from tools.timing.board_time import board_time
from tools.timing.offsets import Placed, analyse_placed
from tools.timing.response import UNDISTURBED, Disturbance, Stream, analyse
from tools.timing.streams import _collisions, bus_timings
from xlate_core.pairing import load

PAIRINGS = Path(__file__).resolve().parents[2] / "fixtures" / "pairings"


def stream(name: str, identifier: int, bits: int, period_us: int, **more: int | bool) -> Stream:
    plain = Stream(name, False, identifier, bits, period_us, 0, period_us, "bridge")
    return replace(plain, **more)  # type: ignore[arg-type]


def test_offsets_never_make_a_bound_worse_and_equal_it_without_groups() -> None:
    source = random.Random(7)
    for _ in range(40):
        streams = [
            stream(str(i), i, source.randrange(55, 136), source.choice([5, 10, 20, 50]) * 1000)
            for i in range(12)
        ]
        disturbance = Disturbance(135, source.randrange(2), source.choice([0, 20_000]))
        plain = analyse(streams, 500_000, disturbance)
        assert [one.worst_us for one in analyse_placed(streams, [], 500_000, disturbance)] == [
            one.worst_us for one in plain
        ]
        placed = [
            Placed(one, source.choice("ab"), source.randrange(0, one.period_us, 1000))
            for one in streams[::2]
        ]
        for one, with_offsets in zip(
            plain, analyse_placed(streams, placed, 500_000, disturbance), strict=True
        ):
            assert one.worst_us is not None
            assert with_offsets.worst_us is not None
            assert with_offsets.worst_us <= one.worst_us


def test_two_messages_kept_apart_do_not_wait_for_each_other() -> None:
    streams = [stream("first", 1, 125, 10_000), stream("second", 2, 125, 10_000)]
    together = [Placed(streams[0], "g", 0), Placed(streams[1], "g", 0)]
    apart = [Placed(streams[0], "g", 5_000), Placed(streams[1], "g", 0)]
    alone = analyse_placed([streams[1]], [], 500_000, UNDISTURBED)[0].worst_us
    assert analyse_placed(streams, together, 500_000, UNDISTURBED)[1].worst_us == 500
    # The group's own worst place still counts one release of the other in any window.
    assert alone == 250
    assert analyse_placed(streams, apart, 500_000, UNDISTURBED)[1].worst_us == 500


def test_a_third_message_waits_for_one_of_two_that_are_kept_apart() -> None:
    streams = [stream(name, n, 125, 10_000) for n, name in enumerate(("a", "b", "c"))]
    streams[2] = replace(streams[2], sender="others", deadline_us=600)
    apart = [Placed(streams[0], "g", 0), Placed(streams[1], "g", 5_000)]
    together = [Placed(streams[0], "g", 0), Placed(streams[1], "g", 0)]
    assert analyse_placed(streams, together, 500_000, UNDISTURBED)[2].worst_us == 750
    assert analyse_placed(streams, apart, 500_000, UNDISTURBED)[2].worst_us == 500
    change = curing_offset(streams, together, 500_000, UNDISTURBED, 1000)
    assert change is not None
    assert change.message == "a"
    assert change.offset_us == 1000


def test_a_higher_bit_rate_cures() -> None:
    streams = [stream("a", 1, 135, 2_000), stream("b", 2, 135, 2_000, deadline_us=700)]
    assert not analyse(streams, 250_000)[1].meets
    assert curing_bit_rate(streams, 250_000, UNDISTURBED) == 500_000
    impossible = [replace(streams[1], deadline_us=100)]
    assert curing_bit_rate(impossible, 250_000, UNDISTURBED) is None


def test_free_identifiers_are_put_in_an_order_that_meets_all_deadlines() -> None:
    streams = [
        stream("slow", 1, 135, 100_000, free=True),
        stream("fixed", 2, 135, 10_000),
        stream("fast", 3, 135, 5_000, free=True, deadline_us=600),
    ]
    assert not all(one.meets for one in analyse(streams, 500_000))
    found = audsley(streams, 500_000, UNDISTURBED)
    assert found == {"fast": 1, "slow": 3}
    moved = [replace(one, identifier=found.get(one.name, one.identifier)) for one in streams]
    assert all(one.meets for one in analyse(moved, 500_000))
    hopeless = [replace(one, deadline_us=200) for one in streams]
    assert audsley(hopeless, 500_000, UNDISTURBED) is None


@pytest.mark.parametrize("name", ["farm_pickup", "j1939_instruments", "minimal"])
def test_the_fixture_pairings_meet_every_deadline(name: str) -> None:
    result = CliRunner().invoke(main, ["timing", "bus", str(PAIRINGS / name), "--json"])
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    assert told["all_met"]
    pairing = load(PAIRINGS / name)
    for timing, bus in zip(bus_timings(pairing), told["buses"].values(), strict=True):
        assert [one.stream.name for one in timing.responses] == [
            row["message"] for row in bus["messages"]
        ]
        for row in bus["messages"]:
            assert row["with_offsets_ms"] <= row["response_ms"] <= row["deadline_ms"]


def test_a_routed_message_carries_the_lateness_of_its_own_bus() -> None:
    pairing = load(PAIRINGS / "farm_pickup")
    body, engine = bus_timings(pairing)
    origin = next(one for one in engine.responses if one.stream.name == "TESTER_ANSWER")
    routed = next(one for one in body.streams if one.name == "TESTER_ANSWER")
    assert origin.worst_us is not None
    assert routed.jitter_us == -(-origin.worst_us // 1) + 1000 + board_time(pairing).us


@pytest.mark.slow
@pytest.mark.long(10)
def test_a_low_bit_rate_is_late_and_says_what_would_help() -> None:
    arguments = ["timing", "bus", str(PAIRINGS / "farm_pickup"), "--bit-rate", "body", "150000"]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 1
    assert "LATE" in result.stdout
    assert "advice: bus.body.bit_rate = 250000 meets every deadline" in result.stdout


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--bit-rate", "body", "50000"], "bus.body.bit_rate: found a load of "),
        (
            ["--bit-rate", "boddy", "50000"],
            "--bit-rate: found boddy, expected body or engine; nearest valid name: body\n",
        ),
        (
            ["--bit-rate", "body", "9" * 30],
            f"--bit-rate body: found {'9' * 30}, expected 10000 to 1000000 bit/s\n",
        ),
        (["--bit-rate", "body", "0"], "found 0, expected 10000 to 1000000 bit/s"),
    ],
)
def test_impossible_bit_rates(arguments: list[str], said: str) -> None:
    result = CliRunner().invoke(main, ["timing", "bus", str(PAIRINGS / "farm_pickup"), *arguments])
    assert result.exit_code == 2
    assert said in result.stderr
    assert "Traceback" not in result.stderr


@pytest.mark.parametrize("interval_us", ["1", "100", "700"])
def test_errors_that_fill_a_bus_leave_nothing_a_bound(interval_us: str) -> None:
    words = [str(PAIRINGS / "minimal"), "--error-interval-us", interval_us, "--json"]
    result = CliRunner().invoke(main, ["timing", "bus", *words])
    assert result.exit_code == (0 if interval_us == "700" else 1)
    for message in json.loads(result.stdout)["buses"]["body"]["messages"]:
        for bound in ("response_ms", "with_offsets_ms"):
            assert (message[bound] is None) == (interval_us != "700")


@pytest.mark.parametrize("command", ["bus", "paths"])
def test_all_that_nobody_says_is_named_at_once_with_its_place(tmp_path: Path, command: str) -> None:
    folder = write(tmp_path)
    result = CliRunner().invoke(main, ["timing", command, str(folder)])
    assert result.exit_code == 2
    told = result.stderr.splitlines()
    line = line_of(folder, "body.dbc", " WISH:")
    assert told[0] == (
        f"{folder}/bridge.toml:1: traffic.body.message.WISH.period_us: found no such key and no "
        f"cycle time in body.dbc:{line}, expected the least distance of two frames in us"
    )
    rates = [one for one in told if "bit_rate" in one]
    for bus, one in zip(("body", "engine"), rates, strict=True):
        place = f"{folder}/bridge.toml:{line_of(folder, 'bridge.toml', f'[bus.{bus}]')}"
        assert one.startswith(f"{place}: bus.{bus}.bit_rate: found no such key, expected the bit ")
    assert len(told) > len(rates) + 1, "other messages without a period are told as well"


@pytest.mark.parametrize("command", ["bus", "paths"])
def test_a_pairing_without_bit_rates_is_refused(tmp_path: Path, command: str) -> None:
    _copy_of_minimal(tmp_path, "bit_rate = 500000\n", "")
    result = CliRunner().invoke(main, ["timing", command, str(tmp_path)])
    assert result.exit_code == 2
    assert "bus.body.bit_rate: found no such key, expected the bit rate in bit/s" in result.stderr


def test_a_bit_rate_given_for_once_is_enough(tmp_path: Path) -> None:
    _copy_of_minimal(tmp_path, "bit_rate = 500000\n", "")
    rates = ["--bit-rate", "body", "250000", "--bit-rate", "engine", "250000"]
    result = CliRunner().invoke(main, ["timing", "bus", str(tmp_path), *rates])
    assert result.exit_code == 0, result.output


def test_two_messages_with_one_identifier_are_named(tmp_path: Path) -> None:
    streams = bus_timings(load(PAIRINGS / "minimal"))[0].streams
    twice = [streams[0], replace(streams[0], name="OTHER")]
    (problem,) = _collisions(load(PAIRINGS / "minimal"), 0, twice)
    assert problem.found == "OTHER and GAUGE with one identifier 0x220"
    assert (problem.file, problem.key_path) == ("bridge.toml", "bus.body.database")


def _copy_of_minimal(folder: Path, text: str, instead: str) -> None:
    for name in ("bridge.toml", "body.dbc", "engine.dbc"):
        source = (PAIRINGS / "minimal" / name).read_text(encoding="utf-8")
        (folder / name).write_text(source.replace(text, instead), encoding="utf-8")


def test_an_unknown_message_in_the_traffic_table(tmp_path: Path) -> None:
    extra = "[traffic.engine.message.MOTR]\nperiod_us = 1000\n\n[input.key]"
    folder = write(tmp_path, ("bridge.toml", "[input.key]", extra))
    result = CliRunner().invoke(main, ["timing", "bus", str(folder)])
    assert result.exit_code == 2
    assert "traffic.engine.message.MOTR" in result.stderr
    assert "nearest valid name: MOTOR" in result.stderr
