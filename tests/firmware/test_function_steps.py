"""Only the vehicle functions a pairing uses are in its firmware, on every board."""

import dataclasses
import re
from pathlib import Path

import pytest
from elftools.elf.elffile import ELFFile

from hil.firmware.building import CORE, build_library, core_sources, needed_sources
from hil.firmware.function_steps import source
from hil.firmware.function_tables import KINDS, kind_of, unused_files, used
from hil.firmware.programs import build
from hil.firmware.toolchains import NATIVE, STM32
from tests.core.test_bridge import NAMES, PAIRINGS
from tools.environment import ARM_COMPILER, C_COMPILER
from xlate_core.pairing import Pairing, load

BOARDS = [
    pytest.param(NATIVE, marks=pytest.mark.skipif(not C_COMPILER.present(), reason="needs gcc")),
    pytest.param(
        STM32,
        marks=[
            pytest.mark.skipif(not ARM_COMPILER.present(), reason="needs arm-none-eabi-gcc"),
            pytest.mark.slow,
        ],
    ),
]


def steps_in(program: Path) -> set[str]:
    """The kinds whose step a linked program or library holds."""
    names = {f"xb_{kind.name}_step": kind.name for kind in KINDS}
    with program.open("rb") as stream:
        section = ELFFile(stream).get_section_by_name(".symtab")
        assert section is not None, "a program keeps its symbols"
        found = {symbol.name for symbol in section.iter_symbols() if symbol["st_size"]}
    return {kind for name, kind in names.items() if name in found}


def kinds_of(pairing: Pairing) -> set[str]:
    return {kind.name for kind in used(pairing.spec.functions)}


def test_every_kind_is_used_by_one_pairing_and_not_by_another() -> None:
    uses = [kinds_of(load(PAIRINGS / name)) for name in NAMES]
    for kind in KINDS:
        assert any(kind.name in one for one in uses), kind.name
        assert any(kind.name not in one for one in uses), kind.name


@pytest.mark.parametrize("name", NAMES)
def test_the_text_runs_every_function_of_the_pairing_in_order_and_no_other(name: str) -> None:
    functions = load(PAIRINGS / name).spec.functions
    text = source(functions)
    kinds = [KINDS[kind_of(function)].name for function in functions]
    places = [kinds[:number].count(kind) for number, kind in enumerate(kinds)]
    called = re.findall(r"    xb_(\w+)_step\(&xb_spec\.\w+\[(\d+)\]", text)
    assert called == [(kind, str(place)) for kind, place in zip(kinds, places, strict=True)]
    labels = re.findall(r"case XB_(\w+):", text)
    assert labels == [kind.name.upper() for kind in used(functions)], "of the state image"


@pytest.mark.parametrize("board", BOARDS)
def test_a_program_holds_the_functions_of_its_pairing_alone(board: str, tmp_path: Path) -> None:
    pairing = load(PAIRINGS / "minimal")
    built = build(pairing, board, tmp_path)
    # Steps may be taken into their only caller, so fewer may have a name of their own.
    assert steps_in(built.path) <= kinds_of(pairing)
    compiled = {path.stem for path in (tmp_path / "objects").glob("*.o")}
    assert "cooling_fan" in compiled
    assert not compiled & {Path(name).stem for name in unused_files(pairing.spec.functions)}


@pytest.mark.skipif(not C_COMPILER.present(), reason="needs gcc")
def test_the_library_holds_the_functions_of_its_pairing_alone(tmp_path: Path) -> None:
    pairing = load(PAIRINGS / "orchard_hauler")
    assert steps_in(build_library(pairing, tmp_path)) == kinds_of(pairing)


@pytest.mark.skipif(not C_COMPILER.present(), reason="needs gcc")
def test_a_pairing_without_functions_builds(tmp_path: Path) -> None:
    pairing = load(PAIRINGS / "minimal")
    spec = dataclasses.replace(pairing.spec, functions=())
    built = build_library(dataclasses.replace(pairing, spec=spec), tmp_path)
    assert steps_in(built) == set()


def test_the_files_of_the_kinds_are_all_files_of_functions() -> None:
    files = {path.name for path in (CORE / "functions").glob("*.c")}
    assert unused_files(()) == files, "each file belongs to a kind in function_tables.py"
    assert {path.name for path in core_sources()} >= files


def test_a_file_two_kinds_need_is_there_for_either() -> None:
    pairing = load(PAIRINGS / "minimal")
    assert "fan_demand.c" in {path.name for path in needed_sources(pairing)}
    assert "starter.c" not in {path.name for path in needed_sources(pairing)}
