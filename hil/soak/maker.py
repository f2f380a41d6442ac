"""Small random pairings as files, from a seed: what nobody would think of writing.

Layouts (`layouts.py`), protections, units, multiplexers, deadlines, conditions, substitution,
faults, functions, routes, event and cyclic sending (`drawn_tables.py`) are drawn. A draw that the
load refuses (an overflow, a signal that does not fit) is no pairing; the next one of the same seed
is taken.
"""

from pathlib import Path
from random import Random

from hil.soak.drawn_tables import BUSES, Tables
from hil.soak.layouts import Layouts, Message, Signal, database
from xlate_core.pairing import PairingError, load
from xlate_core.pairing.model import Pairing

MOST_DRAWS = 200


def make(seed: int, folder: Path) -> Pairing:
    """Write the pairing of a seed into a folder and load it."""
    chance = Random(seed)
    folder.mkdir(parents=True, exist_ok=True)
    for _ in range(MOST_DRAWS):
        for name, text in _draw(chance, f"drawn_{seed}").items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
        try:
            return load(folder)
        except PairingError:
            continue
    raise AssertionError(f"seed {seed}: {MOST_DRAWS} draws and no pairing")


def _draw(chance: Random, name: str) -> dict[str, str]:
    """Draw a whole pairing; return its three files."""
    tick = chance.choice((1, 1, 2, 5))
    tables = Tables(chance, name, tick)
    layouts = Layouts(chance, tick)
    received = {bus: layouts.messages(bus, "IN", 1 + layouts.below(3)) for bus in BUSES}
    sent = {bus: layouts.messages(bus, "OUT", 1 + layouts.below(3)) for bus in BUSES}
    routed = layouts.below(3) == 0
    tables.head()
    tables.inputs()
    for bus in BUSES:
        for message in received[bus]:
            tables.receive(bus, message)
    tables.functions()
    for bus in BUSES:
        for message in sent[bus]:
            tables.transmit(bus, message)
    databases = {}
    for bus in BUSES:
        messages = [*received[bus], *sent[bus]]
        if routed and bus == "body":
            extra = Message("PASS", layouts.identifier(bus), False, 8, 0)
            extra.signals = [Signal("Octets", 0, 64, True, False)]
            messages.append(extra)
            queue = chance.choice(('"newest"', "{ fifo = 4 }"))
            tables.parts.append(f'[route.pass]\nfrom = "body.PASS"\nto = "engine"\nqueue = {queue}')
        databases[f"{bus}.dbc"] = database(messages)
    tables.watch_the_idle()
    return {"bridge.toml": "\n\n".join(tables.parts) + "\n", **databases}
