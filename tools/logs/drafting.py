"""A draft of a pairing from an inspected log: two databases and a bridge.toml to edit.

Every entry carries its evidence as a comment. What the module has to send is listed by the person;
its signals start as the constants most often seen, to be replaced by quantities one after the
other. The draft passes `xlate pairing check` as it is, so that every edit can be checked at once.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import floor, log10

import numpy as np

from tools.logs.bits import Field, extract
from tools.logs.draft_checksum import checksum_entry
from tools.logs.inspection.findings import Guess, Inspection, Material, MessageReport, What
from tools.logs.table import Key
from xlate_core.errors import InputError

BUSES = ("body", "engine")
CONFIDENT = 50
"""Guesses below this confidence (percent) become comments, not entries."""
_SENDER = {"body": "CAR", "engine": "ECU"}


@dataclass(slots=True)
class DraftSignal:
    """One signal of a drafted message; `usual` is the raw value most often seen."""

    name: str
    place: Field
    factor: str
    offset: str
    evidence: str
    confidence: int
    usual: int
    path: int | None = None
    is_selector: bool = False
    is_protection: bool = False


@dataclass(slots=True)
class DraftMessage:
    """One drafted message."""

    bus: str
    name: str
    key: Key
    length: int
    period_ms: int
    on_change: bool
    sent: bool
    signals: list[DraftSignal] = field(default_factory=list)
    counter: str = ""
    checksum: str = ""
    comments: list[str] = field(default_factory=list)


def drafted(
    inspection: Inspection, materials: list[Material], sent: Iterable[tuple[str, str]]
) -> list[DraftMessage]:
    """Return the drafted messages; `sent` are bus and identifier of what the module sends.

    Raises InputError for buses that are not body and engine, or a message that is not in the log.
    """
    for channel in {report.channel for report in inspection.messages}:
        if channel not in BUSES:
            raise InputError(
                f"the log has the bus {channel}; a pairing has body and engine: say which it is "
                f"with --channel {channel}=body or --channel {channel}=engine"
            )
    names = {(report.channel, report.key.show()) for report in inspection.messages}
    wanted = {(bus, identifier.upper()) for bus, identifier in sent}
    for bus, identifier in sorted(wanted - names):
        raise InputError(f"--send {bus}:{identifier}: the log has no such message")
    return [
        _message(report, material, (report.channel, report.key.show()) in wanted)
        for report, material in zip(inspection.messages, materials, strict=True)
        if len(material.time_us)
    ]


def _message(report: MessageReport, material: Material, sent: bool) -> DraftMessage:
    guess = report.one(What.SENDING)
    period_us = int(guess.facts["period_us"]) if guess is not None else 0
    made = DraftMessage(
        report.channel,
        f"{report.channel.upper()}_{report.key.show()}",
        report.key,
        material.length,
        round(period_us / 1000),
        guess is not None and guess.facts["sending"] != "cyclic",
        sent,
    )
    if guess is not None:
        made.comments.append(f"{guess.confidence} %: {guess.text} ({guess.evidence})")
    _protection(made, report, material)
    taken = 0
    for signal in made.signals:
        taken |= signal.place.mask()
    scales = {g.place: g for g in report.of(What.FOLLOWS)}
    selector = report.one(What.MULTIPLEXER)
    if selector is not None and selector.place is not None:
        made.signals.append(_signal("Selector", selector, material))
        made.signals[-1].is_selector = True
        taken |= selector.place.mask()
    for guess in (*report.of(What.VALUE), *report.of(What.STATE)):
        if guess.place is None or guess.place.mask() & taken:
            continue
        if guess.confidence < CONFIDENT:
            made.comments.append(
                f"left out, {guess.confidence} %: {guess.place.show()} {guess.text}"
            )
            continue
        kind = "Value" if guess.what is What.VALUE else "State"
        path = "" if guess.path is None else f"_Path{guess.path}"
        name = f"{kind}_{guess.place.start}_{guess.place.length}{path}"
        signal = _signal(name, guess, material)
        scale = scales.get(guess.place)
        if scale is not None and scale.confidence >= CONFIDENT:
            signal.factor, signal.offset = _round_scale(scale)
            signal.evidence += f"; {scale.confidence} %: {scale.text} ({scale.evidence})"
        made.signals.append(signal)
        if guess.path is None:
            taken |= guess.place.mask()
    if sent:
        made.signals += _constants(material, made.signals)
    return made


def _round_scale(guess: Guess) -> tuple[str, str]:
    """Return the scale a designer will have meant, when it is within 1 % of the fitted one.

    Round factors are 1, 2, 2.5 and 5 times a power of ten, and powers of two; the offset becomes
    the nearest whole multiple of 10, 5 or 1 that moves no value by more than 1 % of the range.
    """
    factor, offset = float(guess.facts["factor"]), float(guess.facts["offset"])
    size = abs(factor)
    power = 10.0 ** floor(log10(size))
    wishes = [step * power for step in (1, 2, 2.5, 4, 5, 8, 10)]
    wishes += [2.0**n for n in range(-12, 8)]
    nearest = min(wishes, key=lambda wish: abs(wish - size))
    if abs(nearest - size) > 0.01 * size:
        return f"{factor:.6g}", f"{offset:.6g}"
    assert guess.place is not None
    slack = 0.01 * nearest * (1 << guess.place.length)
    shown = f"{nearest if factor > 0 else -nearest:.6g}"
    for unit in (10, 5, 1):
        rounded = round(offset / unit) * unit
        if abs(rounded - offset) <= slack:
            return shown, str(rounded)
    return shown, f"{offset:.6g}"


def _signal(name: str, guess: Guess, material: Material) -> DraftSignal:
    assert guess.place is not None
    values, counts = np.unique(extract(guess.place, material.payload), return_counts=True)
    return DraftSignal(
        name,
        guess.place,
        "1",
        "0",
        f"{guess.confidence} %: {guess.text} ({guess.evidence})",
        guess.confidence,
        int(values[counts.argmax()]),
        guess.path,
    )


def _constants(material: Material, signals: list[DraftSignal]) -> list[DraftSignal]:
    """Return signals for bits that are always one and belong to nothing else."""
    taken = 0
    for signal in signals:
        taken |= signal.place.mask()
    always = np.bitwise_and.reduce(material.payload, axis=0)
    made = []
    for octet in range(material.length):
        free = int(always[octet]) & ~(taken >> (8 * octet)) & 0xFF
        bit = 0
        while bit < 8:
            width = 0
            while bit + width < 8 and free >> (bit + width) & 1:
                width += 1
            if width:
                place = Field(8 * octet + bit, width)
                name = f"Constant_{place.start}_{width}"
                told = f"always {(1 << width) - 1} in {len(material.payload)} frames"
                made.append(DraftSignal(name, place, "1", "0", told, 99, (1 << width) - 1))
            bit += width + 1
    return made


def _protection(made: DraftMessage, report: MessageReport, material: Material) -> None:
    """Add counter and checksum: entries where the pairing language has them, else comments."""
    counter = report.one(What.COUNTER)
    if counter is not None and counter.place is not None:
        comment = f"{counter.confidence} %: {counter.text} ({counter.evidence})"
        plain = counter.facts["low"] == 0 and counter.facts["step"] == 1
        if counter.confidence >= CONFIDENT and plain:
            signal = _signal("Counter", counter, material)
            signal.is_protection = True
            made.signals.append(signal)
            made.counter = f'{{ signal = "Counter", modulo = {counter.facts["modulo"]} }}'
        made.comments.append(comment)
    check = report.one(What.CHECKSUM)
    if check is None or check.place is None:
        return
    made.comments.append(f"{check.confidence} %: {check.text} ({check.evidence})")
    entry = checksum_entry(check)
    if entry and check.confidence >= CONFIDENT:
        signal = _signal("Check", check, material)
        signal.is_protection = True
        made.signals.append(signal)
        made.checksum = entry
    else:
        made.comments.append("this checksum has no drafted entry: write it by hand")


# Files --------------------------------------------------------------------------------------------


def database(bus: str, messages: list[DraftMessage]) -> str:
    """Return the database of a bus as DBC text."""
    mine = [message for message in messages if message.bus == bus]
    other = _SENDER[bus]
    lines = ['VERSION ""', "", "NS_ :", "", "BS_:", "", f"BU_: MODULE {other}", ""]
    if not mine:  # a database needs a message; nothing in bridge.toml uses this one
        lines += [
            f"BO_ 2047 NOTHING_RECORDED: 1 {other}",
            ' SG_ Unused : 0|8@1+ (1,0) [0|0] "" MODULE',
        ]
        lines += ["", f'CM_ BO_ 2047 "the log has no frame of the {bus} bus; edit";']
    for message in mine:
        sender, receiver = ("MODULE", other) if message.sent else (other, "MODULE")
        lines.append(f"BO_ {_number(message)} {message.name}: {message.length} {sender}")
        for signal in message.signals:
            mark = " M" if signal.is_selector else ""
            mark = f" m{signal.path}" if signal.path is not None else mark
            lines.append(
                f" SG_ {signal.name}{mark} : {signal.place.show()} ({signal.factor},"
                f'{signal.offset}) [0|0] "" {receiver}'
            )
        lines.append("")
    for message in mine:
        if message.comments:
            told = _quoted(" / ".join(message.comments))
            lines.append(f'CM_ BO_ {_number(message)} "{told}";')
        for signal in message.signals:
            told = _quoted(signal.evidence)
            lines.append(f'CM_ SG_ {_number(message)} {signal.name} "{told}";')
    lines += ['BA_DEF_ BO_ "GenMsgCycleTime" INT 0 65535;', 'BA_DEF_DEF_ "GenMsgCycleTime" 0;']
    lines += [
        f'BA_ "GenMsgCycleTime" BO_ {_number(message)} {message.period_ms};'
        for message in mine
        if message.period_ms
    ]
    return "\n".join(lines) + "\n"


def _number(message: DraftMessage) -> int:
    return message.key.identifier | (1 << 31 if message.key.extended else 0)


def _quoted(text: str) -> str:
    return text.replace('"', "'").replace("\n", " ")
