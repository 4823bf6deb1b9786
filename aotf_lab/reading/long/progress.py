"""How far a long reading has come, for a person who waits at a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TextIO

__all__ = ["FIRST_S", "Progress", "terminal_progress"]

FIRST_S = 1.0
"""Nothing is shown in the first second: whoever waits that long wants to know from the second one on."""

_EVERY_S = 0.2

Progress = Callable[[float], None]


def terminal_progress(name: str, stream: TextIO | None = None, clock: Callable[[], float] = time.monotonic) -> Progress:
    """Return what shows the share done (0 to 1) on one line of a terminal, standard error by default.

    On anything that is not a terminal, and before the second second, it shows nothing.
    """
    out = sys.stderr if stream is None else stream
    begun = clock()
    due = [begun + FIRST_S]
    seen = [False]

    def show(share: float) -> None:
        now = clock()
        done = share >= 1.0
        if not out.isatty() or (done and not seen[0]) or (not done and now < due[0]):
            return
        due[0], seen[0] = now + _EVERY_S, True
        elapsed = now - begun
        left = "" if done or share <= 0 else f", {elapsed * (1 - share) / share:.0f} s left"
        out.write(f"\r{name}: {100 * share:3.0f} % read, {elapsed:.0f} s{left}   " + ("\n" if done else ""))
        out.flush()

    return show
