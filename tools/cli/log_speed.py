"""`xlate log speed`: how fast logs are read, stored and inspected; never a verdict."""

import json

import click

from tools.cli.speed import print_figures, said


@click.command("speed")
@click.option(
    "--drive-s", type=click.IntRange(2, 86_400), default=600, show_default=True,
    help="Length of the invented drive; 3600 measures the whole hour.",
)  # fmt: skip
@click.option("--repeats", type=click.IntRange(1, 100), default=3, show_default=True)
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
def speed_command(drive_s: int, repeats: int, as_json: bool) -> None:
    """Measure store, text import beside python-can's reader, and inspect.

    Floors are printed beside the figures. They depend on the machine, so the exit code is 0 whether
    or not they are met.
    """
    from tools.speed.logs import measure
    from tools.speed.rows import Measured

    measured = Measured()
    measure(measured, drive_s, repeats, said)
    if as_json:
        click.echo(json.dumps([row.plain() for row in measured.rows], indent=2))
    else:
        print_figures(measured)
