"""Copies of the firmware's core with one safe reaction broken: vectors of the table must see it.

Each place is changed in a copy of the C core, built for the pairing and run over every vector of
the table. A vector that sees nothing of a broken copy shows nothing of that reaction.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

from hil.boards.interface import BoardError
from hil.firmware.building import CORE
from hil.mutation.stream import write_stream
from hil.mutation.trial import OPTIMISED, REPLAY, Fate, Range, compile_all
from hil.runner import Pairings
from hil.vectors.names import Names
from xlate_core.pairing import load
from xlate_core.pairing.model import Pairing

SEEN = (Fate.CAUGHT, Fate.CRASHED, Fate.HUNG)


@dataclass(frozen=True, slots=True)
class Broken:
    """One broken reaction: in words, and the text of one file of the core that is changed."""

    words: str
    file: str
    right: str
    wrong: str


COPIES = (
    Broken("a deadline never ends", "reception.c", "return state->age >= deadline;", "return 0u;"),
    Broken(
        "a wrong checksum is accepted",
        "reception.c",
        "xb_checksum_good(spec->checksum, intel_word) == 0u",
        "xb_checksum_good(spec->checksum, intel_word) == 2u",
    ),
    Broken(
        "a standing counter is accepted",
        "protection.c",
        "return distance >= 1u && distance",
        "return distance",
    ),
    Broken(
        "a short frame is accepted",
        "reception.c",
        "length < spec->length &&",
        "length + 1u < spec->length &&",
    ),
    Broken(
        "a value out of range is taken",
        "quantities.c",
        "raw < spec->valid_low || raw > spec->valid_high",
        "raw != raw",
    ),
    Broken(
        "the second source never stands in",
        "quantities.c",
        "uint32_t origin = 1u; origin <",
        "uint32_t origin = 2u; origin <",
    ),
    Broken(
        "a hold never ends",
        "quantities.c",
        "state->held < spec->hold\n",
        "spec->hold != 0u\n",
    ),
    Broken(
        "lost data is never substituted",
        "quantities.c",
        "        state->value = spec->substitute;\n",
        "",
    ),
    Broken(
        "a message whose source is lost is sent",
        "transmission.c",
        "due != 0u && state->stopped == 0u",
        "due != 0u",
    ),
    Broken(
        "not available is not told",
        "transmission.c",
        "says_lost = spec->on_loss == (uint8_t)XB_SAY_NOT_AVAILABLE",
        "says_lost = spec->on_loss == (uint8_t)XB_STOP",
    ),
    Broken(
        "a message does not end with its condition",
        "sending.c",
        "xb_holds(engine, spec->condition) == 0u) {\n        slot->started",
        "xb_holds(engine, spec->condition) == 2u) {\n        slot->started",
    ),
    Broken("a fault never matures", "faults.c", "state->level >= spec->limit", "spec->limit == 0u"),
    Broken(
        "a latched fault heals by itself",
        "faults.c",
        "state->level == 0u && spec->latch == 0u",
        "state->level == 0u",
    ),
    Broken(
        "the fan does not see a loss",
        "functions/cooling_fan.c",
        "state->failsafe = ignition != 0u && xb_lost(coolant) != 0u;",
        "state->failsafe = 0u;",
    ),
    Broken(
        "the fan runs while cranking",
        "functions/cooling_fan.c",
        "inhibited != 0u || power->mode == (uint8_t)XB_CRANKING",
        "inhibited != 0u",
    ),
    Broken(
        "the pump does not need rotation",
        "functions/fuel_pump.c",
        "xb_usable(speed) != 0u && speed->value >= spec->rotation_above",
        "speed->value >= spec->rotation_above || xb_usable(speed) == 0u",
    ),
    Broken(
        "the starter goes on without engine speed",
        "functions/starter.c",
        "xb_usable(speed) == 0u) {\n        return (uint8_t)XB_STARTER_SPEED_LOST",
        "xb_usable(speed) == 2u) {\n        return (uint8_t)XB_STARTER_SPEED_LOST",
    ),
    Broken(
        "the starter goes on without permission",
        "functions/starter.c",
        "    if (permitted == 0u) {\n        return",
        "    if (permitted == 2u) {\n        return",
    ),
    Broken(
        "a lost pedal track is believed",
        "functions/accelerator_pedal.c",
        "uint8_t good_1 = xb_usable(first);",
        "uint8_t good_1 = 1u;",
    ),
    Broken(
        "a lamp stays dark on loss",
        "functions/lamps.c",
        "missing != 0u && lamp->lit_on_loss != 0u",
        "missing != 0u && lamp->lit_on_loss == 2u",
    ),
    Broken(
        "a needle keeps what it showed",
        "functions/gauge.c",
        "spec->on_loss, source->status, 0u",
        "source->value, source->status, 0u",
    ),
    Broken(
        "the compressor does not need its permissions",
        "functions/air_conditioning.c",
        "xb_usable(source) != 0u && low <= source->value",
        "low <= source->value",
    ),
    Broken(
        "a lost torque request is carried",
        "functions/torque_request.c",
        "xb_usable(request) != 0u && xb_usable(active) != 0u\n",
        "xb_usable(active) != 2u\n",
    ),
    Broken(
        "cruise goes on without its data",
        "functions/cruise_buttons.c",
        "is_cancelled(spec, store, whole) != 0u",
        "is_cancelled(spec, store, 1u) != 0u",
    ),
    Broken(
        "engine running is told on loss",
        "functions/engine_running.c",
        "told->told = listener->on_loss != (uint8_t)XB_TOLD_NOT_RUNNING;",
        "told->told = 1u;",
    ),
    Broken(
        "a speed without wheels is shown",
        "functions/vehicle_speed.c",
        "state->known != 0u && state->held < spec->hold",
        "state->known != 0u",
    ),
    Broken(
        "a dial without speed stands still",
        "functions/engine_speed_gauge.c",
        "state->known != 0u && state->held < spec->hold",
        "state->known != 0u",
    ),
)


def try_copies(
    pairing: Pairing, names: Names, vectors: Sequence[Path], said: Callable[[int, int], None]
) -> dict[str, dict[str, bool]]:
    """Return for every vector which broken copies it sees: words -> seen.

    Copies of files the pairing does not use are left out. Raises BoardError when the unbroken core
    cannot be built or does not repeat itself, NoCompilerError without a C compiler.
    """
    with TemporaryDirectory(prefix="xlate-broken-") as place:
        folder = Path(place)
        core = compile_all(pairing, folder, OPTIMISED, REPLAY)
        unbroken = folder / "unbroken"
        if not core.link(unbroken, {}):
            raise BoardError("the linker refuses the unbroken core")
        known = Pairings(Path(), load, {pairing.name: names})
        ranges = {path.name: _recorded(core, unbroken, path, known) for path in vectors}
        seen: dict[str, dict[str, bool]] = {path.name: {} for path in vectors}
        for number, copy in enumerate(COPIES, start=1):
            said(number, len(COPIES))
            if Path(copy.file).name not in core.objects:
                continue
            program = _built(core, copy)
            for name, one in ranges.items():
                seen[name][copy.words] = one.run(program) in SEEN
    return seen


def _recorded(core: Range, unbroken: Path, vector: Path, pairings: Pairings) -> Range:
    """Return the stimulus of one vector, with what the unbroken core does with it."""
    one = replace(core, folder=core.folder / vector.name.split(".")[0])
    one.folder.mkdir()
    write_stream([vector], pairings, one.folder / "stimulus")
    if any(one.run(unbroken, verb) is not Fate.SURVIVED for verb in ("record", "check")):
        raise BoardError(f"the unbroken core does not repeat itself on {vector.name}")
    return one


def _built(core: Range, copy: Broken) -> Path:
    """Return the program of a broken copy; raises BoardError when it no longer fits the core."""
    text = (CORE / copy.file).read_text(encoding="utf-8")
    if text.count(copy.right) != 1:
        raise BoardError(f"the broken copy `{copy.words}` no longer fits {copy.file}")
    source = core.folder / f"broken_{Path(copy.file).name}"
    source.write_text(text.replace(copy.right, copy.wrong), encoding="utf-8", newline="\n")
    target, program = source.with_suffix(".o"), core.folder / "broken"
    instead = {Path(copy.file).name: target}
    if not core.compile(source, target) or not core.link(program, instead):
        raise BoardError(f"the broken copy `{copy.words}` does not build")
    return program
