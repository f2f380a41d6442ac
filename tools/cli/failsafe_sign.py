"""`xlate failsafe compare` and `sign`: a person stands for the table."""

import datetime
import os
import sys
from pathlib import Path

import click

from tools.cli.failsafe_shared import (
    EXIT_DIFFERENCE,
    EXIT_INCOMPLETE,
    TABLES,
    folder_of,
    out_option,
)
from xlate_core.errors import InputError


@click.command("compare")
@click.argument("pairing")
@out_option
@click.option(
    "--against",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Folder of another built table; default: what was signed.",
)
@click.option("--json", "as_json", is_flag=True, help="Print as JSON.")
def compare(pairing: str, out: Path | None, against: Path | None, as_json: bool) -> None:
    """Show line by line what changed since the table of PAIRING (its name) was signed.

    Exit code 1 on a difference, 4 when there is nothing to compare with.
    """
    import json

    from tools.failsafe import signing
    from tools.failsafe.stored import evidence_of, line_facts, read

    folder = folder_of(out, pairing)
    stored = read(folder)
    groups = stored.groups()
    if against is not None:
        other = read(against).groups()
        former = {output: list(map(line_facts, lines)) for output, lines in other.items()}
        lapsed: list[str] = []
    else:
        signatures = signing.read(TABLES / pairing / signing.FILE)
        former = {output: one.lines for output, one in signatures.items()}
        standing = signing.valid(stored, signatures, evidence_of(folder))
        lapsed = [output for output in signatures if not standing.get(output, False)]
        if not former:
            click.echo(f"{pairing}: nothing is signed; compare --against another folder", err=True)
            sys.exit(EXIT_INCOMPLETE)
    found = [
        one
        for output, lines in former.items()
        for one in signing.differences(lines, groups.get(output, []))
    ]
    if as_json:
        told = [{"change": change, "line": line, "what": what} for change, line, what in found]
        click.echo(json.dumps({"differences": told, "lapsed": lapsed}, indent=1))
    else:
        for change, line, what in found:
            faults = ", ".join(line["faults"][:3])
            click.echo(f"{change}: {line['output']} {line['requirement']}: {faults}")
            for word in what:
                click.echo(f"    {word}")
        for output in lapsed:
            click.echo(f"lapsed: the signature under {output}")
        click.echo(f"{len(found)} lines differ, {len(lapsed)} signatures lapsed")
    if found or lapsed:
        sys.exit(EXIT_DIFFERENCE)


@click.command("sign")
@click.argument("pairing")
@click.option("--output", "outputs", multiple=True, required=True, help="Output to sign for.")
@out_option
def sign(pairing: str, outputs: tuple[str, ...], out: Path | None) -> None:
    """Sign the lines of outputs of PAIRING (its name), at a terminal, after reading them.

    Refuses without a person at a terminal, and where CI is set. A signature is no approval.
    """
    from hil.vectors.errors import nearest
    from tools.failsafe import signing
    from tools.failsafe.stored import evidence_of, group_digest, line_facts, read

    if os.environ.get("CI") or not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise InputError(
            "failsafe sign: found no person at a terminal, expected one; automatic runs never sign"
        )
    folder = folder_of(out, pairing)
    stored = read(folder)
    proofs = evidence_of(folder)
    groups = stored.groups()
    path = TABLES / pairing / signing.FILE
    signatures = signing.read(path)
    for output in outputs:
        if output not in groups:
            raise InputError(
                f"failsafe sign: found output `{output}`, expected one of the table"
                f"{nearest(output, groups)}"
            )
    for output in outputs:
        lines = groups[output]
        click.echo(f"{output}: {len(lines)} lines")
        for line in lines:
            click.echo(
                f"  {line.digest[:8]} {line.requirement or '-'} {line.required or '-'}: "
                f"{line.status.value}, {line.rows} rows"
            )
        said = {
            key: click.prompt(f"{output}: {key}", type=str).strip()
            for key in ("name", "role", "independence", "reason")
        }
        if click.prompt(f"Type {output} to sign") != output:
            click.echo("not signed")
            continue
        signatures[output] = signing.Signature(
            output=output,
            date=datetime.datetime.now(tz=datetime.UTC).date().isoformat(),
            digest=group_digest(stored, lines, proofs),
            lines=[line_facts(line) for line in lines],
            **said,
        )
        signing.write(path, signatures)
        click.echo(f"signed in {path.as_posix()}; this is no approval for the road")
