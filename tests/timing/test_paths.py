"""Ways through the bridge: bounds, observation with the real engine, budgets, the command."""

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from hil.boards.reference import ReferenceBoard
from hil.runner import run_vector
from hil.vectors.names import names_of
from hil.vectors.vector import load_vector
from hil.verdicts import Verdict
from tests.pairing.small import write
from tools.cli.main import main
from tools.timing import observation
from tools.timing.bounds import Bound, Bounds, Part
from tools.timing.observation import Observed, observe
from tools.timing.paths import Path as Way
from tools.timing.paths import PathKind, paths
from tools.timing.rig import Rig
from tools.timing.trial_making import worst_arrivals
from tools.timing.trial_run import run_trial
from tools.timing.trials import Change, Trial
from xlate_core.compiled import CompiledBridge
from xlate_core.pairing import Pairing, load

PAIRINGS = Path(__file__).resolve().parents[2] / "fixtures" / "pairings"


@pytest.fixture(scope="module")
def minimal() -> Pairing:
    """The smallest fixture pairing."""
    return load(PAIRINGS / "minimal")


@pytest.fixture(scope="module")
def seen(minimal: Pairing) -> dict[str, Observed]:
    """All its ways, observed."""
    return {one.path.name: one for one in observe(minimal, 15, 3, lambda *_: None)}


def test_every_way_of_the_minimal_pairing(minimal: Pairing) -> None:
    names = {one.name: one for one in paths(minimal)}
    assert names["engine.STATE.Coolant -> output.fan_relay"].functions == ("fan",)
    assert names["engine.STATE.Speed -> body.GAUGE.Turns"].functions == ()
    assert names["loss of engine.STATE -> output.fan_relay"].kind is PathKind.LOSS_PIN
    assert names["input.key_switch -> body.GAUGE.KeyOn"].kind is PathKind.PIN_SIGNAL


def test_a_lamp_and_a_carried_request_depend_on_their_own_inputs_alone() -> None:
    names = {one.name for one in paths(load(PAIRINGS / "farm_pickup"))}
    assert "engine.WARNINGS.OilWish -> body.LAMPS.OilLamp" in names
    assert "engine.WARNINGS.OilWish -> body.LAMPS.CheckLamp" not in names
    assert "loss of engine.WARNINGS -> body.LAMPS.CheckLamp" in names
    assert "engine.TORQUE_STATE.ActualTorque -> body.TORQUE_REPORT.ReductionSeen" in names
    assert "engine.TORQUE_STATE.ActualTorque -> engine.TORQUE_LIMIT.LimitTorque" not in names


def test_a_bound_by_hand(minimal: Pairing) -> None:
    """Coolant to the fan relay: STATE every 2 ms, control tick 2 ms, tick 1 ms, board 50 us.

    R of STATE: behind the longest unknown frame, 160 bits, then its own, at 500 kbit/s:
    570 us less nothing, no jitter. Period 2 ms and the wait of at most 2 ticks (right after a tick,
    then the next control tick), both stretched by 1000 ppm: 2002 + 2002 us; board 50 us.
    """
    response = Fraction(160 + 55 + 10 * _octets(minimal, "STATE"), 1) * 2
    way = next(
        one for one in paths(minimal) if one.name == "engine.STATE.Coolant -> output.fan_relay"
    )
    bound = Bounds(minimal, Rig(minimal).starts).reaction(way, 0)
    assert bound is not None
    period = next(m.cycle_ms for m in minimal.databases["engine"] if m.name == "STATE")
    assert period is not None
    expected = (period * 1000 + 2 * 1000) * Fraction(1001, 1000) + response + 50
    assert bound.us == expected
    assert sum((part.us for part in bound.parts), Fraction(0)) == expected


def _octets(pairing: Pairing, name: str) -> int:
    return next(m.length for m in pairing.databases["engine"] if m.name == name)


def test_no_way_exceeds_its_bound_and_most_come_near(seen: dict[str, Observed]) -> None:
    near = 0
    for one in seen.values():
        assert one.bound is not None
        assert one.reactions, one.path.name
        share = Fraction(max(one.reactions), 1000) / one.bound.us
        assert share <= 1, one.path.name
        near += share >= Fraction(4, 5)
        if one.ages:
            assert one.age_bound is not None
            assert Fraction(max(one.ages), 1000) <= one.age_bound.us
    assert near >= Fraction(4, 5) * len(seen)


def test_the_same_seed_gives_the_same_samples(minimal: Pairing, seen: dict[str, Observed]) -> None:
    again = {one.path.name: one for one in observe(minimal, 15, 3, lambda *_: None)}
    assert {name: one.reactions for name, one in again.items()} == {
        name: one.reactions for name, one in seen.items()
    }


@pytest.mark.parametrize("missing", ["source period", "ticks and schedule", "source bus"])
def test_a_bound_that_forgets_a_part_is_exceeded(
    minimal: Pairing, missing: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Forgetful(Bounds):
        """Bounds without one part."""

        def reaction(self, path: Way, own: int) -> Bound | None:
            bound = super().reaction(path, own)
            if bound is None:
                return None
            return Bound(tuple(Part(p.what, p.us * (p.what != missing)) for p in bound.parts))

    monkeypatch.setattr(observation, "Bounds", Forgetful)
    exceeded = 0
    for one in observe(minimal, 10, 1, lambda *_: None):
        if one.bound is not None and one.reactions:
            exceeded += Fraction(max(one.reactions), 1000) > one.bound.us
    assert exceeded > 0


def test_a_trial_beyond_its_bound_is_kept_as_a_vector_that_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Low(Bounds):
        """Bounds that are far too low."""

        def reaction(self, path: Way, own: int) -> Bound | None:
            del path, own
            return Bound((Part("board", Fraction(1)),))

    monkeypatch.setattr(observation, "Bounds", Low)
    result = CliRunner().invoke(
        main,
        [
            "timing",
            "paths",
            str(PAIRINGS / "minimal"),
            *("--only", "*Speed*", "--samples", "2", "--keep", str(tmp_path)),
            "--json",
        ],
    )
    assert result.exit_code == 1
    told = json.loads(result.stdout)
    assert told["exceeded"] == 1
    path = Path(told["ways"][0]["vector"])
    pairing = load(PAIRINGS / "minimal")
    vector = load_vector(path)
    assert vector.header.title.startswith("Slower than its bound: engine.STATE.Speed")
    result = run_vector(vector, names_of(pairing), ReferenceBoard(pairing), "-")
    assert result.verdict is Verdict.PASS


def with_budget(folder: Path, line: str) -> Path:
    """Write the minimal pairing with one line of budgets at its end."""
    plain = (PAIRINGS / "minimal" / "bridge.toml").read_text(encoding="utf-8")
    for name in ("body.dbc", "engine.dbc"):
        (folder / name).write_bytes((PAIRINGS / "minimal" / name).read_bytes())
    text = f"{plain}\n[traffic.budget_us]\n{line}\n"
    (folder / "bridge.toml").write_text(text, encoding="utf-8")
    return folder


def test_budgets_decide_the_exit_code(tmp_path: Path) -> None:
    arguments = ["timing", "paths", str(tmp_path), "--samples", "1", "--only", "*Coolant*"]
    for budget, code, verdict in ((20_000, 0, "in budget"), (2_000, 1, "OVER BUDGET")):
        with_budget(tmp_path, f'"engine.STATE.Coolant -> *" = {budget}')
        result = CliRunner().invoke(main, arguments)
        assert result.exit_code == code, result.output
        assert verdict in result.stdout


@pytest.mark.parametrize("command", [["pairing", "check"], ["timing", "paths"]])
@pytest.mark.parametrize(
    ("way", "budget", "said"),
    [
        (
            "engine.STATE.Speeed -> body.GAUGE.Turns",
            "5000",
            (
                "found no way that fits, expected the name of a way, as `xlate timing paths` "
                "tells them, or a pattern with *; "
                "nearest valid name: engine.STATE.Speed -> body.GAUGE.Turns"
            ),
        ),
        ("engine.STATE.Speed -> *", "10", "found 10, expected at least one tick, 1000 us"),
        ("engine.STATE.Speed -> *", "0", "found 0, expected at least 1"),
        ("engine.STATE.Speed -> *", "-4", "found -4, expected at least 1"),
        ("engine.STATE.Speed -> *", "4.5", "found 4.5, expected an integer"),
        ("*", "3600000001", "found 3600000001, expected at most 3600000000"),
    ],
)
def test_impossible_budgets(
    tmp_path: Path, command: list[str], way: str, budget: str, said: str
) -> None:
    folder = with_budget(tmp_path, f'"{way}" = {budget}')
    line = len((folder / "bridge.toml").read_text(encoding="utf-8").splitlines())
    result = CliRunner().invoke(main, [*command, str(folder)])
    assert result.exit_code == 2
    first = result.stderr.splitlines()[0]
    assert first == f'{folder}/bridge.toml:{line}: traffic.budget_us."{way}": {said}'


def test_a_budget_of_an_option_is_told_in_the_option(tmp_path: Path) -> None:
    folder = with_budget(tmp_path, '"*" = 90000000')
    (folder / "options").mkdir()
    option = """format = 1\nname = "hurry"\ngroup = "pace"\norder = 1\ndescription = "Sooner." """
    text = f'[option]\n{option}\n[traffic.budget_us]\n"input.key -> *" = 2000\n'
    (folder / "options" / "hurry.toml").write_text(text, encoding="utf-8")
    result = CliRunner().invoke(main, ["pairing", "check", str(folder)])
    assert result.exit_code == 2
    first = result.stderr.splitlines()[0]
    assert first.startswith(f"{folder}/options/hurry.toml:8: ")
    assert first.endswith("; nearest valid name: input.key_switch -> body.GAUGE.KeyOn")


def test_a_pattern_no_way_fits() -> None:
    result = CliRunner().invoke(
        main, ["timing", "paths", str(PAIRINGS / "minimal"), "--only", "engine.STATE.Sped*"]
    )
    assert result.exit_code == 2
    assert "nearest way: engine.STATE.Speed -> body.GAUGE.Turns" in result.stderr


def test_a_pairing_without_rates_is_refused(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["timing", "paths", str(write(tmp_path))])
    assert result.exit_code == 2
    assert "expected the least distance of two frames in us" in result.stderr


def test_the_page_stands_alone(tmp_path: Path) -> None:
    page = tmp_path / "ways.html"
    result = CliRunner().invoke(
        main,
        ["timing", "paths", str(PAIRINGS / "minimal"), "--samples", "2", "--html", str(page)],
    )
    assert result.exit_code == 0, result.output
    text = page.read_text(encoding="utf-8")
    assert "engine.STATE.Coolant -&gt; output.fan_relay" in text
    assert "approval" in text
    assert "http" not in text.replace("http-equiv", "")
    assert text.count("<svg") == 1 + len(paths(load(PAIRINGS / "minimal")))


def test_event_sends_have_no_bound_of_age_and_wait_only_for_the_gap(minimal: Pairing) -> None:
    way = next(
        one for one in paths(minimal) if one.name == "engine.STATE.Speed -> body.GAUGE.Turns"
    )
    bounds = Bounds(minimal, Rig(minimal).starts)
    transmit = bounds.transmits["body.GAUGE"]
    bounds.transmits["body.GAUGE"] = replace(transmit, on_change=True, min_gap=3, period=0)
    assert bounds.age(way) is None
    assert bounds.wait(way) == 3


def test_the_fast_form_shows_what_the_readable_engine_shows() -> None:
    pairing = load(PAIRINGS / "farm_pickup")
    shown = []
    for plain in (True, False):
        rig = Rig(pairing, plain=plain)
        phases = {name: place * 977_000 for place, name in enumerate(rig.streams)}
        sources = [name for name in rig.streams if name in rig.names.received][:3]
        trials = [Trial(Change(name), 20_000_000, 600_000_000, phases) for name in sources]
        shown.append([run_trial(rig, trial) for trial in trials])
        assert rig.bridge.is_fast() if isinstance(rig.bridge, CompiledBridge) else plain
    assert shown[0] == shown[1]
    assert any(seen.effects for seen in shown[0])


def test_the_readable_engine_gives_the_same_samples() -> None:
    words = [
        "timing",
        "paths",
        str(PAIRINGS / "minimal"),
        "--samples",
        "2",
        "--jobs",
        "1",
        "--json",
    ]
    fast, plain = (
        CliRunner().invoke(main, [*words, *options]).stdout for options in ([], ["--plain"])
    )
    assert json.loads(fast)["ways"]
    assert fast == plain


def test_a_gap_is_waited_for_right_behind_a_periodic_frame(minimal: Pairing) -> None:
    """Every 10 ms from tick 0, changes at once but 5 ms behind the frame before, one tick 1 ms."""
    way = next(
        one for one in paths(minimal) if one.name == "engine.STATE.Speed -> body.GAUGE.Turns"
    )
    bounds = Bounds(minimal, {"body.GAUGE": 0})
    transmit = bounds.transmits["body.GAUGE"]
    bounds.transmits["body.GAUGE"] = replace(transmit, on_change=True, min_gap=5, period=10)
    sent = [bounds.shows_after_periodic(way, arrival) for arrival in range(10)]
    assert sent == [0, 5, 5, 5, 5, 5, 6, 7, 8, 9]
    assert worst_arrivals(bounds, way, 0) == [1]


def test_the_deadline_is_that_of_what_is_on_the_way() -> None:
    pairing = load(PAIRINGS / "farm_pickup")
    bounds = Bounds(pairing, {})
    ways = {way.name: way for way in paths(pairing)}
    assert bounds.deadline(ways["loss of body.BRAKE -> engine.DRIVER.BrakeDown"]) == 80
    assert bounds.deadline(ways["loss of body.BRAKE -> engine.DRIVER.RoadSpeedWish"]) == 100
