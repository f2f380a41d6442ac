"""Files and folders a command writes at its end: what cannot be written is said first."""

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
        _refuse_closed(self, path.absolute().parent, param, ctx)
        return path


class OutFolder(click.Path):
    """The name of a folder to write into; it may be made when something is written."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Return the path; a file, or a place where no folder can be made, ends the command."""
        path = Path(os.fsdecode(super().convert(value, param, ctx)))
        _refuse_closed(self, path.absolute(), param, ctx)
        return path


def _refuse_closed(
    kind: click.Path, folder: Path, param: click.Parameter | None, ctx: click.Context | None
) -> None:
    """End the command when a folder, or the nearest above it that is there, cannot be written."""
    place = next(one for one in (folder, *folder.parents) if os.path.lexists(one))
    if not place.is_dir():
        kind.fail(f"found {place}, a file, expected a folder to write in", param, ctx)
    if not os.access(place, os.W_OK):
        kind.fail(f"found {place}, expected a folder that can be written", param, ctx)


OUT_FILE = OutFile()
OUT_FOLDER = OutFolder()
