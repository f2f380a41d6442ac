"""Libraries of the C core for the tests: a file that is the same for several is compiled once.

Every test folder of a run shares the objects, whichever worker compiled them. They are compiled and
linked with the flags of `build_library`, one file at a time.
"""

import re
import subprocess
from collections.abc import Iterable, Sequence
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory, mkdtemp

from hil.boards.interface import BoardError
from hil.cache import digest_of
from hil.firmware import tables
from hil.firmware.building import CORE, OPTIMISED, needed_sources
from hil.firmware.toolchains import LANGUAGE, NATIVE, WARNINGS, find
from xlate_core.pairing.model import Pairing

LIBRARY = (*WARNINGS, *OPTIMISED, "-fPIC")
DEFINE = re.compile(r"#define (\w+) ")
WORD = re.compile(r"\w+")


class Cores:
    """Builds cores in a folder that keeps the objects."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.core = digest_of(CORE)
        self.headers = "".join(path.read_text(encoding="utf-8") for path in CORE.rglob("*.h"))

    def library(self, pairing: Pairing) -> Path:
        """Return the core of a pairing as a shared library."""
        folder = Path(mkdtemp(dir=self.folder, prefix=f"{pairing.name}-"))
        objects = self.objects(pairing, folder, LIBRARY)
        return self.link(objects.values(), folder / "xlate_bridge.so", ("-shared",))

    def link(self, objects: Iterable[Path], target: Path, flags: Sequence[str]) -> Path:
        """Link objects; raises BoardError with what the linker said."""
        command = [*find(NATIVE).command, *flags, *map(str, objects), "-o", str(target)]
        done = subprocess.run(command, capture_output=True, encoding="utf-8", check=False)
        if done.returncode != 0:
            raise BoardError(f"the linker refuses the core:\n{done.stderr.strip()}")
        return target

    def objects(
        self, pairing: Pairing, folder: Path, flags: Sequence[str], *more: Path
    ) -> dict[str, Path]:
        """Write the tables into the folder; return the objects of the core by name of the source.

        Raises BoardError with what the compiler said.
        """
        generated = tables.write(pairing, folder)
        headers = "".join(
            path.read_text(encoding="utf-8") for path in generated if path.suffix == ".h"
        )
        sources = [path for path in generated if path.suffix == ".c"]
        return {
            source.name: self.compiled(source, headers, folder, flags)
            for source in [*needed_sources(pairing), *sources, *more]
        }

    def compiled(self, source: Path, headers: str, folder: Path, flags: Sequence[str]) -> Path:
        """Return the object of a source under the headers in the folder, compiled if need be."""
        text = source.read_text(encoding="utf-8")
        # A number whose name stands nowhere in what is compiled cannot change it.
        words = set(WORD.findall(text + self.headers)) | {
            word for line in headers.splitlines() for word in WORD.findall(DEFINE.sub("", line))
        }
        heard = [
            line
            for line in headers.splitlines()
            if (name := DEFINE.match(line)) is None or name[1] in words
        ]
        made_of = repr((flags, source.name, text, heard)).encode() + self.core
        target = self.folder / f"{source.stem}.{sha256(made_of).hexdigest()[:24]}.o"
        if not target.exists():
            includes = [f"-I{CORE}", f"-I{CORE / 'functions'}", f"-I{folder}"]
            command = [*find(NATIVE).command, *LANGUAGE, *flags, *includes, "-c", str(source)]
            with TemporaryDirectory(dir=self.folder) as place:
                made = Path(place) / target.name
                done = subprocess.run(
                    [*command, "-o", str(made)], capture_output=True, encoding="utf-8", check=False
                )
                if done.returncode != 0:
                    raise BoardError(f"the C compiler refuses {source.name}:\n{done.stderr}")
                made.replace(target)  # another worker may have been quicker with the same
        return target
