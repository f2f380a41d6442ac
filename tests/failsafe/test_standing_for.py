"""Evidence, comparison and signatures, on the smallest pairing."""

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from hil.boards.options import BoardOptions
from hil.boards.registry import open_board
from tests.failsafe.tables import MINIMAL, REQUIRED, builder_of, rows_of
from tools.cli.main import main
from tools.failsafe import sharing, signing
from tools.failsafe.build import Builder
from tools.failsafe.evidence import places, prove
from tools.failsafe.folding import fold
from tools.failsafe.rows import Row
from tools.failsafe.stored import Stored, from_rows, group_digest, line_facts, to_rows
from xlate_core.compiled import engine_of

KINDS = ("lost", "not available", "bus-off", "brown-out", "missing from start")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Builder, list[Row]]:
    folder = tmp_path_factory.mktemp("table")
    builder = builder_of(REQUIRED.read_text(encoding="utf-8"), folder)
    return builder, rows_of(builder, *KINDS)


def test_every_line_has_a_vector_that_the_reference_passes_and_that_ends_as_the_table_says(
    built: tuple[Builder, list[Row]], tmp_path: Path
) -> None:
    builder, rows = built
    lines = fold(rows)
    board = open_board("reference", builder.names.pairing, BoardOptions())
    proofs = list(
        prove(builder, lines, rows, tmp_path, {"reference": board}, lambda done, total: None)
    )
    assert sorted(one for proof in proofs for one in proof.lines) == sorted(
        line.digest for line in lines
    )
    assert {tuple(proof.boards.items()) for proof in proofs} == {(("reference", "pass"),)}
    assert all(proof.differs == () for proof in proofs)
    assert len(proofs) == len(places(lines, rows, False)) == len(list(tmp_path.glob("*.vector*")))
    assert len(proofs) < len(lines)


def test_every_class_of_faults_in_every_line_has_a_try(built: tuple[Builder, list[Row]]) -> None:
    _, rows = built
    lines = fold(rows)
    tries = places(lines, rows, True)
    assert {(line.digest, place[0]) for place, found in tries for line in found} == {
        (line.digest, kind) for line in lines for kind in line.faults
    }
    assert len(tries) > len(places(lines, rows, False))


def test_rows_survive_the_file(built: tuple[Builder, list[Row]]) -> None:
    _, rows = built
    assert from_rows(json.loads(json.dumps(to_rows(rows)))) == rows


def test_differences_are_told_line_by_line(built: tuple[Builder, list[Row]]) -> None:
    _, rows = built
    lines = fold(rows)
    old = [line_facts(line) for line in lines]
    assert list(signing.differences(old, lines)) == []
    told = list(signing.differences([dict(old[0], digest="0", observed="off"), *old[1:]], lines))
    assert [(change, what) for change, _, what in told] == [
        ("changed", [f"observed: off -> {lines[0].observed}"])
    ]
    assert [one[0] for one in signing.differences(old[1:], lines)] == ["new"]
    assert [one[0] for one in signing.differences(old, lines[1:])] == ["gone"]


@pytest.mark.parametrize("changed", ["pairing", "requirements", "line", "vector"])
def test_a_signature_lapses_when_anything_under_it_changes(
    built: tuple[Builder, list[Row]], tmp_path: Path, changed: str
) -> None:
    _, rows = built
    lines = fold(rows)
    stored = Stored("minimal", "a", "b", rows, lines)
    output = "output.fan_relay"
    mine = stored.groups()[output]
    proofs = [{"lines": [mine[0].digest], "digest": "c"}]
    signature = signing.Signature(
        output, "N", "R", "I", "W", "2026-01-01", group_digest(stored, mine, proofs), []
    )
    path = tmp_path / signing.FILE
    signing.write(path, {output: signature})
    signatures = signing.read(path)
    assert signing.valid(stored, signatures, proofs) == {output: True}
    assert signing.words(stored, signatures, proofs).startswith("Signed for 1 of ")
    if changed == "pairing":
        stored = Stored("minimal", "A", "b", rows, lines)
    elif changed == "requirements":
        stored = Stored("minimal", "a", "B", rows, lines)
    elif changed == "line":
        stored = Stored("minimal", "a", "b", rows, [one for one in lines if one is not mine[0]])
    else:
        proofs = [{"lines": [mine[0].digest], "digest": "C"}]
    assert signing.valid(stored, signatures, proofs) == {output: False}
    assert f"lapsed: {output}" in signing.words(stored, signatures, proofs)


def test_nobody_signs_without_a_terminal(tmp_path: Path) -> None:
    arguments = ["failsafe", "sign", "minimal", "--output", "output.fan_relay", "--out"]
    result = CliRunner().invoke(main, [*arguments, str(tmp_path)], input="N\nR\nI\nW\n")
    assert result.exit_code == 2
    assert "found no person at a terminal" in result.stderr


def test_the_tables_of_the_project_are_unsigned() -> None:
    assert not list((REQUIRED.parents[1]).glob("*/signatures.json"))


def test_build_prove_and_compare_as_a_person_calls_them(tmp_path: Path) -> None:
    runner = CliRunner()

    def xlate(*arguments: object) -> tuple[int, str]:
        result = runner.invoke(main, ["failsafe", *map(str, arguments)])
        return result.exit_code, result.output

    one, other = tmp_path / "one", tmp_path / "other"
    assert xlate("build", MINIMAL, "--out", one, "--jobs", 1, "--brief")[0] == 0
    code, said = xlate("prove", MINIMAL, "--out", one, "--board", "reference", "--no-broken")
    assert code == 0, said
    page = (one / "table.html").read_text(encoding="utf-8")
    assert "reference pass, native not run, emulated not run, real not run; " in page
    assert "Unsigned" in page
    code, said = xlate("compare", "minimal", "--out", one)
    assert (code, "nothing is signed" in said) == (4, True)
    longer = tmp_path / "required.toml"
    text = REQUIRED.read_text(encoding="utf-8").replace("within_ms = 30", "within_ms = 31", 1)
    longer.write_text(text, encoding="utf-8", newline="\n")
    xlate("build", MINIMAL, "--required", longer, "--out", other, "--jobs", 1, "--brief")
    assert xlate("compare", "minimal", "--out", one, "--against", one)[0] == 0
    code, said = xlate("compare", "minimal", "--out", other, "--against", one)
    assert code == 1
    assert "allowed_ms: 30 -> 31" in said
    code, said = xlate("prove", MINIMAL, "--out", other)
    assert code == 2
    with (one / "table.csv").open(encoding="utf-8", newline="") as stream:
        assert {row["status"] for row in csv.DictReader(stream)} <= {
            "pass",
            "undetected",
            "not applicable",
        }


def test_the_readable_engine_gives_the_same_table(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    used = []
    monkeypatch.setattr(
        "tools.failsafe.bench.engine_of",
        lambda *words, engine=engine_of: used.append(words[2]) or engine(*words),
    )
    sharing.builder.cache_clear()
    told = []
    for options in ([], ["--plain"]):
        out = tmp_path / "-".join(["table", *options])
        words = ["failsafe", "build", str(MINIMAL), "--brief", "--jobs", "1", "--out", str(out)]
        assert CliRunner().invoke(main, [*words, *options]).exit_code == 0
        told.append((out / "table.json").read_bytes())
    assert used == [False, True]
    assert told[0] == told[1]
