"""The generated C: same text whenever and wherever, nothing of the machine, clear refusals."""

import dataclasses
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from hil.firmware.building import core_sources
from hil.firmware.notation import NotationError
from hil.firmware.tables import generate, header, source, write
from tests.core.test_bridge import NAMES, PAIRINGS
from tools.cli.main import main
from xlate_core.pairing import load
from xlate_core.protection import CRC8_CATALOGUE, crc_table

FILES = {"xb_tables.h", "xb_tables.c", "xb_functions.c", "xb_state.h", "xb_state.c"}
WITHOUT_PLACE = ("__DATE__", "__TIME__", "__FILE__")


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the files of every pairing, written by another process."""
    folder = tmp_path_factory.mktemp("elsewhere")
    script = (
        "import sys; from pathlib import Path; from xlate_core.pairing import load;"
        "from hil.firmware.tables import write\n"
        "for name in sys.argv[3:]:"
        " write(load(Path(sys.argv[1], name)), Path(sys.argv[2], name))"
    )
    arguments = [sys.executable, "-c", script, str(PAIRINGS), str(folder), *NAMES]
    subprocess.run(arguments, check=True, cwd=PAIRINGS.parents[1], env={"PYTHONHASHSEED": "7"})
    return folder


@pytest.mark.parametrize("name", NAMES)
def test_another_process_and_folder_give_the_same_text(name: str, elsewhere: Path) -> None:
    texts = generate(load(PAIRINGS / name))
    assert set(texts) == FILES
    for file, text in texts.items():
        assert (elsewhere / name / file).read_bytes() == text.encode("utf-8")


def test_nothing_of_date_or_place_is_in_the_text() -> None:
    for name in NAMES:
        text = "".join(generate(load(PAIRINGS / name)).values())
        assert not re.search(r"\b20\d\d-\d\d|\b\d\d:\d\d:\d\d", text)
        assert str(PAIRINGS.parents[1]) not in text
        assert not any(word in text for word in WITHOUT_PLACE)


def test_state_records_are_the_same_for_every_pairing() -> None:
    for file in ("xb_state.h", "xb_state.c"):
        assert len({generate(load(PAIRINGS / name))[file] for name in NAMES}) == 1


def test_the_core_has_no_heap_no_float_no_system() -> None:
    sources = core_sources()
    assert len(sources) > 15
    words = re.compile(r"\b(malloc|calloc|free|float|double|printf|memcpy|goto)\b")
    for path in sources:
        text = re.sub(r"/\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
        assert not words.search(text), path.name
        assert set(re.findall(r"#include <(.*?)>", text)) <= {"stdint.h", "stddef.h"}


def check_value(name: str) -> int:
    """The catalogue's check value: the CRC over the digits 1 to 9."""
    spec = CRC8_CATALOGUE[name]
    register = spec.init
    for octet in b"123456789":
        register = crc_table(spec)[register ^ octet]
    return register ^ spec.xorout


def test_crc_tables_give_the_published_check_values() -> None:
    # Source: catalogue of parametrised CRC algorithms, G. Cook, reveng.
    assert check_value("CRC-8/SAE-J1850") == 0x4B
    assert check_value("CRC-8/AUTOSAR") == 0xDF
    assert check_value("CRC-8/SMBUS") == 0xF4
    assert check_value("CRC-8/MAXIM-DOW") == 0xA1


def test_numbers_of_signals_are_wide_only_where_one_needs_it() -> None:
    pairing = load(PAIRINGS / "minimal")
    assert "typedef int32_t xb_number;" in header(pairing)
    first = dataclasses.replace(pairing.spec.sources[0], max_change=1 << 31)
    spec = dataclasses.replace(pairing.spec, sources=(first, *pairing.spec.sources[1:]))
    wide = dataclasses.replace(pairing, spec=spec)
    assert "typedef int64_t xb_number;" in header(wide)
    assert ".max_change = INT64_C(2147483648)" in source(wide)


def test_a_number_the_firmware_cannot_hold_leaves_no_file(tmp_path: Path) -> None:
    pairing = load(PAIRINGS / "minimal")
    first = dataclasses.replace(pairing.spec.quantities[0], hold=1 << 32)
    quantities = (first, *pairing.spec.quantities[1:])
    spec = dataclasses.replace(pairing.spec, quantities=quantities)
    out = tmp_path / "out"
    with pytest.raises(NotationError, match=f"{first.name} is 4294967296; the firmware holds 0"):
        write(dataclasses.replace(pairing, spec=spec), out)
    assert not out.exists()


def test_the_command_writes_the_files_and_names_them(tmp_path: Path) -> None:
    out = tmp_path / "made" / "here"
    arguments = ["firmware", "generate", str(PAIRINGS / "minimal"), "--out", str(out)]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0
    assert {path.name for path in out.iterdir()} == FILES
    assert "no approval" in result.stdout


def test_the_command_refuses_a_folder_without_pairing(tmp_path: Path) -> None:
    out = tmp_path / "out"
    arguments = ["firmware", "generate", str(tmp_path), "--out", str(out)]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 2
    assert "bridge.toml" in result.stderr
    assert not out.exists()
