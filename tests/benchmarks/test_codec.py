"""The engine's codec beside cantools and bitstruct: one message of 8 signals, both byte orders.

A plain test run executes each once and checks that all agree; `--benchmark-enable`, which
`xlate speed` gives, measures. A call handles PAYLOADS payloads, one after the other; the last leads
on to the first. There are two series: in `all_new` every signal changes from one payload to the
next, in `one_new` one of the eight does, as in ordinary traffic.
"""

import importlib
import random
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any

import cantools
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from xlate_core.compiled.codec import Codec, codec_of
from xlate_core.decoding import decode_unit, unit_decoder
from xlate_core.pairing import Pairing, load
from xlate_core.quantities import VALID, QuantityState, QuantityStore, SourceState
from xlate_core.transmission import TransmitState, clear_slot, pack

FOLDER = Path(__file__).resolve().parent / "eight_signals"
PAYLOADS = 64
MOTOROLA = ("s12u4u10u6", ("Torque", "State", "Angle", "Load"))  # behind 4 octets
INTEL = ("s8u8u4u12", ("Trim", "Warmth", "Step", "Turns"))  # in the first 4 octets turned round

Values = list[dict[str, Any]]


def fast_bitstruct() -> ModuleType:
    """The compiled bitstruct where this Python has it: the one that cantools takes too."""
    try:
        return importlib.import_module("bitstruct.c")
    except ImportError:
        return importlib.import_module("bitstruct")


@dataclass
class Subject:
    """The message, its payloads, and their values as cantools reads them."""

    pairing: Pairing
    payloads: list[bytes]
    layout: Any
    raw: Values
    scaled: Values
    new: int
    """How many signals change from one payload to the next."""


def all_new(layout: Any) -> list[bytes]:
    rng = random.Random("eight signals")
    found: list[bytes] = []
    before: dict[str, Any] = {}
    while len(found) < PAYLOADS:
        payload = rng.randbytes(8)
        values = layout.decode(payload, scaling=False)
        first = layout.decode(found[0], scaling=False) if len(found) == PAYLOADS - 1 else {}
        if all(before.get(name) != value != first.get(name) for name, value in values.items()):
            found.append(payload)
            before = values
    return found


def one_new(layout: Any) -> list[bytes]:
    """Each signal in turn takes the next of 8 values; the last round leads back to the first."""
    rng = random.Random("one of eight")
    series = {signal.name: rng.sample(raw_range(signal), 8) for signal in layout.signals}
    values = {name: chosen[0] for name, chosen in series.items()}
    found = []
    for turn in range(1, 9):
        for name, chosen in series.items():
            values[name] = chosen[turn % 8]
            found.append(layout.encode(values, scaling=False))
    return found


def raw_range(signal: Any) -> range:
    """The raw values that the bits of a cantools signal hold."""
    low = -(1 << (signal.length - 1)) if signal.is_signed else 0
    return range(low, low + (1 << signal.length))


SERIES = {"all_new": (all_new, 8), "one_new": (one_new, 1)}


@cache
def subject_of(series: str) -> Subject:
    layout: Any = cantools.database.load_file(FOLDER / "engine.dbc").get_message_by_name("PROBE")
    make, new = SERIES[series]
    payloads = make(layout)
    assert len(payloads) == PAYLOADS
    return Subject(
        load(FOLDER),
        payloads,
        layout,
        [dict(layout.decode(payload, scaling=False)) for payload in payloads],
        [dict(layout.decode(payload)) for payload in payloads],
        new,
    )


@pytest.fixture(params=SERIES)
def subject(request: pytest.FixtureRequest) -> Subject:
    return subject_of(request.param)


@pytest.fixture
def varied() -> Subject:
    return subject_of("all_new")


def measure(benchmark: BenchmarkFixture, work: Callable[[], Any]) -> Any:
    benchmark.extra_info["messages"] = PAYLOADS
    return benchmark(work)


def quantity_values(pairing: Pairing, scaled: dict[str, Any]) -> dict[str, int]:
    """Values in steps of each quantity's resolution, from cantools' physical values."""
    resolutions = {
        "turns": Fraction(1, 8),
        "warmth": Fraction(1, 2),
        "torque": Fraction(1, 4),
        "angle": Fraction(1, 20),
    }
    sources = {s.quantity: s.name.rpartition(".")[2] for s in pairing.spec.sources if s.signal}
    return {
        quantity.name: int(
            Fraction(str(round(scaled[sources[index]], 6))) / resolutions.get(quantity.name, 1)
        )
        for index, quantity in enumerate(pairing.spec.quantities)
        if index in sources
    }


# DECODE


def test_decode_engine(benchmark: BenchmarkFixture, subject: Subject) -> None:
    spec = subject.pairing.spec
    states = [(source, SourceState()) for source in spec.sources if source.signal]
    assert len(states) == 8
    decoder = unit_decoder(states)

    def work() -> None:
        touched: set[int] = set()
        for payload in subject.payloads:
            decode_unit(decoder, payload, touched)

    measure(benchmark, work)
    for payload, scaled in zip(subject.payloads, subject.scaled, strict=True):
        touched: set[int] = set()
        decode_unit(decoder, payload, touched)
        assert len(touched) == subject.new
        values = {spec.quantities[source.quantity].name: state for source, state in states}
        assert all(state.status == VALID for state in values.values())
        found = {name: state.value for name, state in values.items()}
        assert found == quantity_values(subject.pairing, scaled)


def fast_codec(subject: Subject) -> Codec:
    signals = [s.signal for s in subject.pairing.spec.sources if s.signal is not None]
    codec = codec_of(signals, 8)
    assert codec is not None
    return codec


def test_decode_fast(benchmark: BenchmarkFixture, subject: Subject) -> None:
    decode = fast_codec(subject).decode

    def work() -> Values:
        return [decode(payload) for payload in subject.payloads]

    assert measure(benchmark, work) == subject.raw


def test_decode_cantools_raw(benchmark: BenchmarkFixture, subject: Subject) -> None:
    decode = subject.layout.decode

    def work() -> Values:
        return [
            decode(payload, decode_choices=False, scaling=False) for payload in subject.payloads
        ]

    assert measure(benchmark, work) == subject.raw


def test_decode_cantools_scaled(benchmark: BenchmarkFixture, subject: Subject) -> None:
    decode = subject.layout.decode

    def work() -> Values:
        return [decode(payload, decode_choices=False) for payload in subject.payloads]

    assert measure(benchmark, work) == subject.scaled


def test_decode_bitstruct(benchmark: BenchmarkFixture, subject: Subject) -> None:
    module = fast_bitstruct()
    motorola, intel = (module.compile(form, list(names)) for form, names in (MOTOROLA, INTEL))

    def work() -> Values:
        return [
            {**intel.unpack(payload[3::-1]), **motorola.unpack(payload[4:])}
            for payload in subject.payloads
        ]

    assert measure(benchmark, work) == subject.raw


# ENCODE


def test_encode_fast(benchmark: BenchmarkFixture, varied: Subject) -> None:
    encode = fast_codec(varied).encode

    def work() -> list[bytes]:
        return [encode(values) for values in varied.raw]

    assert measure(benchmark, work) == varied.payloads


def test_encode_engine(benchmark: BenchmarkFixture, varied: Subject) -> None:
    spec = varied.pairing.spec
    (transmit,) = spec.transmits
    stores = []
    for scaled in varied.scaled:
        values = quantity_values(varied.pairing, scaled)
        states = [QuantityState(value=values.get(q.name, 0), status=VALID) for q in spec.quantities]
        stores.append(QuantityStore(spec.quantities, states))

    slot = TransmitState()
    clear_slot(transmit, slot)
    everything = set(slot.open)

    def one(store: QuantityStore) -> bytes:
        slot.open |= everything  # as if every quantity had changed
        pack(transmit, slot, store)
        return slot.payload

    def work() -> list[bytes]:
        return [one(store) for store in stores]

    assert measure(benchmark, work) == varied.payloads


def test_encode_cantools_raw(benchmark: BenchmarkFixture, varied: Subject) -> None:
    encode = varied.layout.encode

    def work() -> list[bytes]:
        return [encode(values, scaling=False) for values in varied.raw]

    assert measure(benchmark, work) == varied.payloads


def test_encode_cantools_scaled(benchmark: BenchmarkFixture, varied: Subject) -> None:
    encode = varied.layout.encode

    def work() -> list[bytes]:
        return [encode(values) for values in varied.scaled]

    assert measure(benchmark, work) == varied.payloads


def test_encode_bitstruct(benchmark: BenchmarkFixture, varied: Subject) -> None:
    module = fast_bitstruct()
    motorola, intel = (module.compile(form, list(names)) for form, names in (MOTOROLA, INTEL))

    def work() -> list[bytes]:
        return [intel.pack(values)[::-1] + motorola.pack(values) for values in varied.raw]

    assert measure(benchmark, work) == varied.payloads
