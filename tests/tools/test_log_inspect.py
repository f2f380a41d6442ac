"""`xlate log inspect` and `try-inspect`: guesses against known truth, figures against aims."""

import json
from pathlib import Path

import numpy as np
import pytest

from tests.tools.logs import random_table, refused, xlate
from tools.logs.bits import Field, extract, insert
from tools.logs.checksums import CATALOGUE, linear_tables, plain_function
from tools.logs.exporting import write_log
from tools.logs.inspection.checksum_fits import Fit, residue
from tools.logs.inspection.checksums import checksum
from tools.logs.inspection.confidence import fitted, fitted_by_sort
from tools.logs.inspection.counters import counters
from tools.logs.inspection.fields import fields
from tools.logs.inspection.findings import Material, What
from tools.logs.inspection.multiplexers import multiplexer
from tools.logs.inspection.run import RANDOM, inspect
from tools.logs.inspection.timing import sending
from tools.logs.inspection.trial import Trial, run_trial
from tools.logs.synthetic.driving import drive
from tools.logs.synthetic.networks import random_network
from tools.logs.synthetic.render import render
from tools.logs.table import Array, FrameKind, FrameTable, Key, zeros
from xlate_core.signals import ByteOrder, SignalSpec
from xlate_core.signals import extract as extract_one


def material(payload: Array, period_us: int = 10_000, identifier: int = 0x123) -> Material:
    times = np.arange(len(payload), dtype=np.int64) * period_us
    return Material(Key(0, identifier, False), 8, times, payload)


def still(rows: int) -> Array:
    return np.zeros((rows, 8), np.uint8)


# Bits ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("motorola", [False, True])
def test_fields_are_taken_as_the_reference_takes_signals(motorola: bool) -> None:
    chance = np.random.default_rng(1)
    payload = chance.integers(0, 256, (20, 8)).astype(np.uint8)
    order = ByteOrder.MOTOROLA if motorola else ByteOrder.INTEL
    for start in range(64):
        for length in (1, 2, 5, 8, 11, 16, 33):
            for signed in (False, True):
                place = Field(start, length, motorola, signed)
                if not 0 <= min(place.places()) <= max(place.places()) < 64:
                    continue
                spec = SignalSpec("S", start, length, order, signed)
                expected = [extract_one(spec, row.tobytes()) for row in payload]
                assert extract(place, payload).tolist() == expected, place
                copy = payload.copy()
                insert(place, copy, extract(place, payload))
                assert np.array_equal(copy, payload)


@pytest.mark.parametrize("spec", CATALOGUE, ids=lambda spec: spec.name)
def test_linear_part_of_a_crc_is_the_crc_less_a_constant(spec: object) -> None:
    chance = np.random.default_rng(2)
    payload = chance.integers(0, 256, (30, 8)).astype(np.uint8)
    crc = next(each for each in CATALOGUE if each is spec)
    octets = tuple(range(2, 8)) if crc.width == 16 else tuple(range(1, 8))
    sums = [plain_function(crc)(row[list(octets)].tobytes()) for row in payload]
    insert(Field(0, crc.width), payload, np.array(sums))
    fit = Fit(
        Field(0, crc.width), f"crc{crc.width}", octets, 0, crc.poly, crc.reflected, True, 0, 8
    )
    assert len(set(residue(fit, payload).tolist())) == 1
    assert linear_tables(crc.width, crc.poly, crc.reflected)[0][0] == 0


# Single searches ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("place", "modulo"), [(Field(12, 4), 16), (Field(8, 8), 255)])
def test_a_counter_with_lost_frames_and_a_reset_is_found(place: Field, modulo: int) -> None:
    count = np.arange(3000)
    count[1500:] += 3  # three frames lost
    count[2000:] -= count[2000]  # started again
    payload = still(3000)
    insert(place, payload, count % modulo)
    times = np.cumsum(np.where(np.arange(3000) == 1500, 40_000, 10_000))
    found = counters(Material(Key(0, 1, False), 8, times, payload))
    assert [(guess.place, guess.facts["modulo"]) for guess in found] == [(place, modulo)]
    assert found[0].facts["resets"] == 1


def test_what_only_takes_away_what_a_counter_adds_is_no_counter() -> None:
    """An inverted sum over a message in which little else moves."""
    count = np.arange(600) % 16
    switch = (np.arange(600) // 200) % 2  # moves the sum twice
    payload = still(600)
    insert(Field(20, 4), payload, count)
    insert(Field(4, 4), payload, (15 - count - switch) % 16)
    found = counters(material(payload))
    assert [(guess.place, guess.facts["step"]) for guess in found] == [(Field(20, 4), 1)]

    alone = still(600)
    insert(Field(4, 4), alone, 15 - count)
    (backward,) = counters(material(alone))
    assert (backward.place, backward.facts["step"]) == (Field(4, 4), 15)


@pytest.mark.parametrize("seed", range(5))
def test_noise_has_no_counter_no_checksum_and_no_selector(seed: int) -> None:
    chance = np.random.default_rng(seed)
    noise = material(chance.integers(0, 256, (3000, 8)).astype(np.uint8))
    assert counters(noise) == []
    assert checksum(noise, []) == (None, "")
    assert multiplexer(noise, set(), []) is None


def test_a_list_of_data_ids_is_solved() -> None:
    chance = np.random.default_rng(5)
    payload = chance.integers(0, 256, (800, 8)).astype(np.uint8)
    count = np.arange(800) % 16
    insert(Field(8, 4), payload, count)
    identities = chance.integers(0, 256, 16).tolist()
    function = plain_function(next(c for c in CATALOGUE if c.name == "CRC-8/AUTOSAR"))
    for row in range(800):
        put = bytes((identities[row % 16],))
        payload[row, 0] = function(payload[row, 1:].tobytes() + put)
    sent = material(payload)
    guess, _ = checksum(sent, counters(sent))
    assert guess is not None
    assert guess.facts["family"] == "CRC-8/AUTOSAR"
    assert guess.facts["data_ids"] == identities
    assert guess.facts["confirming"] == 800


def test_an_unknown_start_value_leaves_the_polynomial() -> None:
    chance = np.random.default_rng(6)
    payload = chance.integers(0, 256, (200, 8)).astype(np.uint8)
    from tools.logs.checksums import Crc

    function = plain_function(Crc("odd", 8, 0x4D, 0x33, False, 0x71))
    payload[:, 7] = [function(row[:7].tobytes()) for row in payload]
    guess, _ = checksum(material(payload), [])
    assert guess is not None
    assert guess.place == Field(56, 8)
    assert "polynomial 0x4D" in guess.text


@pytest.mark.parametrize("motorola", [False, True])
@pytest.mark.parametrize("signed", [False, True])
def test_a_number_is_found_with_its_order_and_sign(motorola: bool, signed: bool) -> None:
    angle = 3000 * np.sin(np.arange(4000) / 150)
    values = np.round(angle if signed else angle + 3050).astype(np.int64)
    place = Field(23 if motorola else 16, 13, motorola, signed)
    payload = still(4000)
    insert(place, payload, values)
    assert [guess.place for guess in fields(material(payload), 0)] == [place]


def test_sending_is_told_apart() -> None:
    chance = np.random.default_rng(7)
    steady = material(still(500), 20_000)
    guess = sending(steady, 0)
    assert guess is not None
    assert guess.facts == {"sending": "cyclic", "period_us": 20_000}
    changes = still(200)
    changes[:, 0] = np.arange(200)
    times = np.cumsum(chance.integers(20_000, 3_000_000, 200))
    guess = sending(Material(Key(0, 1, False), 8, times, changes), 0)
    assert guess is not None
    assert guess.facts["sending"] == "on change"


# Whole logs ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def trial() -> Trial:
    return run_trial(range(501, 506), messages=20)


@pytest.mark.slow
def test_counters_and_checksums_reach_their_aim(trial: Trial) -> None:
    for what in (What.COUNTER, What.CHECKSUM):
        tally = trial.tallies[what]
        recall = tally.recall()
        assert tally.truths >= 20
        assert tally.precision(90) == 1.0, trial.wrong
        assert recall is not None
        assert recall >= 0.95


@pytest.mark.slow
def test_planted_signals_are_found_with_their_scale(trial: Trial) -> None:
    tally = trial.tallies[What.FOLLOWS]
    recall = tally.recall()
    assert tally.truths >= 50
    assert recall is not None
    assert recall >= 0.9


@pytest.mark.slow
def test_confidence_keeps_its_word(trial: Trial) -> None:
    right, count = trial.marked(96, 99)
    assert count >= 100
    assert right / count >= 0.93


@pytest.mark.long(31)
@pytest.mark.slow
def test_guesses_marked_90_percent_are_right_as_often() -> None:
    more = run_trial(range(601, 621))
    right, count = more.marked(85, 95)
    assert count >= 200
    assert 0.85 <= right / count <= 0.95, more.wrong
    for what in (What.COUNTER, What.CHECKSUM):
        recall = more.tallies[what].recall()
        assert recall is not None
        assert recall >= 0.95
        assert more.tallies[what].precision(90) == 1.0, more.wrong


def test_scores_become_rising_shares() -> None:
    chance = np.random.default_rng(8)
    scores = chance.random(5000)
    right = chance.random(5000) < scores
    steps = fitted(scores.tolist(), right.tolist())
    assert [share for _, share in steps] == sorted(share for _, share in steps)
    for score, share in steps[1:-1]:
        assert abs(share / 100 - score) < 0.15


def test_one_score_is_one_step_and_a_wrong_guess_keeps_a_counter_from_being_sure() -> None:
    scores, right = [0.5] * 60 + [1.0] * 60, [False] + [True] * 119
    assert fitted(scores, right) == [(0.5, 98), (1.0, 99)]
    assert fitted(scores[::-1], right[::-1]) == [(0.5, 98), (1.0, 99)]
    judged = [(What.COUNTER, "", *each) for each in zip(scores, right, strict=True)]
    assert fitted_by_sort(judged) == {"counter": [(0.5, 89), (1.0, 99)]}
    assert fitted_by_sort([(What.VALUE, "x", 1.0, True)] * 39) == {}
    assert fitted_by_sort([(What.VALUE, "x", 1.0, True)] * 40) == {"value beside x": [(1.0, 99)]}


def test_a_number_beside_noise_is_marked_with_less() -> None:
    chance = np.random.default_rng(10)
    payload = still(3000)
    steps = np.round(100 + 90 * np.sin(np.arange(3000) / 90)).astype(np.int64)
    insert(Field(0, 8), payload, steps)
    insert(Field(32, 8), payload, steps)
    payload[:, 5] = chance.integers(0, 256, 3000)
    values = inspect(table_of(payload)).messages[0].of(What.VALUE)
    by_octet = {guess.place.start // 8: guess for guess in values if guess.place is not None}
    assert by_octet[0].doubt == ""
    assert by_octet[4].doubt == by_octet[5].doubt == RANDOM
    assert by_octet[4].confidence < 50 < by_octet[0].confidence


def table_of(payload: Array) -> FrameTable:
    """A log of one message of one bus."""
    table = zeros(len(payload), ("body",))
    table.time_us[:] = np.arange(len(payload)) * 10_000
    table.identifier[:] = 0x123
    table.length[:] = 8
    table.data[:] = payload
    return table


def test_everything_is_told_in_words_json_and_html(tmp_path: Path) -> None:
    series = drive(30, 9)
    network = random_network(9, series, 10)
    table = render(network, series, 30, 9, start_us=1_700_000_000_000_000)
    log = tmp_path / "a.log"
    write_log(log, table.channels, [table])
    lines = ["time,pedal"]
    for second in np.arange(0, 30, 0.1):
        value = float(series["pedal"].at(np.array([second * 1e6]))[0])
        lines.append(f"{second:.1f},{value:.2f}")
    (tmp_path / "pedal.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    shown = xlate("log", "inspect", log)
    assert shown.exit_code == 0, shown.output
    assert "never a fact" in " ".join(shown.output.split())
    name = network.messages[0].key.show()
    assert name in shown.output
    one = xlate("log", "inspect", log, "--message", name)
    assert "intervals: median" in one.output
    alone = json.loads(xlate("log", "inspect", log, "--message", name, "--json").stdout)
    assert [message["identifier"] for message in alone["messages"]] == [name]
    machine = xlate(
        "log", "inspect", log, "--json", "--html", tmp_path / "a.html",
        "--reference", tmp_path / "pedal.csv",
    )  # fmt: skip
    read = json.loads(machine.stdout)
    assert len(read["messages"]) == 10
    assert all(1 <= guess["confidence"] <= 99 for m in read["messages"] for guess in m["guesses"])
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "<svg" in page
    assert "no approval" in page
    assert "http" not in page


def test_obd_answers_are_references(tmp_path: Path) -> None:
    count = np.arange(6000)
    speed = np.round(3000 + 2000 * np.sin(count / 400)).astype(np.int64)
    lines = []
    for row in count.tolist():
        payload = still(1)
        insert(Field(23, 16, motorola=True), payload, speed[row : row + 1])
        lines.append(f"({row * 0.01:.6f}) body 200#{payload[0].tobytes().hex()}")
        if row % 20 == 0:
            raw = int(speed[row]) * 4
            lines.append(f"({row * 0.01 + 0.002:.6f}) body 7E8#04410C{raw:04X}000000")
    path = tmp_path / "a.log"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    read = json.loads(xlate("log", "inspect", path, "--json").stdout)
    follows = [
        guess
        for message in read["messages"]
        for guess in message["guesses"]
        if message["identifier"] == "200" and guess["what"] == "follows"
    ]
    assert len(follows) == 1
    assert follows[0]["facts"]["reference"] == "obd engine speed rpm"
    assert abs(follows[0]["facts"]["factor"] - 1.0) < 0.01


def test_a_log_of_one_bus_with_error_frames_says_so() -> None:
    table = random_table(3000, 31)
    table.bus[:] = 0
    notes = inspect(table).notes
    errors = int(np.count_nonzero(table.kind == FrameKind.ERROR))
    assert notes[0].startswith("the log has frames of one bus only (body)")
    assert f"{errors} error frames" in notes[1]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("time,a\n", "found 1 rows"),
        ("time,a\n" + "".join(f"{n},1\n" for n in range(9)) + "9,x\n", "r.csv:11: found"),
        ("time,a\n" + "".join(f"{n % 9},1\n" for n in range(12)), "r.csv:11: found a time"),
    ],
)
def test_a_wrong_reference_is_refused(tmp_path: Path, text: str, told: str) -> None:
    log = tmp_path / "a.log"
    log.write_text("(1.000000) body 123#01\n", encoding="utf-8")
    (tmp_path / "r.csv").write_text(text, encoding="utf-8")
    assert told in refused("log", "inspect", log, "--reference", tmp_path / "r.csv")


def test_wrong_wishes_are_refused(tmp_path: Path) -> None:
    log = tmp_path / "a.log"
    log.write_text("(1.000000) body 123#01\n", encoding="utf-8")
    assert "the log has 123" in refused("log", "inspect", log, "--message", "124")
    assert "BUS.MESSAGE.SIGNAL" in refused("log", "inspect", log, "--follow", "a.dbc")
    missing = tmp_path / "missing"
    for option, wish, told in (
        ("--follow", f"{missing}:body.M.S", "cannot be read as a DBC (no such file or directory)"),
        ("--reference", missing, "cannot be read as CSV (no such file or directory)"),
    ):
        assert refused("log", "inspect", log, option, wish) == f"{missing}: {told}"
    missing.write_bytes(b"time,\xff\n")
    told = refused("log", "inspect", log, "--reference", missing)
    assert told == f"{missing}: cannot be read as CSV (octet 0xFF at 5 is no text in UTF-8)"


def test_the_figures_are_printed() -> None:
    result = xlate("log", "try-inspect", "--networks", "1", "--seconds", "20", "--messages", "6")
    assert result.exit_code == 0, result.output
    assert "checksum" in result.output
    read = json.loads(
        xlate(
            "log", "try-inspect", "--networks", "1", "--seconds", "20", "--messages", "6", "--json"
        ).stdout
    )
    assert set(read["sorts"]) >= {"counter", "checksum", "value", "follows"}
