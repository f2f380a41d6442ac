"""What a person may ask of a board on the command line."""

from dataclasses import dataclass, field
from pathlib import Path

from hil.link.port import DEFAULT_BAUD
from hil.link.session import Timing


@dataclass(frozen=True, slots=True)
class BoardOptions:
    """Options of all boards; each takes what concerns it. Picklable, for boards in own processes.

    - `byte_log` is the file every octet of the link goes to, None without;
    - `recover` is a command that revives a board which does not answer hello (a power switch), run
      at most `recover_tries` times for one board;
    - `plain` has the board `reference` run the readable engine, not its fast form.
    """

    baud: int = DEFAULT_BAUD
    timing: Timing = field(default_factory=Timing)
    byte_log: Path | None = None
    recover: str = ""
    recover_tries: int = 2
    plain: bool = False
