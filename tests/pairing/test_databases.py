"""Network databases: placements, exact scales, formats, multiplexers, attributes."""

import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.layouts import signals
from tests.pairing.small import FILES, write
from xlate_core.pairing import DbcMessage, load
from xlate_core.pairing.databases import exact, ranges, read_database
from xlate_core.pairing.layouts import plain_unit
from xlate_core.pairing.positions import Positions
from xlate_core.pairing.problems import Collector
from xlate_core.signals import ByteOrder, SignalSpec

HEAD = 'VERSION ""\nNS_ :\nBS_:\nBU_: A\n'


def read(folder: Path, text: str) -> tuple[DbcMessage, ...]:
    path = folder / "some.dbc"
    path.write_text(text, encoding="utf-8", newline="\n")
    collector = Collector(Positions())
    messages = read_database(path, 1, collector)
    assert not collector.problems, collector.problems
    assert messages is not None
    return messages


def signal_line(spec: SignalSpec, factor: str = "1", offset: str = "0") -> str:
    order = "1" if spec.byte_order is ByteOrder.INTEL else "0"
    sign = "-" if spec.signed else "+"
    place = f"{spec.start}|{spec.length}@{order}{sign}"
    return f' SG_ {spec.name} : {place} ({factor},{offset}) [0|0] "" A\n'


@given(spec=signals())
def test_every_placement_comes_through(
    spec: SignalSpec, tmp_path_factory: pytest.TempPathFactory
) -> None:
    text = HEAD + "BO_ 256 M: 8 A\n" + signal_line(spec)
    (message,) = read(tmp_path_factory.getbasetemp(), text)
    assert message.signals[0].spec == spec
    assert message.signals[0].line == 6


@given(digits=st.integers(1, 10**15), places=st.integers(1, 9), negative=st.booleans())
def test_decimal_scales_are_taken_as_written(digits: int, places: int, negative: bool) -> None:
    written = f"{digits // 10**places}.{digits % 10**places:0{places}d}"
    value = Fraction(-digits if negative else digits, 10**places)
    assert exact(float(f"-{written}" if negative else written)) == value


def test_one_number_in_two_formats_is_two_messages(tmp_path: Path) -> None:
    text = HEAD + "BO_ 256 SHORT: 8 A\n\nBO_ 2147483904 LONG: 8 A\n"
    short, long = read(tmp_path, text)
    assert (short.identifier, short.extended) == (0x100, False)
    assert (long.identifier, long.extended) == (0x100, True)
    pairing = load(write(tmp_path))
    motor, service = pairing.message("engine", "MOTOR"), pairing.message("engine", "SERVICE")
    assert motor is not None
    assert service is not None
    assert pairing.message_of(motor.key) is motor
    assert pairing.message_of(service.key) is service


def test_cycle_time_zero_is_told_from_none(tmp_path: Path) -> None:
    pairing = load(write(tmp_path))
    cycles = {message.name: message.cycle_ms for message in pairing.databases["engine"]}
    assert cycles == {"MOTOR": 20, "SERVICE": None, "ANSWER": None, "WIDE": 0}


def test_send_type_values_and_initial_values_are_read(tmp_path: Path) -> None:
    pairing = load(write(tmp_path))
    wide, motor = pairing.message("engine", "WIDE"), pairing.message("engine", "MOTOR")
    cluster = pairing.message("body", "CLUSTER")
    assert wide is not None
    assert motor is not None
    assert cluster is not None
    assert (wide.send_type, motor.send_type) == ("event", "cyclic")
    count, kind = motor.signal("Count"), cluster.signal("Kind")
    assert count is not None
    assert count.values == ((0, "first"), (14, "last"))
    assert kind is not None
    assert kind.initial == 9


def test_multiplexer_values_are_ranges(tmp_path: Path) -> None:
    pairing = load(write(tmp_path))
    service = pairing.message("engine", "SERVICE")
    assert service is not None
    oil, selector = service.signal("Oil"), service.signal("Selector")
    assert oil is not None
    assert selector is not None
    assert (oil.selector, oil.selected_by) == ("Selector", ((3, 7),))
    assert selector.is_selector
    assert ranges([9, 3, 4, 5, 4, 11]) == ((3, 5), (9, 9), (11, 11))


def test_extended_multiplexing_keeps_the_whole_way(tmp_path: Path) -> None:
    text = (
        HEAD
        + "BO_ 256 M: 8 A\n"
        + ' SG_ First M : 0|8@1+ (1,0) [0|0] "" A\n'
        + ' SG_ Second m1M : 8|8@1+ (1,0) [0|0] "" A\n'
        + ' SG_ Deep m2 : 16|8@1+ (1,0) [0|0] "" A\n'
        + ' SG_ Flat m3 : 16|8@1+ (1,0) [0|0] "" A\n'
        + "SG_MUL_VAL_ 256 Second First 1-1;\n"
        + "SG_MUL_VAL_ 256 Deep Second 2-4, 6-6;\n"
        + "SG_MUL_VAL_ 256 Flat First 3-3;\n"
    )
    (message,) = read(tmp_path, text)
    deep, flat = message.signal("Deep"), message.signal("Flat")
    assert deep is not None
    assert flat is not None
    assert (deep.selector, deep.selected_by) == ("Second", ((2, 4), (6, 6)))
    assert (flat.selector, flat.selected_by) == ("First", ((3, 3),))


def test_the_raw_range_is_that_of_the_physical_one(tmp_path: Path) -> None:
    text = (
        HEAD
        + "BO_ 256 M: 8 A\n"
        + ' SG_ Warm : 0|8@1+ (1,-40) [-40|210] "" A\n'
        + ' SG_ Falling : 8|8@1+ (-0.5,100) [0|100] "" A\n'
        + ' SG_ Any : 16|8@1- (1,0) [0|0] "" A\n'
        + ' SG_ Third : 24|8@1+ (0.3,0) [1|10] "" A\n'
    )
    (message,) = read(tmp_path, text)
    found = [signal.raw_range() for signal in message.signals]
    assert found == [(0, 250), (0, 200), (-128, 127), (4, 33)]


def test_the_old_code_page_is_read_too(tmp_path: Path) -> None:
    text = FILES["engine.dbc"].replace('"degC"', '"\u00b0C"')
    folder = write(tmp_path)
    (folder / "engine.dbc").write_bytes(text.encode("cp1252"))
    motor = load(folder).message("engine", "MOTOR")
    assert motor is not None
    coolant = motor.signal("Coolant")
    assert coolant is not None
    assert coolant.unit == "\u00b0C"
    assert plain_unit(coolant.unit) == plain_unit("degC")


def test_a_load_brings_no_tester_along_and_leaves_it_to_who_wants_it(tmp_path: Path) -> None:
    program = (
        "import sys\n"
        "from pathlib import Path\n"
        "from xlate_core.pairing import load\n"
        f"load(Path({str(write(tmp_path))!r}))\n"
        "assert 'cantools' in sys.modules and 'can' not in sys.modules\n"
        "import cantools.tester\n"
        "assert cantools.tester.Tester\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
