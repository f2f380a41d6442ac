"""Results of `xlate speed` kept as JSON: written whole, and read again as the previous ones."""

import json
import platform
from pathlib import Path
from typing import Any

from hil.vectors.files import write_whole
from tools.speed.rows import Measured
from xlate_core.errors import InputError, reason_of

FIGURES = "figures.json"


def as_json(measured: Measured, previous: dict[str, float]) -> bytes:
    """Return all figures of a run, each beside the previous one, as JSON text."""
    facts = {
        "python": platform.python_version(),
        "machine": platform.machine(),
        "rows": [row.plain() | {"previous": previous.get(row.key)} for row in measured.rows],
        "compared": measured.compared,
    }
    return (json.dumps(facts, indent=2) + "\n").encode("utf-8")


def previous_figures(path: Path) -> dict[str, float]:
    """Return the medians of a kept result by key; empty when nothing was kept yet.

    Raises InputError for a file that is no result of `xlate speed`.
    """
    if not path.exists():
        return {}
    place, found = f"{path}", "other rows"
    try:
        rows: list[dict[str, Any]] = json.loads(path.read_text(encoding="utf-8"))["rows"]
        return {str(row["key"]): float(row["median"]) for row in rows if row["median"] is not None}
    except json.JSONDecodeError as error:
        place, found = f"{path}:{error.lineno}", f"no JSON ({error.msg})"
    except (OSError, UnicodeDecodeError) as error:
        found = reason_of(error)
    except KeyError as error:
        found = f"no {error}"
    except (ValueError, TypeError):
        pass
    expected = "expected a result written by `xlate speed`; remove it to begin anew"
    raise InputError(f"{place}: found {found}, {expected}")


def keep(folder: Path, measured: Measured, previous: dict[str, float]) -> None:
    """Write the figures and one picture a group into a folder."""
    from tools.speed.pictures import groups_of, picture

    try:
        write_whole(folder / FIGURES, as_json(measured, previous))
        for name, rows in groups_of(measured.rows).items():
            write_whole(folder / f"{name}.svg", picture(name, rows, previous).encode("utf-8"))
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({reason_of(error)})") from None
