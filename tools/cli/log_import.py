"""`xlate log import` and `xlate log export`: logs into the compact store and out of it."""

import json
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tools.cli.log_options import FILE, progress_bar, reading_options, tell_unmet
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from tools.logs.importing import ImportOptions
    from tools.logs.table import FrameTable


@click.command("import")
@click.argument("logs", metavar="LOG...", type=FILE, nargs=-1, required=True)
@click.option("--out", "target", type=FILE, required=True, help="The store to write, *.xlog.")
@reading_options
@click.option("--json", "as_json", is_flag=True, help="Print the counts as JSON.")
def import_command(
    logs: tuple[Path, ...],
    target: Path,
    options: "ImportOptions",
    as_json: bool,
) -> None:
    """Read LOGs of any format python-can reads into one compact store.

    Several logs are merged by time. Times become whole microseconds; time that runs backward is
    refused unless --sort is given. Error and remote frames are kept and marked, CAN FD frames are
    counted and left out. Nothing is written when the import fails.
    """
    from tools.logs.importing import Importing, seconds
    from tools.logs.store import SUFFIX, StoreWriter

    if target.suffix != SUFFIX:
        raise InputError(f"{target}: a store is named *{SUFFIX}")
    if target.resolve() in {log.resolve() for log in logs}:
        raise InputError(f"{target}: is a log that is read; the store needs its own name")
    importing = Importing(logs, options)
    with progress_bar("importing") as show, StoreWriter(target) as store:
        for table in importing.tables(show):
            store.add(table)
        store.channels = tuple(importing.channels)
        facts = _facts(importing)
        store.facts = facts
    tell_unmet(importing)
    octets = target.stat().st_size
    facts = {
        **facts,
        "written": str(target),
        "frames": store.rows,
        "octets": octets,
        "octets_per_frame": round(octets / store.rows, 2),
    }
    if as_json:
        click.echo(json.dumps(facts, indent=2))
        return
    for log in logs:
        click.echo(f"read: {log}")
    for title in ("channels", "kinds", "ignored", "rejected"):
        told = ", ".join(f"{name.replace('_', ' ')} {n}" for name, n in facts[title].items())
        click.echo(f"{title}: {told or 'none'}")
    click.echo(f"time: {seconds(facts['first_us'])} s to {seconds(facts['last_us'])} s")
    if facts["frames_moved_by_sorting"]:
        click.echo(f"sorted: time ran backward {facts['frames_moved_by_sorting']} times")
    click.echo(f"written: {target}, {store.rows} frames, {facts['octets_per_frame']} octets each")


def _facts(importing: Any) -> dict[str, Any]:
    ignored = importing.ignored + importing.left_out
    return {
        "logs": [path.name for path in importing.paths],
        "channels": dict(importing.read),
        "kinds": dict(importing.kinds),
        "ignored": {kind: count for kind, count in ignored.items() if count},
        "rejected": {kind: count for kind, count in importing.rejected.items() if count},
        "first_us": importing.first_us,
        "last_us": importing.last_us,
        "frames_moved_by_sorting": importing.backward,
    }


@click.command("export")
@click.argument("store_path", metavar="STORE", type=FILE)
@click.argument("target", metavar="LOG", type=FILE)
@click.option("--from-s", type=float, help="First time, in seconds from the start of the log.")
@click.option("--to-s", type=float, help="Last time, in seconds from the start of the log.")
@click.option("--bus", "buses", multiple=True, help="Only this bus. May be given several times.")
def export_command(
    store_path: Path,
    target: Path,
    from_s: float | None,
    to_s: float | None,
    buses: tuple[str, ...],
) -> None:
    """Write STORE, or a part of it, as a LOG.

    The extension says the format: .log is candump text, others are as python-can writes them.
    Only the blocks of the asked time are read.
    """
    from tools.logs.exporting import write_log
    from tools.logs.store import Store

    store = Store(store_path)
    if target.resolve() == store_path.resolve():
        raise InputError(f"{target}: is the store that is read; the log needs its own name")
    for bus in buses:
        if bus not in store.channels:
            raise InputError(f"--bus {bus}: the log has {', '.join(store.channels)}")
    start = store.blocks[0].first_us if store.blocks else 0
    first = None if from_s is None else start + round(from_s * 1_000_000)
    last = None if to_s is None else start + round(to_s * 1_000_000)
    chosen = [store.channels.index(bus) for bus in buses]

    def parts() -> "Iterator[FrameTable]":
        import numpy as np

        for table in store.tables(first, last):
            yield table.rows(np.isin(table.bus, chosen)) if chosen else table

    found = (table for table in parts() if len(table))
    begin = next(found, None)
    if begin is None and store.rows:
        length = (store.blocks[-1].last_us - start) / 1_000_000
        raise InputError(f"{store_path}: found no frame in this part, expected one of {length} s")
    rows = write_log(target, store.channels, chain([begin] if begin is not None else [], found))
    click.echo(f"written: {target}, {rows} frames")
