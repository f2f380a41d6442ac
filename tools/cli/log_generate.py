"""`xlate log generate`: invented logs whose truth is known."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tools.cli.log_options import FILE, write_text
from xlate_core.errors import InputError

if TYPE_CHECKING:
    from tools.logs.synthetic.driving import Series
    from tools.logs.synthetic.truth import TrueNetwork

KINDS = ("tour", "random", "pairing")


@click.command("generate")
@click.argument("kind", type=click.Choice(KINDS))
@click.option("--out", "target", type=FILE, required=True, help="The log: .log, .xlog or other.")
@click.option("--pairing", "pairing_folder", type=FILE, help="The pairing, for `pairing`.")
@click.option("--seconds", type=click.IntRange(1, 100_000), default=60, show_default=True)
@click.option("--seed", type=click.IntRange(0), default=7, show_default=True)
@click.option("--messages", type=click.IntRange(1, 500), default=24, show_default=True)
@click.option(
    "--frames-per-second", type=click.IntRange(1, 20_000), help="Add messages up to this load."
)
@click.option("--reference", "reference_file", type=FILE, help="Write the drive as CSV, 10 Hz.")
@click.option("--truth", "truth_file", type=FILE, help="Write what is really sent as JSON.")
def generate_command(
    kind: str,
    target: Path,
    pairing_folder: Path | None,
    seconds: int,
    seed: int,
    messages: int,
    frames_per_second: int | None,
    reference_file: Path | None,
    truth_file: Path | None,
) -> None:
    """Make a log of an invented drive, to try the other commands on.

    `tour` is the small log of the README, `random` a network drawn from the seed, `pairing` the
    messages of a pairing. The same arguments give the same log. All of it is invented.
    """
    from tools.logs.exporting import write_log
    from tools.logs.synthetic.driving import drive
    from tools.logs.synthetic.networks import random_network
    from tools.logs.synthetic.of_pairing import network_of
    from tools.logs.synthetic.render import render
    from tools.logs.synthetic.tour import NETWORK
    from xlate_core.pairing import load

    if (kind == "pairing") != (pairing_folder is not None):
        raise InputError("--pairing FOLDER goes with `generate pairing`, and only with it")
    series = drive(seconds, seed)
    if pairing_folder is not None:
        network = network_of(load(pairing_folder), series)
    elif kind == "random":
        network = random_network(seed, series, messages, frames_per_second)
    else:
        network = NETWORK
    table = render(network, series, seconds, seed, start_us=1_700_000_000_000_000)
    rows = write_log(target, table.channels, [table])
    click.echo(f"written: {target}, {rows} frames of {len(network.messages)} invented messages")
    if reference_file is not None:
        start_us = int(table.time_us[0]) - 1_700_000_000_000_000
        write_text(reference_file, _reference(network, series, seconds, start_us))
        click.echo(f"written: {reference_file}")
    if truth_file is not None:
        write_text(truth_file, json.dumps(_truth(network), indent=1) + "\n")
        click.echo(f"written: {truth_file}")


def _reference(
    network: "TrueNetwork", series: "dict[str, Series]", seconds: int, start_us: int
) -> str:
    """Return the drive as a person's instrument would note it, from the first frame on."""
    import numpy as np

    lines = ["time," + ",".join(network.series)]
    times = np.arange(0, seconds * 1_000_000 - 200_000, 100_000)
    columns = [series[name].at(times + start_us) for name in network.series]
    for row, time in enumerate(times.tolist()):
        told = ",".join(f"{float(column[row]):.2f}" for column in columns)
        lines.append(f"{time / 1e6:.1f},{told}")
    return "\n".join(lines) + "\n"


def _truth(network: "TrueNetwork") -> list[dict[str, Any]]:
    return [
        {
            "bus": network.channels[message.key.bus],
            "identifier": message.key.show(),
            "name": message.name,
            "sending": message.sending.value,
            "period_us": message.period_us,
            "counter": None
            if message.counter is None
            else {"place": message.counter.place.show(), "modulo": message.counter.modulo},
            "checksum": None
            if message.checksum is None
            else {"place": message.checksum.place.show(), "family": message.checksum.family},
            "fields": [
                {
                    "name": each.name,
                    "place": each.place.show(),
                    "role": each.role.value,
                    "series": each.series,
                    "factor": each.factor,
                    "offset": each.offset,
                    "path": each.path,
                }
                for each in message.fields
            ],
        }
        for message in network.messages
    ]
