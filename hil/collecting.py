"""How often Python looks for garbage.

Runs hold hundreds of thousands of frames, which are tuples without cycles: the default thresholds
go through all of them again and again, for a third of the time of a long replay. What has no
cycle is freed at once anyway.
"""

import gc

YOUNGEST = 100_000  # objects made and not freed before the youngest are looked at


def collect_rarely() -> None:
    """Look for garbage seldom, in this process."""
    gc.set_threshold(YOUNGEST, 50, 50)
