"""`xlate firmware coverage`: the decisions of the C core that the stored vectors take."""

import json
import sys
import tempfile
from pathlib import Path

import click

from tools.cli.outputs import OUT_FILE

EXIT_DIFFERENCE, EXIT_BENCH = 1, 3
FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
FLOOR_TENTHS = 950


@click.command("coverage")
@click.option("--json", "json_file", type=OUT_FILE, help="Also write as JSON.")
def command(json_file: Path | None) -> None:
    """Run the corpora of all pairings on a counted core; list what no vector reaches, and why.

    Exit code 1 below 95 % or with a way that has no written reason, 3 without gcc or gcovr.
    """
    from hil.boards.interface import BoardError
    from hil.firmware.coverage import measure, reasons
    from hil.runner import Pairings
    from hil.vectors.files import write_whole
    from xlate_core.pairing import load

    pairings = Pairings(FIXTURES / "pairings", load, {})
    names = sorted(path.name for path in (FIXTURES / "vectors").iterdir() if path.is_dir())
    try:
        with tempfile.TemporaryDirectory(prefix="xlate-coverage-") as folder:
            found = measure(pairings, names, FIXTURES / "vectors", Path(folder))
    except BoardError as error:
        click.echo(str(error), err=True)
        sys.exit(EXIT_BENCH)
    known = reasons()
    tenths = found.percent_tenths()
    click.echo(f"{found.taken} of {found.ways} ways of decisions: {tenths // 10}.{tenths % 10} %")
    unknown = 0
    for one in found.missing:
        why = known.get((one.file, one.text, one.way))
        unknown += why is None
        click.echo(f"{one.file}:{one.line} {one.way}: {one.text}\n  {why or 'NO REASON WRITTEN'}")
    if json_file is not None:
        facts = {
            "ways": found.ways,
            "taken": found.taken,
            "missing": [
                {"file": one.file, "line": one.line, "text": one.text, "way": one.way}
                for one in found.missing
            ],
        }
        write_whole(json_file, (json.dumps(facts, indent=2) + "\n").encode("utf-8"))
    if tenths < FLOOR_TENTHS or unknown:
        sys.exit(EXIT_DIFFERENCE)
