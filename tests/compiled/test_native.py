"""The text that is translated into machine code, run as Python: equal to the readable engine.

That the translation does the same is shown in `tests/tools/test_machine_code.py`.
"""

import ast
import dataclasses
import re
from collections.abc import Callable
from typing import Any

import pytest

from hil.vectors.driving import driving_inputs
from hil.vectors.names import names_of
from tests.compiled.lockstep import calm_stimulus, run_beside
from tests.compiled.spans import run_spans_beside
from tests.compiled.test_aside import with_silences
from tests.compiled.test_lockstep import SUITED
from tests.core.test_bridge import PAIRINGS
from xlate_core.compiled import bridge, handlers, native
from xlate_core.compiled.chunks import Chunk
from xlate_core.compiled.ticking import write
from xlate_core.functions import FunctionSpec
from xlate_core.functions.fuel_pump import FuelPumpSpec
from xlate_core.functions.mapping import MappingSpec
from xlate_core.interface import BridgeSpec
from xlate_core.pairing import load

TICKS = 3000


def native_program(spec: BridgeSpec) -> Callable[[Any, Any], None]:
    """Return the native text's `build`; a Python number does not wrap at bit 63."""
    text = write(spec, native=True)
    names: dict[str, Any] = {}
    source = re.sub(r"\bint\(([\w.]+)\)", r"(\1 & (1 << 64) - 1)", native.module_text(text))
    exec(source.replace(", signed=True", ""), names)
    return lambda engine, support: names["build"](engine, support, text.bound)


@pytest.fixture
def interpreted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the fast form run the native text."""
    monkeypatch.setattr(bridge, "program_of", native_program)


@pytest.mark.usefixtures("interpreted")
@pytest.mark.parametrize("name", SUITED)
def test_the_native_text_is_equal_to_the_readable_engine(name: str) -> None:
    spec = load(PAIRINGS / name).spec
    _, at_work = run_beside(spec, calm_stimulus(spec, 3, TICKS), 3)
    assert at_work > TICKS // 50


@pytest.mark.parametrize("name", SUITED)
def test_every_number_of_the_native_text_has_64_bits(name: str) -> None:
    """The compiler works constants out, and refuses longer ones when they are met."""
    text = native.module_text(write(load(PAIRINGS / name).spec, native=True))
    for node in ast.walk(ast.parse(text)):
        try:
            number = eval(ast.unparse(node), {}) if isinstance(node, ast.expr) else 0
        except (NameError, SyntaxError, TypeError):  # no constant
            continue
        if isinstance(number, int):
            assert -(1 << 63) <= number < 1 << 63, ast.unparse(node)


def test_a_constant_in_the_last_octet_is_a_number_with_a_sign() -> None:
    last = Chunk(7, 1, intel=True)
    assert native.placed("127", last) == str(127 << 56)
    assert native.placed("128", last) == str(-(1 << 63))
    assert native.placed("255", last) == str(-(1 << 56))


def test_what_has_no_bit_in_a_mask_is_told() -> None:
    spec = load(PAIRINGS / "farm_pickup").spec
    [mapping, *_] = [one for one in spec.functions if isinstance(one, MappingSpec)]
    [pump, *_] = [one for one in spec.functions if isinstance(one, FuelPumpSpec)]
    message = spec.transmits[0]

    def beyond(packs: int, *functions: FunctionSpec) -> list[tuple[str, str, str]]:
        sent = dataclasses.replace(message, packs=message.packs[:1] * packs)
        return native.beyond_masks(
            dataclasses.replace(spec, transmits=(sent,), functions=functions)
        )

    assert beyond(63, *[mapping] * 63, pump, pump) == []
    assert [place for place, _, _ in beyond(64)] == [f"transmit.{message.name}.signals"]
    assert [place for place, _, _ in beyond(1, *[mapping] * 65)] == ["function[63]", "function[64]"]


@pytest.mark.usefixtures("interpreted")
@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("name", SUITED)
def test_spans_are_equal_to_ticks(name: str, seed: int) -> None:
    spec = load(PAIRINGS / name).spec
    count, in_spans = run_spans_beside(spec, calm_stimulus(spec, seed, TICKS), seed, unsigned)
    assert count == TICKS
    assert in_spans > TICKS // 100  # what moves in every tick leaves little for spans


@pytest.mark.usefixtures("interpreted")
def test_spans_go_on_while_messages_stay_away_and_return() -> None:
    pairing = load(PAIRINGS / "farm_pickup")
    inputs = driving_inputs(names_of(pairing))
    steps = [(frames, inputs) for frames in with_silences(pairing, 3)]
    count, in_spans = run_spans_beside(pairing.spec, steps, 3, unsigned)
    assert in_spans > count * 9 // 10


def test_without_machine_code_a_span_is_run_tick_by_tick() -> None:
    spec = load(PAIRINGS / "farm_pickup").spec
    assert run_spans_beside(spec, calm_stimulus(spec, 1, 500), 1) == (500, 0)


def unsigned(word: int) -> int:
    """Return a word as the text has it when it is run as Python."""
    return word % (1 << 64)


def turned(names: list[str], chunks: list[Chunk]) -> list[str]:
    """Read every chunk in the other byte order."""
    other = [Chunk(chunk.first, chunk.size, not chunk.intel) for chunk in chunks]
    return READ(names, other)


READ = native.read_lines
BROKEN: dict[str, tuple[Any, str, Any]] = {
    "byte order read": (native, "read_lines", turned),
    "byte order sent": (native, "placed", lambda value, chunk: f"({value}) << {8 * chunk.first}"),
    "nobody takes a frame": (handlers, "_note_taker", lambda *_: None),
    "checksum of other octets": (
        native,
        "octet_of_word",
        lambda place: f"(word >> {8 * (place ^ 1)} & 255)",
    ),
}


@pytest.mark.usefixtures("interpreted")
@pytest.mark.parametrize("what", BROKEN)
def test_a_broken_native_text_is_caught(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(*BROKEN[what])
    spec = load(PAIRINGS / "farm_pickup").spec
    with pytest.raises(AssertionError):
        run_beside(spec, calm_stimulus(spec, 70, TICKS, trouble=0), 70)
