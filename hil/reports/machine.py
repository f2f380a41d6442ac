"""Results for machines: JSON, and JUnit XML as build servers read it."""

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from hil.journal import plain
from hil.runner import Result
from hil.vectors.files import write_whole
from hil.verdicts import BENCH, Verdict
from xlate_core.errors import InputError, reason_of

FORMAT = 1
CAUTION = (
    "A bench result is no approval. Road use needs the checks of local regulations and a licensed "
    "or accredited person. Work on a raised, unpowered vehicle with pump and starter disarmed "
    "until the bench vectors pass."
)
# Characters XML 1.0 cannot carry.
NOT_IN_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def as_json(board: str, results: Sequence[Result]) -> dict[str, Any]:
    """Return the report as plain data."""
    counts = {
        verdict.value: sum(result.verdict is verdict for result in results) for verdict in Verdict
    }
    return {
        "format": FORMAT,
        "board": board,
        "caution": CAUTION,
        "counts": counts,
        "vectors": [_row(result, board) for result in results],
    }


def _row(result: Result, board: str) -> dict[str, Any]:
    """Return a result as the journal has it, without its picture, and whether it is unstable."""
    row = plain(result) | {"board": result.board or board, "unstable": result.unstable}
    del row["picture"]
    return row


def write_json(path: Path, board: str, results: Sequence[Result]) -> None:
    """Write the JSON report."""
    text = json.dumps(as_json(board, results), indent=2, ensure_ascii=False) + "\n"
    put(path, text.encode("utf-8"))


def write_junit(path: Path, board: str, results: Sequence[Result]) -> None:
    """Write the JUnit report: a mismatch is a failure, the bench an error, not run is skipped."""
    suite = ElementTree.Element(
        "testsuite",
        name=f"vectors on {board}",
        tests=str(len(results)),
        failures=str(sum(result.verdict is Verdict.MISMATCH for result in results)),
        errors=str(sum(result.verdict in BENCH for result in results)),
        skipped=str(sum(result.verdict is Verdict.NOT_RUN for result in results)),
        time=seconds(sum(result.duration_ms for result in results)),
    )
    properties = ElementTree.SubElement(suite, "properties")
    ElementTree.SubElement(properties, "property", name="caution", value=CAUTION)
    for result in results:
        case = ElementTree.SubElement(
            suite,
            "testcase",
            classname=result.pairing,
            name=result.identity,
            time=seconds(result.duration_ms),
        )
        if result.verdict is Verdict.PASS:
            continue
        kind = {Verdict.MISMATCH: "failure", Verdict.NOT_RUN: "skipped"}.get(
            result.verdict, "error"
        )
        text = NOT_IN_XML.sub("\N{REPLACEMENT CHARACTER}", "\n".join(result.explanation))
        element = ElementTree.SubElement(case, kind, message=result.verdict.value)
        element.text = text
    root = ElementTree.Element("testsuites")
    root.append(suite)
    ElementTree.indent(root)
    put(path, ElementTree.tostring(root, encoding="utf-8", xml_declaration=True) + b"\n")


def seconds(milliseconds: int) -> str:
    """Return milliseconds as seconds with three places."""
    return f"{milliseconds // 1000}.{milliseconds % 1000:03d}"


def put(path: Path, content: bytes) -> None:
    """Write a report; raises InputError when its place cannot be written."""
    try:
        write_whole(path, content)
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({reason_of(error)})") from None
