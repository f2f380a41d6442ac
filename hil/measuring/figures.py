"""The stored figures of the firmware: one small file a pairing, changed only with a reason."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from hil.boards.emulator import Emulator
from hil.firmware.programs import build
from hil.firmware.toolchains import STM32
from hil.measuring.bound import bound_of
from hil.measuring.meter import Meter
from hil.measuring.report import Found, Request, measure
from hil.vectors.files import write_whole
from xlate_core.bridge import RULES
from xlate_core.errors import InputError
from xlate_core.pairing.model import Pairing

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "figures"
MOST_GROWTH_PERCENT = 5
SHORTEST_REASON = 10


def path_of(pairing: str) -> Path:
    """Return the file with the figures of a pairing."""
    return FOLDER / f"{pairing}_stm32f405.json"


def on_emulator(
    pairing: Pairing,
    request: Request,
    folder: Path,
    emulator: type[Emulator] = Emulator,
    progress: Callable[[str], None] = lambda _: None,
) -> Found:
    """Build the measuring firmware and measure it under instruction counting."""
    progress("building the measuring firmware")
    built = build(pairing, STM32, folder, "measure")
    with emulator(built.path, counting=True) as machine:
        found = measure(Meter(machine.line, pairing), pairing, request, progress)
    found.static_stack = built.worst_stack
    if request.bound:
        progress("building the firmware for profiles")
        profile = build(pairing, STM32, folder, "profile")
        with emulator(profile.path, counting=True) as machine:
            meter = Meter(machine.line, pairing)
            found.bound, found.bound_words = bound_of(meter, pairing, profile.path, request)
    return found


def key_figures(found: Found) -> dict[str, int]:
    """Return the figures that are compared."""
    times = found.all
    figures = {
        "tick_most_in_search": found.worst.counts,
        "keeping": found.keeping,
        "stack_octets": found.stack,
    }
    if times.tick.count:
        figures |= {
            "receive_most": times.receive.most,
            "tick_most_in_vectors": times.tick.most,
            "tick_mean": times.tick.total // times.tick.count,
            "reset_most": times.reset.most,
        }
    if found.bound is not None:
        figures["tick_bound"] = found.bound
    return figures


def check_reason(reason: str) -> None:
    """Raise InputError for a reason that says nothing."""
    if len(reason.strip()) < SHORTEST_REASON:
        raise InputError(f'--update: found "{reason}", expected the reason in a few words')


def store(found: Found, reason: str) -> None:
    """Write the figures with the reason for their change; raises InputError for an empty one."""
    check_reason(reason)
    former = read(found.pairing)
    reasons = [*former.get("reasons", []), reason.strip()]
    text = {
        "pairing": found.pairing,
        "rules": RULES,
        "counts_are": found.counts_are,
        "figures": key_figures(found),
        "reasons": reasons,
    }
    path = path_of(found.pairing)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, (json.dumps(text, indent=2) + "\n").encode("utf-8"))


def read(pairing: str) -> dict[str, Any]:
    """Return the stored figures of a pairing, empty when there are none."""
    path = path_of(pairing)
    if not path.is_file():
        return {}
    loaded: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return loaded


def figures_of(pairing: str) -> dict[str, int]:
    """Return the stored figures that are compared; raises InputError when there are none."""
    stored: dict[str, int] = read(pairing).get("figures", {})
    if not stored:
        path = path_of(pairing).as_posix()
        raise InputError(f"{path}: found no stored figures; store them with --update")
    return stored


def growth(found: Found) -> list[str]:
    """Return one line for every figure that grew by more than is allowed without a reason.

    Only what was measured is compared; a shorter search finds less, never more.
    """
    stored = figures_of(found.pairing)
    return [
        f"{name} grew from {stored[name]} to {now}, more than {MOST_GROWTH_PERCENT} %; "
        "if that is meant, store it with --update and the reason"
        for name, now in key_figures(found).items()
        if name in stored and 100 * now > (100 + MOST_GROWTH_PERCENT) * stored[name]
    ]
