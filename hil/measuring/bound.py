"""A bound on the longest tick: for every table of the pairing, entries times the longest entry.

The loops of a tick run over tables of fixed length, each entry with one function call. The firmware
for profiles tells the longest call of each such function over all that was tried; the bound adds up
as many of them as the table has entries, whatever of it can happen in one and the same tick, and on
top the longest time the tick spent outside all of them. It is as good as the search that fed it:
static in the number of entries, measured in the cost of one.
"""

from pathlib import Path
from random import Random
from typing import Any

from hil.firmware.frame_tables import is_plain
from hil.measuring.meter import Meter, Plan, Profile
from hil.measuring.report import Request
from hil.measuring.search import neighbour, plan_of, random_try
from xlate_core.bridge import BridgeSpec
from xlate_core.pairing.model import Pairing


def entries_of(spec: BridgeSpec) -> dict[str, tuple[int, str]]:
    """Return the functions a tick calls once an entry: how many entries, and of what."""
    received = [one for one in spec.quantities if one.sources]
    plain = sum(map(is_plain, received))
    return {
        "xb_debounce": (len(spec.pins.levels), "level inputs"),
        "xb_measure": (len(spec.pins.analogues), "analogue inputs"),
        "say": (len(spec.pins.levels) + len(spec.pins.analogues), "pins to their sources"),
        "run_clock": (len(spec.clocks), "supervision clocks"),
        "evaluate_plain": (plain, "plain received quantities"),
        "evaluate": (len(received) - plain, "other received quantities"),
        "xb_fault_step": (len(spec.faults), "faults"),
        "xb_power_step": (1, "power mode"),
        "xb_functions_step": (1, "all functions"),
        "send_if_due": (len(spec.transmits), "sent messages"),
        "xb_drive": (len(spec.pins.outputs), "output pins"),
        "xb_condition_holds": (len(spec.conditions), "conditions"),
    }


def bound_of(
    meter: Meter, pairing: Pairing, elf: Path, request: Request
) -> tuple[int, tuple[str, ...]]:
    """Profile the core over random tries; return the bound in counts and its parts as text."""
    spec = pairing.spec
    entries = entries_of(spec)
    names = functions_of(elf)
    longest = dict.fromkeys(entries, 0)
    rest = 0
    chance = Random(request.seed)
    best = random_try(spec, chance)
    for number in range(max(request.tries // 4, 20)):
        one = random_try(spec, chance) if number % 10 == 0 else neighbour(spec, chance, best)
        plan, places = plan_of(spec, one)
        done = 0
        for place in places:
            meter.run(Plan(plan.records[done:place], plan.answers[done:place]))
            meter.clear_profiles()
            meter.run(Plan(plan.records[place : place + 1], plan.answers[place : place + 1]))
            done = place + 1
            rest = max(rest, take(meter.profiles(), names, longest))
        best = one
    parts = [
        (count * longest[name], f"{count} x {longest[name]} {what} ({name})")
        for name, (count, what) in entries.items()
        if count and longest[name]
    ]
    total = sum(counts for counts, _ in parts) + rest
    texts = [f"{counts:>7} = {text}" for counts, text in sorted(parts, reverse=True)]
    return total, (*texts, f"{rest:>7} = the rest of the tick, the longest seen")


def take(profiles: list[Profile], names: dict[int, str], longest: dict[str, int]) -> int:
    """Take the longest calls out of profiles; return what one tick spent outside the entries."""
    ticks = inside = 0
    calls = 1
    for profile in profiles:
        name = names.get(profile.address & ~1, "").split(".")[0]  # of a clone as well
        if name == "xb_tick":
            ticks, calls = profile.total, profile.calls
        elif name in longest:
            longest[name] = max(longest[name], profile.longest)
            inside += profile.total
    return max(0, ticks - inside) // max(calls, 1)


def functions_of(elf: Path) -> dict[int, str]:
    """Return the functions of an ELF file by their address."""
    from elftools.elf.elffile import ELFFile

    with elf.open("rb") as stream:
        table: Any = ELFFile(stream).get_section_by_name(".symtab")
        return {
            int(symbol["st_value"]) & ~1: symbol.name
            for symbol in table.iter_symbols()
            if symbol["st_info"]["type"] == "STT_FUNC"
        }
