"""`xlate timing`: how long things take, at worst."""

import json
import sys
from pathlib import Path

import click

EXIT_DIFFERENCE = 1


@click.group("timing")
def command() -> None:
    """Worst-case times on both buses and through the bridge."""


@command.command("bus")
@click.argument("pairing", type=click.Path(path_type=Path))
@click.option(
    "--bit-rate", type=(str, int), multiple=True, metavar="BUS BIT/S", help="Try another bit rate."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def bus(pairing: Path, bit_rate: tuple[tuple[str, int], ...], as_json: bool) -> None:
    """Worst-case response time of every message on both buses of PAIRING.

    Exit code 1 when a deadline can be missed.
    """
    from tools.timing.bus_report import facts, print_facts
    from tools.timing.streams import TimingInputError, bus_timings
    from xlate_core.frames import BUS_NAMES
    from xlate_core.pairing import load

    for name, rate in bit_rate:
        if name not in BUS_NAMES or rate < 1:
            raise TimingInputError(
                f"--bit-rate: found {name} {rate}, expected one of {', '.join(BUS_NAMES)} and bit/s"
            )
    loaded = load(pairing)
    timings = bus_timings(loaded, dict(bit_rate))
    told = facts(loaded, timings)
    if as_json:
        click.echo(json.dumps(told, indent=2))
    else:
        print_facts(told)
    if not told["all_met"]:
        sys.exit(EXIT_DIFFERENCE)
