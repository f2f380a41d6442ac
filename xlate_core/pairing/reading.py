"""bridge.toml: text -> validated tables, with every problem of shape in one go."""

import copy
import json
import re
import tomllib
from decimal import Decimal
from typing import Any

from pydantic import ValidationError

from xlate_core.errors import readable
from xlate_core.pairing.positions import KeyPath, read_positions
from xlate_core.pairing.problems import (
    BRIDGE_FILE,
    Collector,
    PairingError,
    Problem,
    nearest_name,
)
from xlate_core.pairing.schema import BridgeFile, json_schema

_SYNTAX_PLACE = re.compile(r"\(at line (\d+), column (\d+)\)|\(at end of document\)")


def parse(data: bytes, file: str = BRIDGE_FILE) -> tuple[dict[str, Any], Collector]:
    """Return the raw tables of bridge.toml, or an option, and a collector that knows its lines."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        found = f"octet 0x{data[error.start]:02X}"
        raise _single(file, line, found, "text in UTF-8") from None
    try:
        raw = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise _syntax_error(file, text, error) from None
    positions = read_positions(text)
    positions.file = file
    return raw, Collector(positions)


def _single(file: str, line: int | None, found: str, expected: str) -> PairingError:
    return PairingError([Problem(file, line, "", found, expected)])


def _syntax_error(file: str, text: str, error: tomllib.TOMLDecodeError) -> PairingError:
    place = _SYNTAX_PLACE.search(str(error))
    line = int(place[1]) if place and place[1] else len(text.splitlines()) or 1
    lines = text.splitlines()
    shown = lines[line - 1].strip()[:60] if line <= len(lines) else "the end of the file"
    reason = _SYNTAX_PLACE.sub("", str(error)).strip()
    return _single(file, line, f"`{readable(shown)}` ({reason})", "valid TOML")


def validate(raw: dict[str, Any], collector: Collector) -> BridgeFile | None:
    """Return the validated tables, every problem of shape being collected.

    When unknown keys are the only problems the tables are returned without them, so that the other
    checks can run as well; None after any other problem.
    """
    try:
        return BridgeFile.model_validate(raw)
    except ValidationError as error:
        items = error.errors(include_url=False)
    schema = json_schema()
    for item in items:
        collect_error(item, raw, schema, collector)
    if any(item["type"] != "extra_forbidden" for item in items):
        return None
    without = copy.deepcopy(raw)
    for item in items:
        _remove(without, _real_path(item["loc"], raw))
    return BridgeFile.model_validate(without)


def _remove(tables: Any, path: KeyPath) -> None:
    for key in path[:-1]:
        tables = tables[key]
    del tables[path[-1]]


def collect_error(
    item: Any, raw: dict[str, Any], schema: dict[str, Any], collector: Collector
) -> None:
    """Turn one error of the validation into a problem with path, found, expected, nearest."""
    path = _real_path(item["loc"], raw)
    kind, context = item["type"], item.get("ctx", {})
    if kind == "extra_forbidden":
        table = _schema_at(schema, path[:-1], raw)
        keys = list(table.get("properties", {}))
        name = str(path[-1])
        collector.add(path, f'key "{name}"', f"one of {_list(keys)}", nearest_name(name, keys))
    elif kind == "missing":
        about = _schema_at(schema, path, raw).get("description", "a value")
        collector.add(path, "no such key", f"{path[-1]}: {about}")
    elif kind == "literal_error":
        found = item["input"]
        valid = re.findall(r"'([^']*)'", str(context["expected"]))
        nearest = nearest_name(found, valid) if isinstance(found, str) else None
        collector.add(path, _show(found), str(context["expected"]).replace("'", '"'), nearest)
    elif kind in ("union_tag_invalid", "union_tag_not_found"):
        tags = re.findall(r"'([^']*)'", str(context.get("expected_tags", "")))
        tags = tags or list(
            _schema_at(schema, path, raw).get("discriminator", {}).get("mapping", {})
        )
        found = item["input"].get("kind") if isinstance(item["input"], dict) else item["input"]
        nearest = nearest_name(found, tags) if isinstance(found, str) else None
        shown = 'no key "kind"' if found is None else _show(found)
        collector.add((*path, "kind"), shown, f"one of {_list(tags)}", nearest)
    elif kind == "value_error":
        collector.add(path, _show(item["input"]), str(context["error"]))
    else:
        collector.add(path, _show(item["input"]), _expected(kind, context))


def _expected(kind: str, context: dict[str, Any]) -> str:
    """Return what the validation expects, in words."""
    simple = {
        "int_type": "an integer",
        "string_type": "a text",
        "bool_type": "true or false",
        "list_type": "a list",
        "dict_type": "a table",
        "model_type": "a table",
        "model_attributes_type": "a table",
    }
    if kind in simple:
        return simple[kind]
    if kind == "greater_than_equal":
        return f"at least {context['ge']}"
    if kind == "less_than_equal":
        return f"at most {context['le']}"
    if kind == "too_short":
        return f"at least {context['min_length']} element(s)"
    if kind == "too_long":
        return f"at most {context['max_length']} element(s)"
    if kind == "string_pattern_mismatch":
        return "lower-case letters, digits and underscores, a letter first"
    return kind.replace("_", " ")


def _real_path(location: tuple[str | int, ...], raw: dict[str, Any]) -> KeyPath:
    """Return the key path in the file: the validation also puts in the tags of its unions."""
    path: list[str | int] = []
    value: Any = raw
    for position, part in enumerate(location):
        last = position == len(location) - 1
        if isinstance(value, dict):
            if part == "[key]":
                continue
            if part not in value and value.get("kind") == part:
                continue
            if part not in value and not last:
                return tuple(path)
            path.append(part)
            value = value.get(str(part))
        elif isinstance(value, list) and isinstance(part, int) and part < len(value):
            path.append(part)
            value = value[part]
        elif isinstance(value, list):
            return tuple(path)
        else:
            value = value if isinstance(part, int) else None
    return tuple(path)


def _schema_at(schema: dict[str, Any], path: KeyPath, raw: Any) -> dict[str, Any]:
    """Return the part of the JSON Schema that governs a key path."""
    part: dict[str, Any] = schema
    value = raw
    for key in path:
        part = _chosen(schema, part, value)
        if isinstance(key, int):
            part = part.get("items", {})
            value = value[key] if isinstance(value, list) and key < len(value) else None
        else:
            part = part.get("properties", {}).get(key) or part.get("additionalProperties") or {}
            value = value.get(key) if isinstance(value, dict) else None
        if not isinstance(part, dict):
            return {}
    about = part.get("description")
    chosen = _chosen(schema, part, value)
    return {**chosen, "description": about} if about else chosen


def _chosen(schema: dict[str, Any], part: dict[str, Any], value: Any) -> dict[str, Any]:
    """Follow references, and choose among alternatives by `kind` or by what the value is."""
    while True:
        if "$ref" in part:
            part = schema["$defs"][part["$ref"].rsplit("/", 1)[1]]
            continue
        mapping = part.get("discriminator", {}).get("mapping")
        tag = value.get("kind") if isinstance(value, dict) else None
        if mapping and isinstance(tag, str) and tag in mapping:
            part = {"$ref": mapping[tag]}
        elif "anyOf" in part and "properties" not in part:
            wanted = "items" if isinstance(value, list) else "$ref"
            fits = [one for one in part["anyOf"] if wanted in one]
            fits += [one for one in part["anyOf"] if "additionalProperties" in one]
            if not fits:
                return part
            part = fits[0]
        else:
            return part


def _list(names: list[str]) -> str:
    return ", ".join(names)


def _show(value: object) -> str:
    if isinstance(value, Decimal):
        return str(value)
    try:
        text = json.dumps(value, ensure_ascii=False, default=str)
    except (TypeError, ValueError):
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."
