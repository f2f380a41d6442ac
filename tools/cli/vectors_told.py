"""What `xlate vectors run` says at its end: what did not pass, the counts, how to go on."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hil.verdicts import Verdict
from tools.cli.interrupted import words_of_rest
from tools.cli.vectors_shared import shown

if TYPE_CHECKING:
    from hil.runner import Result


def report(results: "Sequence[Result]") -> None:
    """Print verdicts and explanations of what did not pass, then one line of summary.

    What was not run for one reason is one line: a missing board leaves hundreds.
    """
    several = len({result.board for result in results}) > 1
    waiting: dict[str, list[Result]] = {}
    for result in results:
        on = f" on {result.board}" if several and result.board else ""
        if result.verdict is Verdict.NOT_RUN:
            waiting.setdefault(why_not_run(result) + on, []).append(result)
        elif result.verdict is not Verdict.PASS:
            click.echo(f"{result.verdict.value.upper()} {shown(result.path)}{on}")
            for line in result.explanation:
                click.echo(line)
        elif result.unstable:
            click.echo(f"UNSTABLE {shown(result.path)}{on}: passed in run {result.attempts}")
    for why, left in waiting.items():
        what = shown(left[0].path) if len(left) == 1 else f"{len(left)} vectors"
        click.echo(f"NOT_RUN {what}{why}")
    click.echo(summary(results))


def why_not_run(result: "Result") -> str:
    """Return the reason that a vector was not run, after a colon; nothing for an interrupt."""
    said = " ".join(result.explanation)
    return said.removeprefix(f"vector {result.identity}: not run")


def summary(results: "Sequence[Result]") -> str:
    """Return the counts of a run in one line."""
    counts = ", ".join(
        f"{count} {verdict.value}"
        for verdict in Verdict
        if (count := sum(result.verdict is verdict for result in results))
    )
    unstable = sum(result.unstable for result in results)
    if unstable:
        counts += f" ({unstable} unstable)"
    ticks = sum(result.ticks for result in results)
    frames_in = sum(result.frames_in for result in results)
    frames_out = sum(result.frames_out for result in results)
    checkpoints = sum(result.checkpoints for result in results)
    return (
        f"{len(results)} vectors: {counts or 'nothing ran'}; {ticks} ticks, {frames_in} frames in, "
        f"{frames_out} frames out compared, {checkpoints} digests"
    )


def go_on(results: "Sequence[Result]", interrupted: bool, folder: Path | None) -> None:
    """Say how far an incomplete run came, and the command that does the rest."""
    left = sum(result.verdict is Verdict.NOT_RUN for result in results)
    if not left:
        return
    how = "interrupted" if interrupted else "ended"
    done = f"{how} after {len(results) - left} of {len(results)} vectors"
    if folder is None:
        click.echo(f"{done}; only with --out FOLDER a run can be gone on with", err=True)
        return
    rest = words_of_rest("--resume", folder)
    click.echo(f"{done}; go on with: {rest}", err=True)
