"""From files to the frozen model: scales, units, base payloads, notes, digest."""

from dataclasses import FrozenInstanceError
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.pairing.small import BRIDGE, write
from xlate_core.arithmetic import divide
from xlate_core.bridge import Bridge, Inputs
from xlate_core.pairing import Pairing, load
from xlate_core.pairing.exact import show_ratio, to_ratio
from xlate_core.pairing.positions import read_positions
from xlate_core.pairing.scaling import decoding, encoding, nearest_step

ratios = st.fractions(min_value=Fraction(1, 1000), max_value=1000, max_denominator=1000)
offsets = st.fractions(min_value=-1000, max_value=1000, max_denominator=100)


@pytest.fixture
def small(tmp_path: Path) -> Pairing:
    return load(write(tmp_path))


@given(raw=st.integers(-(1 << 31), (1 << 32) - 1), factor=ratios, offset=offsets, step=ratios)
def test_decoding_is_the_exact_scale_rounded_once(
    raw: int, factor: Fraction, offset: Fraction, step: Fraction
) -> None:
    scale = decoding(factor, offset, step)
    assert Fraction(raw * scale.a + scale.b, scale.d) == (raw * factor + offset) / step
    value = divide(raw * scale.a + scale.b, scale.d)
    assert abs(value * step - (raw * factor + offset)) <= step / 2


@given(value=st.integers(-(1 << 31), (1 << 31) - 1), factor=ratios, offset=offsets, step=ratios)
def test_encoding_is_the_inverse(
    value: int, factor: Fraction, offset: Fraction, step: Fraction
) -> None:
    for sign in (1, -1):  # a falling scale too: the denominator stays positive
        scale = encoding(sign * factor, offset, step)
        assert scale.d > 0
        exact = (value * step - offset) / (sign * factor)
        assert Fraction(value * scale.a + scale.b, scale.d) == exact


def test_a_ratio_is_taken_exactly() -> None:
    assert to_ratio("1/18") == Fraction(1, 18)
    assert to_ratio("0.1") == Fraction(1, 10)
    assert nearest_step(Fraction(5, 2), Fraction(1)) == 3
    assert nearest_step(Fraction(-5, 2), Fraction(1)) == -3
    assert [show_ratio(Fraction(n, d)) for n, d in ((3, 1), (1, 4), (1, 18))] == [
        "3",
        "0.25",
        "1/18",
    ]
    for bad in (True, "one", "1/0", "nan", "inf", None, [1]):
        with pytest.raises(ValueError, match="a number"):
            to_ratio(bad)


def test_the_speed_source_is_resolved(small: Pairing) -> None:
    spec = small.spec
    index = [quantity.name for quantity in spec.quantities].index("speed")
    quantity = spec.quantities[index]
    assert (quantity.low, quantity.high, quantity.hold) == (0, 40000, 50)
    assert (quantity.substitute, quantity.return_rate) == (0, 8000)
    assert quantity.in_conditions
    (source,) = (spec.sources[number] for number in quantity.sources)
    assert (source.name, source.a, source.b, source.d) == ("engine.MOTOR.Speed", 1, 0, 1)
    assert (source.frozen_after, source.max_change) == (100, 2000)
    assert spec.units[source.unit].name == "engine.MOTOR"


def test_units_are_the_message_its_parts_and_its_paths(small: Pairing) -> None:
    found = [(unit.name, unit.selectors, unit.deadline) for unit in small.spec.units]
    assert found == [
        ("engine.MOTOR", (), 25),
        ("engine.SERVICE", (), 250),
        ("engine.SERVICE.tail", (), 50),
        ("engine.SERVICE.path.3..7", ((3, 7),), 200),
        ("engine.SERVICE.path.9", ((9, 9),), 0),
    ]
    assert small.spec.units[2].last_octet == 6


def test_a_routed_message_is_received_without_units(small: Pairing) -> None:
    answer = next(one for one in small.spec.messages if one.name == "engine.ANSWER")
    assert (answer.units, answer.routes, answer.allow_short) == ((), (0,), True)
    assert (small.spec.routes[0].capacity, small.spec.routes[0].fifo) == (8, True)


def test_the_base_holds_constants_initial_values_and_fill(tmp_path: Path) -> None:
    plain, pages = load(write(tmp_path)).spec.transmits
    assert plain.base == bytes([0, 0, 0, 0x20, 0x90, 0, 0, 0])  # Version 2, Kind 9
    assert pages.base == bytes([1, 0, 0, 0, 0, 0, 0, 0])
    filled = load(
        write(tmp_path, ("bridge.toml", "on_change = true", "on_change = true\nfill = 1"))
    )
    base = filled.spec.transmits[0].base
    assert base == bytes([0xFF, 0xFF, 0xFF, 0x2F, 0x90, 0xFF, 0xFF, 0])  # counter and checksum 0


def test_the_folded_identifier_is_the_message_s_own(small: Pairing) -> None:
    checksum = small.spec.transmits[0].checksum
    assert checksum is not None
    assert checksum.folds[0].value == 0x200
    assert (checksum.first_octet, checksum.last_octet) == (0, 7)


def test_period_comes_from_the_database_unless_given(small: Pairing) -> None:
    assert [one.period for one in small.spec.transmits] == [10, 50]
    assert small.spec.transmits[0].loss_of == (2,)


def test_the_power_mode_is_a_quantity_when_it_is_used(small: Pairing, tmp_path: Path) -> None:
    assert small.spec.quantities[-1].name == "power_mode"
    assert small.spec.power.mode_quantity == len(small.spec.quantities) - 1
    without = load(write(tmp_path, ("bridge.toml", 'Mode = "power_mode"\n', "")))
    assert without.spec.power.mode_quantity == -1


def test_the_model_runs_in_the_engine(small: Pairing) -> None:
    bridge = Bridge(small.spec)
    inputs = Inputs(levels=(True,), counts=(2050,))
    frames = [bridge.tick(inputs).frames for _ in range(500)]
    assert sum(len(body) for body, _ in frames) >= 10
    fuel = [quantity.name for quantity in small.spec.quantities].index("fuel")
    assert bridge.quantity(fuel).value == 100  # 50 % in steps of 0.5


def test_the_digest_is_over_the_meaning_not_the_octets(tmp_path: Path) -> None:
    first = load(write(tmp_path / "one"))
    again = load(
        write(
            tmp_path / "two",
            ("bridge.toml", 'resolution = "1/4"', "# another notation\nresolution = 0.25"),
            ("bridge.toml", "modulo = 15 }", "modulo = 15, max_step = 1 }"),
            ("engine.dbc", 'VERSION ""', 'VERSION "7"'),
        )
    )
    other = load(write(tmp_path / "three", ("bridge.toml", "hold_ms = 100", "hold_ms = 102")))
    assert first.digest == again.digest
    assert len({first.digest, other.digest}) == 2
    assert len(first.digest) == 64


def test_backward_uses_and_rounded_numbers_are_notes(tmp_path: Path) -> None:
    assert load(write(tmp_path / "plain")).notes == ()
    folder = write(
        tmp_path,
        ("bridge.toml", 'quantity = "coolant_fault", stage = 1', 'quantity = "word", stage = 1'),
        ("bridge.toml", "hysteresis = 1\n", "hysteresis = 1.3\n"),
    )
    notes = load(folder).notes
    assert any("function cooling uses word, which words produces later" in one for one in notes)
    assert any("function[1].hysteresis: 1.3 is rounded to 1" in one for one in notes)
    assert len(notes) == 2


def test_a_deadline_inside_the_cycle_time_is_a_note(tmp_path: Path) -> None:
    folder = write(tmp_path, ("bridge.toml", "deadline_ms = 50\n", "deadline_ms = 20\n"))
    (note,) = load(folder).notes
    assert note.startswith("receive.engine.MOTOR: deadline 20 ms is not longer than the cycle time")


def test_the_model_is_frozen(small: Pairing) -> None:
    with pytest.raises(FrozenInstanceError):
        small.name = "other"  # type: ignore[misc]


def test_details_tell_the_way_of_a_quantity(small: Pairing) -> None:
    coolant = next(one for one in small.quantities if one.name == "coolant")
    assert coolant.written_by == ("engine.MOTOR.Coolant",)
    assert coolant.read_by == ("fault coolant_data", "function cooling", "function gauge")
    assert (coolant.unit, coolant.resolution) == ("degC", 1)


def test_positions_follow_tables_lists_and_quoted_keys() -> None:
    text = 'a = 1\n[x."3..7"]\nb.c = [\n  1,\n  { d = 2 },\n]\n'
    text += "[[f]]\nn = 1\n[[f]]\nn = 2\n[f.g]\nh = 3\n"
    lines = read_positions(text).lines
    assert lines["a",] == 1
    assert lines["x", "3..7"] == 2
    assert lines["x", "3..7", "b", "c", 1, "d"] == 5
    assert [lines["f", index, "n"] for index in (0, 1)] == [8, 10]
    assert lines["f", 1, "g", "h"] == 12


def test_every_key_of_the_small_pairing_has_a_line() -> None:
    assert max(read_positions(BRIDGE).lines.values()) <= BRIDGE.count("\n")
    assert len(read_positions(BRIDGE).lines) > 200
