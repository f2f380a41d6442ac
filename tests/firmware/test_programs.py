"""`xlate firmware build`: budgets, reproducible programs, and one sentence for what goes wrong."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from hil.boards.interface import BoardError
from hil.firmware import programs, toolchains
from hil.firmware.call_graph import CallGraphError, read
from hil.firmware.programs import FLASH_BUDGET, RAM_BUDGET, STACK_BUDGET, build
from tests.core.test_bridge import PAIRINGS
from tools.cli.firmware import command
from tools.environment import ARM_COMPILER, C_COMPILER
from xlate_core.pairing import load

FARM = PAIRINGS / "farm_pickup"
needs_arm = pytest.mark.skipif(
    not ARM_COMPILER.present(), reason=f"needs {ARM_COMPILER.what}. {ARM_COMPILER.how}"
)
needs_native = pytest.mark.skipif(
    not C_COMPILER.present(), reason=f"needs {C_COMPILER.what}. {C_COMPILER.how}"
)
needs_zig = pytest.mark.skipif(
    toolchains.zig_command() is None, reason="needs zig. pip install xlate-bridge[firmware]"
)


@needs_arm
@pytest.mark.slow
def test_the_whole_car_fits_its_budgets(tmp_path: Path) -> None:
    arguments = ["build", "--board", "stm32f405", "--pairing", str(FARM), "--out", str(tmp_path)]
    answer = CliRunner().invoke(command, [*arguments, "--json"])
    assert answer.exit_code == 0, answer.output
    told = json.loads(answer.stdout)
    assert 0 < told["flash"] < FLASH_BUDGET
    assert 0 < told["ram"] < RAM_BUDGET
    assert 0 < told["worst_stack"] < STACK_BUDGET
    assert told["worst_stack"] + 64 < told["stack"], "the stack has room for its worst case"
    assert told["over_budget"] == []
    assert told["worst_path"][0] == "xb_start"
    # Only the compiler's own division has no figure of its own.
    assert set(told["stack_allowance_for"]) <= {"__aeabi_ldivmod", "__aeabi_uldivmod"}
    assert Path(told["path"]).read_bytes()[:4] == b"\x7fELF"


@needs_arm
@pytest.mark.slow
@pytest.mark.parametrize("program", ["link", "measure", "profile"])
def test_two_builds_in_two_folders_of_two_copies_give_the_same_octets(
    program: str, tmp_path: Path
) -> None:
    pairing = load(PAIRINGS / "minimal")
    one = build(pairing, "stm32f405", tmp_path / "one", program)
    copy = tmp_path / "copied pairing"
    shutil.copytree(PAIRINGS / "minimal", copy / "minimal")
    other = build(load(copy / "minimal"), "stm32f405", tmp_path / "a" / "longer" / "way", program)
    assert one.path.read_bytes() == other.path.read_bytes()
    assert str(tmp_path).encode() not in one.path.read_bytes()


@needs_native
def test_the_native_program_tells_its_figures_without_a_budget(tmp_path: Path) -> None:
    arguments = ["build", "--board", "native", "--pairing", str(PAIRINGS / "minimal")]
    answer = CliRunner().invoke(command, [*arguments, "--out", str(tmp_path)])
    assert answer.exit_code == 0, answer.output
    assert "flash" in answer.output
    assert "budget" not in answer.output
    assert "no approval" in answer.output


@needs_zig
@pytest.mark.slow
def test_zig_builds_the_board_where_no_other_compiler_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(toolchains.shutil, "which", lambda name: None)
    built = build(load(PAIRINGS / "minimal"), "stm32f405", tmp_path)
    assert "clang" in built.compiler
    assert built.worst_stack is None
    assert 0 < built.size.flash < FLASH_BUDGET


@pytest.mark.parametrize("board", toolchains.BOARDS)
def test_no_compiler_is_one_sentence_and_exit_code_3(
    board: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(toolchains.shutil, "which", lambda name: None)
    monkeypatch.setattr(toolchains, "zig_command", lambda: None)
    arguments = ["build", "--board", board, "--pairing", str(FARM), "--out", str(tmp_path)]
    answer = CliRunner().invoke(command, arguments)
    assert answer.exit_code == 3
    assert answer.stderr.strip() == toolchains.MISSING[board]
    assert "install" in answer.stderr


def test_the_two_boards_have_different_words_for_a_missing_compiler() -> None:
    assert len(set(toolchains.MISSING.values())) == len(toolchains.BOARDS)


@needs_native
def test_what_the_compiler_says_is_passed_on_in_a_few_lines(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wrong = tmp_path / "core"
    shutil.copytree(programs.CORE, wrong)
    text = "int wrong(void)\n{\n" + "    return missing;\n" * 40 + "}\n"
    (wrong / "wrong.c").write_text(text, encoding="utf-8")
    monkeypatch.setattr(programs, "CORE", wrong)
    with pytest.raises(BoardError, match="refuses the firmware") as caught:
        programs.run(["gcc", "-c", str(wrong / "wrong.c")], tmp_path, "the C compiler")
    assert len(str(caught.value).splitlines()) <= programs.MOST_LINES + 2


def test_measuring_firmware_is_for_the_board_alone(tmp_path: Path) -> None:
    arguments = ["build", "--board", "native", "--pairing", str(FARM), "--program", "measure"]
    answer = CliRunner().invoke(command, [*arguments, "--out", str(tmp_path)])
    assert answer.exit_code != 0
    assert "expected stm32f405" in str(answer.exception)


def ci(folder: Path, text: str) -> list[Path]:
    path = folder / "one.ci"
    path.write_text(text, encoding="utf-8")
    return [path]


def test_the_worst_stack_is_the_deepest_path(tmp_path: Path) -> None:
    graph = read(
        ci(
            tmp_path,
            'node: { title: "main" label: "main\\nmain.c:1:5\\n16 bytes (static)" }\n'
            'node: { title: "a.c:one" label: "one\\na.c:1:5\\n40 bytes (static)" }\n'
            'node: { title: "two" label: "two\\na.c:9:5\\n24 bytes (static)" }\n'
            'edge: { sourcename: "main" targetname: "a.c:one" label: "x" }\n'
            'edge: { sourcename: "main" targetname: "two" label: "x" }\n'
            'edge: { sourcename: "two" targetname: "__divdi3" label: "x" }\n',
        )
    )
    assert graph.worst("main") == (16 + 24 + 96, ("main", "two", "__divdi3"))
    assert graph.allowed == {"__divdi3"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('edge: { sourcename: "main" targetname: "main" label: "x" }', "recursion: main -> main"),
        ('edge: { sourcename: "main" targetname: "__indirect_call" }', "through a pointer in main"),
        ('node: { title: "b" label: "b\\n8 bytes (dynamic)" }', "b has a stack without bound"),
    ],
)
def test_a_stack_without_bound_is_refused(text: str, words: str, tmp_path: Path) -> None:
    main = 'node: { title: "main" label: "main\\n16 bytes (static)" }\n'
    with pytest.raises(CallGraphError, match=words):
        read(ci(tmp_path, main + text)).worst("main")
