"""Where a key stands in a TOML file: key path -> line.

The values come from the standard reader; this module reads the same text a second time as a syntax
tree, only for the lines of its keys. A key path is the sequence of keys and list indices.
"""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tree_sitter import Node

KeyPath = tuple[str | int, ...]
BARE = re.compile(r"[\w.-]+")


def show_path(path: KeyPath) -> str:
    """Return a key path as people write it: `function[0].stages[1].output`, list indices from 0.

    What a file has to quote is quoted, save for dots alone.
    """
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            part = part if BARE.fullmatch(part) else json.dumps(part, ensure_ascii=False)
            text += f".{part}" if text else part
    return text


@dataclass(slots=True)
class Positions:
    """The line, from 1, of every key and list element of the TOML text `file`.

    `files` names the file of those that another text has put in their place.
    """

    lines: dict[KeyPath, int] = field(default_factory=dict)
    file: str = "bridge.toml"
    files: dict[KeyPath, str] = field(default_factory=dict)

    def place(self, path: KeyPath) -> tuple[str, int | None]:
        """Return file and line of a key path; of the nearest one above where that is missing."""
        for end in range(len(path), 0, -1):
            if path[:end] in self.lines:
                return self.files.get(path[:end], self.file), self.lines[path[:end]]
        return self.file, 1 if self.lines else None


def read_positions(text: str) -> Positions:
    """Return the lines of all keys of a TOML text that the standard reader accepts."""
    import tree_sitter_toml  # heavy: only a load needs it
    from tree_sitter import Language, Parser

    tree = Parser(Language(tree_sitter_toml.language())).parse(text.encode("utf-8"))
    positions = Positions()
    arrays: dict[KeyPath, int] = {}
    for node in tree.root_node.named_children:
        if node.type == "pair":
            _read_pair(positions, (), node)
        elif node.type in ("table", "table_array_element"):
            _read_table(positions, arrays, node)
    return positions


def _read_table(positions: Positions, arrays: dict[KeyPath, int], node: Node) -> None:
    """Read `[a.b]` or `[[a.b]]` and its pairs; an array of tables counts its elements."""
    header, *pairs = node.named_children
    path: KeyPath = ()
    keys = _keys(header)
    for position, key in enumerate(keys):
        path += (key,)
        last = position == len(keys) - 1
        if last and node.type == "table_array_element":
            arrays[path] = arrays.get(path, -1) + 1
            positions.lines.setdefault(path, _line(node))
            path += (arrays[path],)
        elif path in arrays:
            path += (arrays[path],)
        positions.lines.setdefault(path, _line(node))
    for pair in pairs:
        if pair.type == "pair":
            _read_pair(positions, path, pair)


def _read_pair(positions: Positions, table: KeyPath, node: Node) -> None:
    key_node, value = [child for child in node.named_children if child.type != "comment"][:2]
    path = table
    for key in _keys(key_node):
        path += (key,)
        positions.lines.setdefault(path, _line(node))
    _read_value(positions, path, value)


def _read_value(positions: Positions, path: KeyPath, node: Node) -> None:
    if node.type == "inline_table":
        for pair in node.named_children:
            if pair.type == "pair":
                _read_pair(positions, path, pair)
    elif node.type == "array":
        elements = [child for child in node.named_children if child.type != "comment"]
        for index, element in enumerate(elements):
            positions.lines.setdefault((*path, index), _line(element))
            _read_value(positions, (*path, index), element)


def _keys(node: Node) -> list[str]:
    """Return the parts of a bare, quoted or dotted key."""
    if node.type == "dotted_key":
        return [part for child in node.named_children for part in _keys(child)]
    text = (node.text or b"").decode("utf-8")
    if node.type == "quoted_key":
        return list(tomllib.loads(f"{text} = 0"))
    return [text]


def _line(node: Node) -> int:
    return node.start_point[0] + 1
