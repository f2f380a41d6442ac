"""The tour of the README: import, inspect, draft, edit, check, replay, compare."""

import json
import re
from pathlib import Path

import pytest

from tests.tools.logs import xlate
from tools.logs.importing import ImportOptions, read_table

ROOT = Path(__file__).resolve().parents[2]


def ran(*arguments: str | Path) -> str:
    result = xlate(*arguments)
    assert result.exit_code == 0, result.output
    return result.output


def edited(bridge: str) -> str:
    """The edits the README asks for: two constants become the quantities they follow."""
    bridge = re.sub(
        r"(Value_5_14|Value_16_7) = \{ constant = \d+ \}.*",
        lambda found: f'{found[1]} = "engine_1a0_{QUANTITIES[found[1]]}"',
        bridge,
    )
    start = bridge.index("[quantity.engine_1a0_value_16_7]")
    line = bridge.index("watch_only", start)
    return bridge[:line] + bridge[bridge.index("\n", line) + 1 :]


QUANTITIES = {"Value_5_14": "value_0_14", "Value_16_7": "value_16_7"}


@pytest.fixture(scope="module")
def tour(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tour up to the replay, in a folder."""
    folder = tmp_path_factory.mktemp("tour")
    log, notes = folder / "tour.log", folder / "tour.csv"
    ran("log", "generate", "tour", "--out", log, "--reference", notes)
    ran("log", "import", log, "--out", folder / "tour.xlog")
    ran(
        "log", "draft", folder / "tour.xlog", "--out", folder / "my_car", "--send", "body:320",
        "--reference", notes,
    )  # fmt: skip
    ran("pairing", "check", folder / "my_car")
    bridge = folder / "my_car" / "bridge.toml"
    bridge.write_text(edited(bridge.read_text(encoding="utf-8")), encoding="utf-8")
    ran("pairing", "check", folder / "my_car")
    ran(
        "log", "replay", folder / "my_car", log, "--input", "ignition_switch=active", "--out",
        folder / "sent.log", "--tail-ms", "0",
    )  # fmt: skip
    return folder


def test_inspect_tells_what_the_tour_says(tour: Path) -> None:
    told = ran("log", "inspect", tour / "tour.xlog", "--reference", tour / "tour.csv")
    line = next(each for each in told.splitlines() if each.startswith("body 320"))
    for part in ("every 20 ms", "counter 0..15", "CRC-8/AUTOSAR", "follows engine_speed"):
        assert part in line
    assert "data ID 0x5B behind" in ran("log", "inspect", tour / "tour.xlog", "--message", "320")


def test_a_known_signal_is_found_in_other_messages(tour: Path) -> None:
    known = f"{tour / 'my_car' / 'engine.dbc'}:engine.ENGINE_1A0.Value_0_14"
    told = ran("log", "inspect", tour / "tour.xlog", "--follow", known)
    line = next(each for each in told.splitlines() if each.startswith("body 320"))
    found = re.search(r"value = raw \* ([0-9.]+) \+ (-?[0-9.]+) at 5\|14@0\+", line)
    assert found is not None, line
    assert abs(float(found[1]) - 0.25) < 0.001
    assert abs(float(found[2])) < 5


def test_the_edited_draft_sends_what_the_factory_sent(tour: Path) -> None:
    told = ran("log", "compare", tour / "tour.log", tour / "sent.log", "--only", "body:320")
    assert "body 320: equal" in told
    assert "1 messages compared, 0 different" in told


def test_a_draft_that_was_not_edited_is_told_apart(tour: Path) -> None:
    sent = read_table([tour / "sent.log"], ImportOptions())
    assert len(sent) > 2900
    lines = (tour / "sent.log").read_text(encoding="utf-8").splitlines()
    fixed = [re.sub(r"#.{4}", "#2640", line) for line in lines]
    (tour / "fixed.log").write_text("\n".join(fixed) + "\n", encoding="utf-8")
    result = xlate("log", "compare", tour / "tour.log", tour / "fixed.log", "--only", "body:320")
    assert result.exit_code == 1
    assert "stands still" in result.output
    assert "checksum" in result.output


@pytest.mark.parametrize("name", ["farm_pickup", "minimal", "j1939_instruments"])
def test_the_network_of_a_pairing_is_accepted_by_it(tmp_path: Path, name: str) -> None:
    folder = ROOT / "fixtures" / "pairings" / name
    log = tmp_path / "a.log"
    ran("log", "generate", "pairing", "--pairing", folder, "--out", log, "--seconds", "2")
    switch = {"minimal": "key_switch"}.get(name, "ignition_switch")
    told = xlate("log", "replay", folder, log, "--input", f"{switch}=active", "--json")
    assert told.exit_code == 0, told.output
    read = json.loads(told.stdout)
    assert sum(read["accepted"].values()) > 50
    assert set(read["rejected"]) <= {"second_sender", "frame_unknown"}


@pytest.mark.slow
def test_speed_measures_every_row() -> None:
    read = json.loads(xlate("log", "speed", "--drive-s", "3", "--repeats", "1", "--json").stdout)
    assert [row["key"] for row in read] == [
        "store_write", "store_read", "store_size", "text_import", "text_python_can", "inspect_hour",
    ]  # fmt: skip
    assert all(row["median"] > 0 for row in read)
