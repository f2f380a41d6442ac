"""An inspection as plain data for JSON, and in words for a terminal."""

from typing import TYPE_CHECKING, Any

from tools.logs.importing import seconds
from tools.logs.inspection.findings import Guess, Inspection, MessageReport, What

if TYPE_CHECKING:
    from rich.console import Console


def as_data(inspection: Inspection) -> dict[str, Any]:
    """Return an inspection as plain data; times in microseconds, confidences in percent."""
    return {
        "channels": list(inspection.channels),
        "frames": inspection.frames,
        "first_us": inspection.first_us,
        "last_us": inspection.last_us,
        "notes": inspection.notes,
        "messages": [_message(report) for report in inspection.messages],
    }


def _message(report: MessageReport) -> dict[str, Any]:
    timing = report.timing
    return {
        "bus": report.channel,
        "identifier": report.key.show(),
        "extended": report.key.extended,
        "frames": timing.frames,
        "remote_frames": report.remote_frames,
        "lengths": {str(length): count for length, count in report.lengths.items()},
        "first_us": timing.first_us,
        "last_us": timing.last_us,
        "interval_us": {
            "median": timing.median_us,
            "spread": timing.spread_us,
            "shortest": timing.shortest_us,
            "longest": timing.longest_us,
            "gaps": timing.gaps,
            "bursts": timing.bursts,
        },
        "changing_bits": {str(bit): round(rate, 6) for bit, rate in report.changing_bits.items()},
        "constant_octets": {str(o): f"{value:02X}" for o, value in report.constant_octets.items()},
        "guesses": [_guess(guess) for guess in report.guesses],
    }


def _guess(guess: Guess) -> dict[str, Any]:
    return {
        "what": guess.what.value,
        "text": guess.text,
        "place": None if guess.place is None else guess.place.show(),
        "path": guess.path,
        "confidence": guess.confidence,
        "evidence": guess.evidence,
        "facts": guess.facts,
    }


def print_overview(inspection: Inspection, console: "Console") -> None:
    """Print one line a message: what a person looks at first."""
    length = seconds(inspection.last_us - inspection.first_us)
    console.print(
        f"{inspection.frames} frames in {length} s, {len(inspection.messages)} messages. "
        "Everything below is a guess with its confidence, never a fact."
    )
    for report in inspection.messages:
        octets = "/".join(str(each) for each in report.lengths)
        told = [f"{report.timing.frames} frames of {octets} octets"]
        for what in (What.SENDING, What.COUNTER, What.CHECKSUM, What.MULTIPLEXER):
            told += [_short(guess) for guess in report.of(what)[:1]]
        for what, name in ((What.VALUE, "value"), (What.STATE, "state")):
            count = len(report.of(what))
            if count:
                told.append(f"{count} {name}{'s' if count > 1 else ''}")
        told += [_short(guess) for guess in report.of(What.FOLLOWS)]
        console.print(
            f"{report.channel} {report.key.show()}: {'; '.join(told)}", markup=False, soft_wrap=True
        )
    for note in inspection.notes:
        console.print(f"note: {note}", markup=False, soft_wrap=True)
    console.print("--message IDENTIFIER tells everything about one, --html draws all of it")


def _short(guess: Guess) -> str:
    if guess.what is What.CHECKSUM:
        told = f"checksum {guess.facts['family']}"
    elif guess.what is What.COUNTER:
        told = f"counter {guess.facts['low']}..{guess.facts['low'] + guess.facts['modulo'] - 1}"
    elif guess.what is What.MULTIPLEXER:
        told = f"selector of {len(guess.facts['paths'])} paths"
    else:
        told = guess.text
    place = f" at {guess.place.show()}" if guess.place is not None else ""
    return f"{told}{place} ({guess.confidence} %)"


def print_message(report: MessageReport, console: "Console") -> None:
    """Print everything about one message."""
    timing = report.timing
    lines = [
        f"{report.channel} {report.key.show()}: {timing.frames} frames, octets "
        + ", ".join(f"{length} ({count} frames)" for length, count in report.lengths.items()),
    ]
    lines.append(
        f"  intervals: median {timing.median_us / 1000:.3f} ms, spread "
        f"{timing.spread_us / 1000:.3f} ms, {timing.shortest_us / 1000:.3f} to "
        f"{timing.longest_us / 1000:.3f} ms, {timing.gaps} gaps, {timing.bursts} bursts"
    )
    if report.constant_octets:
        told = ", ".join(f"{o} = {value:02X}" for o, value in report.constant_octets.items())
        lines.append(f"  constant octets: {told}")
    for octet in sorted({bit // 8 for bit in report.changing_bits}):
        rates = [report.changing_bits.get(8 * octet + bit, 0.0) for bit in range(7, -1, -1)]
        told = " ".join(f"{rate:5.1%}" if rate else "    -" for rate in rates)
        lines.append(f"  octet {octet}, bits 7..0 change in {told} of the frames")
    for guess in report.guesses:
        place = f" {guess.place.show()}" if guess.place is not None else ""
        path = f", path {guess.path}" if guess.path is not None else ""
        lines.append(f"  {guess.confidence:2d} % {guess.what}{place}{path}: {guess.text}")
        lines.append(f"       {guess.evidence}")
    for line in lines:
        console.print(line, markup=False, soft_wrap=True)
