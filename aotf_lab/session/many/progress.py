"""How many sessions are done, for a person who waits at a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TextIO

__all__ = ["session_progress"]

_EVERY_S = 0.2


def session_progress(
    total: int | None, stream: TextIO | None = None, clock: Callable[[], float] = time.monotonic
) -> Callable[[int], None]:
    """Return what shows the number of sessions done on one line of a terminal, standard error by default.

    ``total`` is None where nobody knows how many there will be. A number below zero wipes the line: all are done.
    On anything that is not a terminal it shows nothing.
    """
    out = sys.stderr if stream is None else stream
    begun = clock()
    due = [begun]

    def show(done: int) -> None:
        now = clock()
        if not out.isatty() or (done >= 0 and now < due[0]):
            return
        due[0] = now + _EVERY_S
        elapsed = now - begun
        left = f", {elapsed * (total - done) / done:.0f} s left" if total and done > 0 else ""
        counted = f"{done} of {total}" if total is not None else f"{done}"
        out.write(f"\r\033[K{counted} sessions, {elapsed:.0f} s{left}" if done >= 0 else "\r\033[K")
        out.flush()

    return show
