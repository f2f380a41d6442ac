"""The report of a run as one HTML file: nothing is fetched, it prints, and it stays under 2 MB.

Verdict, identity of firmware, pairing and board, the first difference of every vector that did not
pass with its picture and the command that runs it again, then the list of all vectors.
"""

from collections.abc import Sequence
from html import escape
from pathlib import Path

from hil.reports.machine import CAUTION, put
from hil.runner import Result
from hil.verdicts import BENCH, Verdict

MOST_OCTETS = 1_900_000
MOST_PICTURES = 40
STYLE = """
body { font: 15px/1.45 sans-serif; margin: 2em auto; max-width: 70em; padding: 0 1em;
       color: #111; background: #fff; }
h1 { font-size: 1.5em; } h2 { font-size: 1.15em; margin-top: 2em; border-bottom: 1px solid #888; }
.verdict { font-weight: bold; border: 2px solid #111; padding: .3em .7em; display: inline-block; }
pre { background: #f3f3f3; padding: .7em; white-space: pre-wrap; overflow-wrap: anywhere;
      font-size: 13px; }
table { border-collapse: collapse; width: 100%; }
th, td { text-align: left; padding: .15em .6em .15em 0; border-bottom: 1px solid #ccc;
         vertical-align: top; }
td.number { text-align: right; font-variant-numeric: tabular-nums; }
.caution { border-left: 6px solid #111; padding: .2em .8em; }
@media print { body { margin: 0; max-width: none; font-size: 11px; }
               h2, figure { break-inside: avoid; }
               pre { font-size: 10px; border: 1px solid #888; } }
figure { margin: 1em 0; }
"""


def write(path: Path, title: str, results: Sequence[Result], notes: Sequence[str] = ()) -> None:
    """Write the report; raises InputError when its place cannot be written."""
    put(path, page(title, results, notes).encode("utf-8"))


def overall(results: Sequence[Result]) -> str:
    """Return the verdict over everything in words."""
    seen = {result.verdict for result in results}
    if Verdict.MISMATCH in seen:
        return "MISMATCH: the product does not do what the reference says"
    if seen & BENCH:
        return "BENCH FAULT: the bench failed, nothing is said about the product"
    if Verdict.NOT_RUN in seen or not seen:
        return "INCOMPLETE: not every vector ran"
    return "PASS: bit for bit as the reference says"


def page(title: str, results: Sequence[Result], notes: Sequence[str] = ()) -> str:
    """Return the report's text."""
    parts = [
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">',
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body>",
        f"<h1>{escape(title)}</h1>",
        f'<p class="verdict">{escape(overall(results))}</p>',
        f'<p class="caution">{escape(CAUTION)}</p>',
        "<h2>What ran</h2>",
        summary(results),
    ]
    identities = dict.fromkeys(one.board_identity for one in results if one.board_identity)
    parts += [f"<p>{escape(identity)}</p>" for identity in identities]
    parts += [f"<p>{escape(note)}</p>" for note in notes]
    tail = every_vector(results) + "</body></html>\n"
    room = MOST_OCTETS - len(tail.encode("utf-8"))
    failed = [one for one in results if one.verdict is not Verdict.PASS]
    failed.sort(key=lambda one: list(Verdict).index(one.verdict))
    if failed:
        parts.append("<h2>What did not pass</h2>")
    used = sum(len(part.encode("utf-8")) for part in parts)
    for number, result in enumerate(failed):
        section = failure(result, with_picture=number < MOST_PICTURES)
        size = len(section.encode("utf-8"))
        if used + size > room - 200:
            parts.append(f"<p>{len(failed) - number} more are in the journal.</p>")
            break
        parts.append(section)
        used += size
    return "".join([*parts, tail])


def summary(results: Sequence[Result]) -> str:
    """Return the counts as a table."""
    rows = "".join(
        f'<tr><td>{verdict.value.replace("_", " ")}</td><td class="number">{count}</td></tr>'
        for verdict in Verdict
        if (count := sum(one.verdict is verdict for one in results))
    )
    unstable = sum(one.unstable for one in results)
    totals = (
        ("of these unstable (the bench failed before)", unstable),
        ("ticks", sum(one.ticks for one in results)),
        ("frames in", sum(one.frames_in for one in results)),
        ("frames out compared", sum(one.frames_out for one in results)),
        ("state digests compared", sum(one.checkpoints for one in results)),
    )
    rows += "".join(
        f'<tr><td>{name}</td><td class="number">{count}</td></tr>' for name, count in totals
    )
    return f"<table>{rows}</table>"


def failure(result: Result, with_picture: bool) -> str:
    """Return the section of a vector that did not pass."""
    head = f"{result.verdict.value.replace('_', ' ')}: {result.identity} on {result.board}"
    text = "\n".join(result.explanation)
    figure = f"<figure>{result.picture}</figure>" if with_picture and result.picture else ""
    return f"<h3>{escape(head)}</h3><p>{escape(result.title)}</p>{figure}<pre>{escape(text)}</pre>"


def every_vector(results: Sequence[Result]) -> str:
    """Return the list of all vectors."""
    rows = "".join(
        f"<tr><td>{escape(one.identity)}</td><td>{escape(one.pairing)}</td>"
        f"<td>{escape(one.board)}</td><td>{one.verdict.value.replace('_', ' ')}"
        f"{' (unstable)' if one.unstable else ''}</td>"
        f'<td class="number">{one.ticks}</td><td class="number">{one.duration_ms} ms</td></tr>'
        for one in results
    )
    return (
        "<h2>All vectors</h2><table><tr><th>vector</th><th>pairing</th><th>board</th>"
        f"<th>verdict</th><th>ticks</th><th>took</th></tr>{rows}</table>"
    )
