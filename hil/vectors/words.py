"""One line of a scenario as words: reading times, numbers and names with errors that help.

Every error names file, line, what was found, the forms the statement has, and, for a name, the
nearest valid one.
"""

import re
from collections.abc import Collection
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from hil.vectors.errors import ScenarioError, at_line, nearest

NUMBER = re.compile(r"[+-]?(\d+(\.\d+)?|0x[0-9a-fA-F]+|\d+/[1-9]\d*)\Z")
HEX_DATA = re.compile(r"([0-9a-fA-F]{2}){1,8}\Z")
HEX_IDENTIFIER = re.compile(r"[0-9a-fA-F]{3}\Z|[0-9a-fA-F]{8}\Z")
MILLISECONDS = {"ms": Fraction(1), "s": Fraction(1000)}


@dataclass(slots=True)
class Words:
    """The words of one line and the place of the next one to read."""

    path: Path
    line: int
    words: list[str]
    forms: str = ""  # the forms of the statement, for errors
    next: int = 0

    def error(self, message: str) -> ScenarioError:
        """Return the error of this line, the statement's forms included."""
        forms = f"; expected {self.forms}" if self.forms else ""
        return ScenarioError(at_line(self.path, self.line, message + forms))

    @property
    def at_end(self) -> bool:
        """Whether every word was read."""
        return self.next >= len(self.words)

    def peek(self, ahead: int = 0) -> str:
        """Return a coming word, or an empty text behind the end."""
        place = self.next + ahead
        return self.words[place] if place < len(self.words) else ""

    def found(self) -> str:
        """Return the next word as errors show it."""
        return "the end of the line" if self.at_end else f"`{self.peek()}`"

    def word(self, what: str) -> str:
        """Read any word; `what` says which one was wanted."""
        if self.at_end:
            raise self.error(f"{what} is missing at the end of the line")
        self.next += 1
        return self.words[self.next - 1]

    def maybe(self, *keywords: str) -> bool:
        """Read the keywords if they stand next."""
        if self.words[self.next : self.next + len(keywords)] != list(keywords):
            return False
        self.next += len(keywords)
        return True

    def keyword(self, *keywords: str) -> None:
        """Read keywords that must stand next."""
        for keyword in keywords:
            if self.peek() != keyword:
                raise self.error(f"{self.found()} found where `{keyword}` belongs")
            self.next += 1

    def choice(self, what: str, names: Collection[str]) -> str:
        """Read one of the names."""
        word = self.word(what)
        if word not in names:
            raise self.error(f"`{word}` is no {what}{nearest(word, names)}")
        return word

    def end(self) -> None:
        """Raise unless every word was read."""
        if not self.at_end:
            raise self.error(f"`{' '.join(self.words[self.next :])}` is too much")

    def number(self, what: str) -> Fraction:
        """Read a decimal, hexadecimal or ratio number exactly."""
        word = self.word(what)
        if not NUMBER.match(word):
            self.next -= 1
            raise self.error(f"`{word}` is no number for {what}")
        return parse_number(word)

    def integer(self, what: str, low: int, high: int) -> int:
        """Read a whole number in low..high."""
        value = self.number(what)
        if value.denominator != 1 or not low <= value <= high:
            shown = self.words[self.next - 1]
            raise self.error(f"{what} is {shown}; a whole number {low}..{high} belongs here")
        return int(value)

    def ticks(self, what: str, tick_ms: int) -> int:
        """Read a time or duration and return it in ticks; neighbours are named when it is none."""
        value = self.number(what)
        unit = self.choice("unit of time", MILLISECONDS)
        milliseconds = value * MILLISECONDS[unit]
        ticks = milliseconds / tick_ms
        shown = f"{self.words[self.next - 2]} {unit}"
        if milliseconds < 0:
            raise self.error(f"{what} is {shown}; times are not negative")
        if ticks.denominator != 1:
            below = ticks.numerator // ticks.denominator * tick_ms
            raise self.error(
                f"{what} is {shown}, no multiple of the tick of {tick_ms} ms; "
                f"neighbours are {below} ms and {below + tick_ms} ms"
            )
        return int(ticks)

    def data(self) -> bytes:
        """Read octets in hexadecimal, or `-` for none."""
        word = self.word("the octets")
        if word == "-":
            return b""
        if not HEX_DATA.match(word):
            raise self.error(f"`{word}` is no data; 1 to 8 octets in hexadecimal, or `-`")
        return bytes.fromhex(word)

    def identifier(self) -> tuple[bool, int]:
        """Read an identifier: 3 hex digits are 11 bit, 8 are 29 bit."""
        word = self.word("the identifier")
        if not HEX_IDENTIFIER.match(word):
            raise self.error(f"`{word}` is no identifier; 3 hex digits (11 bit) or 8 (29 bit)")
        extended = len(word) == 8
        value = int(word, 16)
        if value > (0x1FFFFFFF if extended else 0x7FF):
            raise self.error(f"identifier {word} is above {'1FFFFFFF' if extended else '7FF'}")
        return extended, value


def parse_number(word: str) -> Fraction:
    """Return the exact number of a word that NUMBER matches."""
    if "x" in word.lower():
        return Fraction(int(word, 16))
    return Fraction(word)


def split_lines(path: Path, text: str) -> list[Words]:
    """Return the lines that say something, comments left out."""
    lines = []
    for index, line in enumerate(text.split("\n"), start=1):
        words = line.split("#", 1)[0].split()
        if words:
            lines.append(Words(path, index, words))
    return lines
