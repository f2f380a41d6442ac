"""Options: resolved views, their digests, conflicts named, problems told in the option's file."""

import json
import shutil
import tomllib
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result

from hil.runner import Pairings
from tools.cli.main import main
from xlate_core.errors import InputError
from xlate_core.pairing import PairingError, Problem, load
from xlate_core.pairing.options import choices, joined, option_schema, read_options

ROOT = Path(__file__).parents[2]
PAIRINGS = ROOT / "fixtures" / "pairings"
WIRING = PAIRINGS / "wiring"
HEAD = """\
[option]
format = 1
name = "{name}"
group = "{group}"
order = {order}
description = "Made for a test"
"""


@pytest.fixture
def wiring(tmp_path: Path) -> Path:
    """Return a copy of the pairing to spoil."""
    folder = tmp_path / "wiring"
    shutil.copytree(WIRING, folder)
    return folder


def add(folder: Path, name: str, text: str, group: str = "", order: int = 50) -> None:
    head = HEAD.format(name=name, group=group or name, order=order)
    (folder / "options" / f"{name}.toml").write_text(head + text, encoding="utf-8")


def problems_of(folder: Path, *names: str) -> tuple[Problem, ...]:
    with pytest.raises(PairingError) as caught:
        load(joined(folder, names))
    return caught.value.problems


def line_of(folder: Path, option: str, text: str) -> int:
    lines = (folder / "options" / f"{option}.toml").read_text(encoding="utf-8").splitlines()
    (line,) = [number for number, one in enumerate(lines, start=1) if text in one]
    return line


def xlate(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["pairing", *map(str, arguments)])


def test_every_choice_has_a_digest_of_its_own() -> None:
    wanted = choices(read_options(WIRING))
    digests = {load(joined(WIRING, names)).digest for names in wanted}
    assert len(wanted) == 1 + 4 + 5  # none, each, each pair but the two of one group
    assert len(digests) == len(wanted)


def test_the_order_of_writing_does_not_matter() -> None:
    names = ("starter_by_controller", "fans_by_controller", "pump_by_module")
    view = load(joined(WIRING, names))
    assert view.options == ("fans_by_controller", "pump_by_module", "starter_by_controller")
    assert view.name == "wiring+fans_by_controller+pump_by_module+starter_by_controller"
    assert view.digest == load(joined(WIRING, reversed(names))).digest


def test_options_that_are_not_chosen_change_nothing(wiring: Path) -> None:
    shutil.rmtree(wiring / "options")
    assert load(wiring).digest == load(WIRING).digest
    assert load(WIRING).options == ()


def test_an_option_adds_replaces_and_takes_out() -> None:
    base, view = load(WIRING), load(joined(WIRING, ["fans_by_controller"]))
    assert [one.name for one in base.functions] == ["fan", "pump", "starter"]
    assert [one.name for one in view.functions] == ["pump", "starter"]
    assert "fan_relay" in base.level_outputs
    assert "fan_relay" not in view.level_outputs
    sent = {one.name for one in view.spec.transmits}
    assert sent == {one.name for one in base.spec.transmits}
    (fan,) = [one for one in view.quantities if one.name == "fan"]
    assert fan.written_by == ("engine.POWER_OUTPUTS.FanDriven",)


def test_a_function_is_changed_by_its_name(wiring: Path) -> None:
    add(wiring, "short_prime", '[[function]]\nname = "pump"\nprime_ms = 4\n')
    settings = dict(load(joined(wiring, ["short_prime"])).functions[1].settings)
    assert settings["prime_ms"] == "4"
    assert settings["off_delay_ms"] == "4"  # the other keys stay


def test_a_new_function_runs_last(wiring: Path) -> None:
    add(
        wiring,
        "copy",
        '[quantity.fan_copy]\nrange = [0, 1]\n[output.second]\nkind = "level"\n'
        'quantity = "fan_copy"\n[[function]]\nname = "copy"\nkind = "mapping"\n'
        'input = "fan"\noutput = "fan_copy"\non_loss = 0\n',
    )
    view = load(joined(wiring, ["copy"]))
    assert [one.name for one in view.functions] == ["fan", "pump", "starter", "copy"]


def test_an_unknown_option_is_told_with_the_nearest() -> None:
    (problem,) = problems_of(WIRING, "fan_by_controler")
    assert problem.nearest == "fans_by_controller"
    assert "pump_by_module" in problem.expected


def test_an_option_twice_is_told() -> None:
    (problem,) = problems_of(WIRING, "pump_by_module", "pump_by_module")
    assert problem.found == 'option "pump_by_module" twice'


def test_two_options_of_a_group_are_a_conflict() -> None:
    (problem,) = problems_of(WIRING, "pump_by_module", "pump_by_controller")
    assert problem.file == "options/pump_by_module.toml"
    assert problem.line == line_of(WIRING, "pump_by_module", "group")
    assert problem.found == "pump_by_controller and pump_by_module, both of group pump"


def test_two_values_for_one_key_are_a_conflict(wiring: Path) -> None:
    add(wiring, "first", '[[function]]\nname = "pump"\nprime_ms = 4\n', order=50)
    add(wiring, "second", '[[function]]\nname = "pump"\nprime_ms = 6\n', order=51)
    (problem,) = problems_of(wiring, "second", "first")
    assert problem.file == "options/second.toml"
    assert problem.line == line_of(wiring, "second", "prime_ms")
    line = line_of(wiring, "first", "prime_ms")
    assert problem.found == (
        "function.pump.prime_ms in option second, while option first sets "
        f"function.pump.prime_ms (options/first.toml:{line})"
    )
    assert problem.expected == 'one of both, or overrides = ["first"] in second'


def test_a_declared_override_is_no_conflict(wiring: Path) -> None:
    add(wiring, "first", '[[function]]\nname = "pump"\nprime_ms = 4\n', order=50)
    text = 'overrides = ["first"]\n[[function]]\nname = "pump"\nprime_ms = 6\n'
    add(wiring, "second", text, order=51)
    view = load(joined(wiring, ["first", "second"]))
    assert dict(view.functions[1].settings)["prime_ms"] == "6"


def test_the_same_value_twice_is_no_conflict() -> None:
    load(joined(WIRING, ["fans_by_controller", "pump_by_controller"]))  # both receive one message


def test_a_change_inside_what_another_takes_out_is_a_conflict(wiring: Path) -> None:
    add(wiring, "warmer", '[[function]]\nname = "fan"\nmin_on_ms = 4\n')
    problems = problems_of(wiring, "fans_by_controller", "warmer")
    (problem,) = [one for one in problems if "min_on_ms" in one.found]
    line = line_of(wiring, "fans_by_controller", "remove")
    expected = (
        f"option fans_by_controller takes out function.fan (options/fans_by_controller.toml:{line})"
    )
    assert expected in problem.found
    assert problem.line == line_of(wiring, "warmer", "min_on_ms")


def test_a_needed_option_must_be_chosen(wiring: Path) -> None:
    add(wiring, "more", 'needs = ["fans_by_controller"]\n[power]\nafter_run_ms = 8\n')
    (problem,) = problems_of(wiring, "more")
    assert problem.found == "more without fans_by_controller"
    assert load(joined(wiring, ["more", "fans_by_controller"])).options[-1] == "more"
    assert ("fans_by_controller", "more") in choices(read_options(wiring))
    assert ("more",) not in choices(read_options(wiring))


@pytest.mark.parametrize(
    ("text", "key", "found", "expected"),
    [
        ('needs = ["nothing"]\n', "option.needs[0]", '"nothing"', "name of another option"),
        ('overrides = ["late"]\n', "option.overrides[0]", "comes later", "an earlier option"),
        ('remove = ["function.fann"]\n', "option.remove[0]", '"function.fann"', "in function"),
        ("colour = 1\n", "option.colour", 'key "colour"', "one of"),
        ('[power]\nignition = ""\n', "power.ignition", '""', "a quantity"),
        ("[power]\nafter_run_ms = 7\n", "power.after_run_ms", "7", "a multiple of 2 ms"),
        ("[powers]\nafter_run_ms = 8\n", "powers", 'key "powers"', "one of"),
        ('[[function]]\nname = "pump"\nprime_ms = 3\n', "function[1].prime_ms", "3", "2 or 4"),
        ('[[function]]\nname = "pum"\nprime_ms = 4\n', "function[3].kind", "no key", "cooling_fan"),
        ("[clock.tick_ms]\nfast = 1\n", "clock.tick_ms.fast", "a table", "a value"),
        ("= 1\n", "", "`= 1`", "valid TOML"),
    ],
)
def test_a_problem_is_told_in_the_option(
    text: str, key: str, found: str, expected: str, wiring: Path
) -> None:
    add(wiring, "odd", text)
    add(wiring, "late", "", order=99)
    problems = problems_of(wiring, "odd")
    matching = [
        one
        for one in problems
        if one.key_path == key and found in one.found and expected in one.expected
    ]
    assert len(matching) == 1, "\n".join(map(str, problems))
    assert matching[0].file == "options/odd.toml"
    assert matching[0].line is not None
    assert matching[0].line > 1


def test_a_problem_of_a_later_function_keeps_its_line(wiring: Path) -> None:
    """The first function is taken out; the second is number 0 then, at its own line."""
    text = (wiring / "bridge.toml").read_text(encoding="utf-8")
    (wiring / "bridge.toml").write_text(text.replace("prime_ms = 10", "prime_ms = 9"), "utf-8")
    (problem,) = problems_of(wiring, "fans_by_controller")
    assert (problem.file, problem.key_path) == ("bridge.toml", "function[0].prime_ms")
    lines = text.splitlines()
    assert problem.line == lines.index("prime_ms = 10") + 1


def test_a_name_that_is_not_that_of_the_file_is_told(wiring: Path) -> None:
    path = wiring / "options" / "pump_by_module.toml"
    path.rename(path.with_stem("pump_module"))
    (problem,) = problems_of(wiring, "pump_module")
    assert (problem.found, problem.key_path) == ('"pump_by_module"', "option.name")


def test_two_options_of_one_place_are_told(wiring: Path) -> None:
    add(wiring, "same", "", order=10)
    (problem,) = problems_of(wiring, "same")
    assert (problem.key_path, problem.found) == ("option.order", "10")


def test_the_name_of_the_pairing_is_no_option(wiring: Path) -> None:
    path = wiring / "options" / "pump_by_module.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text('name = "other"\n' + text, encoding="utf-8")
    problems = problems_of(wiring, "pump_by_module")
    assert any(one.key_path == "name" and 'key "name"' in one.found for one in problems)


def test_a_choice_is_written_in_its_order() -> None:
    pairings = Pairings(PAIRINGS, load, {})
    with pytest.raises(InputError, match=r"wiring\+fans_by_controller\+pump_by_module"):
        pairings.names("wiring+pump_by_module+fans_by_controller")
    with pytest.raises(InputError, match="no pairing `wirin`"):
        pairings.names("wirin+pump_by_module")


def test_option_files_fit_their_schema() -> None:
    schema = option_schema()
    kept = ROOT / "fixtures" / "schemas" / "option.schema.json"
    assert json.loads(kept.read_text(encoding="utf-8")) == schema
    files = sorted((WIRING / "options").glob("*.toml"))
    assert len(files) == 4
    for path in files:
        jsonschema.validate(tomllib.loads(path.read_text(encoding="utf-8")), schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"option": {"format": 1}}, schema)


@pytest.mark.parametrize("pairing", sorted(path.parent for path in PAIRINGS.glob("*/options")))
def test_every_choice_and_pair_has_its_vectors(pairing: Path) -> None:
    result = xlate("options", pairing, "--json")
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    assert len(told["choices"]) == len(choices(read_options(pairing)))
    assert all(one["vectors"] >= 2 and not one["problems"] for one in told["choices"])


def test_a_choice_without_a_vector_is_told(wiring: Path) -> None:
    add(wiring, "new_choice", "[power]\nafter_run_ms = 8\n")
    result = xlate("options", wiring)
    assert result.exit_code == 1
    digest = load(joined(wiring, ["new_choice"])).digest
    assert f"wiring+new_choice: digest {digest[:16]}, 0 vectors" in result.stdout


def test_check_looks_at_every_choice(wiring: Path) -> None:
    add(wiring, "odd", "[power]\nafter_run_ms = 7\n")
    result = xlate("check", wiring)
    assert result.exit_code == 2
    assert "wiring+pump_by_module: good" in result.stdout
    assert f"{wiring.as_posix()}/options/odd.toml:8: power.after_run_ms" in result.stderr
    assert f"{wiring.as_posix()}+odd: 1 problem" in result.stderr


def test_show_tells_the_resolved_view() -> None:
    result = xlate("show", WIRING, "--option", "pump_by_module", "--json")
    told = json.loads(result.stdout)
    assert told["options"] == ["pump_by_module"]
    assert told["digest"] == load(joined(WIRING, ["pump_by_module"])).digest
    assert "pump_relay" not in {one["name"] for one in told["outputs"]}
