"""One session as a row of numbers, or the reason why it is none: what a worker sends back."""

from __future__ import annotations

import os
import time
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.session.rerun.results import results
from aotf_lab.session.rerun.row import ResultRow
from aotf_lab.session.session import open_session

__all__ = ["SessionRow", "session_row"]


@dataclass(frozen=True, eq=False)
class SessionRow:
    """The numbers of one session; ``reason`` says why there are none ("" where there are).

    ``titles`` (n) name them, ``values`` (n,) and ``u`` (n,) are as in ``SessionResults``, u not a number where there
    is none. ``missing`` are parts that could not be computed, ``failed`` checks that did not pass. ``seconds`` is how
    long it took.
    """

    folder: str
    name: str = ""
    titles: tuple[str, ...] = ()
    values: FloatArray | None = None
    u: FloatArray | None = None
    missing: tuple[str, ...] = ()
    failed: tuple[str, ...] = ()
    reason: str = ""
    seconds: float = 0.0


def session_row(folder: str | os.PathLike[str], parts: Iterable[str] | None = None) -> SessionRow:
    """Return the row of the session in ``folder``, with the numbers of ``parts`` only where they are named.

    Of the numbers of a fit those stay that its result states as its own; so do curves at round places. Raises
    nothing: whatever goes wrong becomes the reason, so that one session does not stop a thousand others.
    """
    begun = time.perf_counter()
    place = os.fspath(folder)
    try:
        found = results(open_session(folder), parts)
    except AotfLabError as error:
        return SessionRow(place, reason=str(error), seconds=time.perf_counter() - begun)
    except Exception as error:  # a defect of the library: of this session alone, and said as what it is
        reason = f"unexpected {type(error).__name__}: {error}; please report it with the session"
        return SessionRow(place, reason=reason, seconds=time.perf_counter() - begun)
    rows = [row for row in found.rows if _compared(row)]
    if not rows:
        why = "; ".join(f"{part}: {words}" for part, words in found.missing.items()) or "no part of it was measured"
        return SessionRow(place, found.name, reason=f"no number: {why}", seconds=time.perf_counter() - begun)
    return SessionRow(
        place, found.name, tuple(row.title for row in rows), np.array([row.value for row in rows]),
        np.array([np.nan if row.u is None else row.u for row in rows]), tuple(found.missing), found.failed,
        seconds=time.perf_counter() - begun,
    )  # fmt: skip


def _compared(row: ResultRow) -> bool:
    """Return whether the number means the same in every session."""
    return row.named and ".fit." not in row.key
