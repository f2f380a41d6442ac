"""Files a command writes at its end: what cannot be written is said before the work begins."""

import os
from pathlib import Path
from typing import Any

import click


class OutFile(click.Path):
    """The name of a file to write; folders on the way may be made when it is written."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Return the path; a folder, or a place where no file can be made, ends the command."""
        path = Path(os.fsdecode(super().convert(value, param, ctx)))
        if path.is_dir():
            self.fail(f"found {path}, a folder, expected the name of a file", param, ctx)
        place = next(one for one in path.absolute().parents if os.path.lexists(one))
        if not place.is_dir():
            self.fail(f"found {place}, a file, expected a folder to write in", param, ctx)
        if not os.access(place, os.W_OK):
            self.fail(f"found {place}, expected a folder that can be written", param, ctx)
        return path


OUT_FILE = OutFile()
