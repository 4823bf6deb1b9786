"""By how much is the clock of the second log to be shifted, and on what evidence?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from uncertainties import UFloat

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.causes import new_cause
from aotf_lab.reading.clock.offset import CLEAR, Offset, estimate_offset
from aotf_lab.reading.clock.tracks import Comparison, comparisons
from aotf_lab.reading.readings import Readings

__all__ = ["difference_of_starts", "estimated_offset", "log_names"]

_RESOLUTIONS_S = (60.0, 1.0, 0.1, 0.01, 0.001)
_OWN = ("time_s", "file", "line")


def log_names(readings: Readings) -> str:
    """Return the names of the files of a log."""
    return ", ".join(s.name for s in readings.sources) or "a table"


def difference_of_starts(first: Readings, second: Readings) -> tuple[float, str]:
    """Return what the absolute starts add to the times of second (0 where they do not tell), and what was said."""
    starts = [r.receipts[0].start if len(r.receipts) == 1 else None for r in (first, second)]
    one, two = starts
    if one is None or two is None:
        return 0.0, "" if one is two else "only one log states its start: times taken from the first reading of each"
    if (one.tzinfo is None) != (two.tzinfo is None):
        return 0.0, "only one log states its zone: the starts are not compared"
    return (two - one).total_seconds(), "starts as both files state them"


def estimated_offset(
    first: Readings, second: Readings, shift_s: float, max_offset_s: float | None, lag_s: float
) -> tuple[UFloat, str]:
    """Return the offset of the clocks, ``shift_s`` being known of the times already, and how it was estimated.

    Raises ``ReadingsError`` when it is ambiguous or cannot be told.
    """
    bounds = None if max_offset_s is None else (shift_s - max_offset_s, shift_s + max_offset_s)
    tried: list[tuple[str, Offset]] = []
    for pair in comparisons(first, second):
        found = estimate_offset(pair, lag_s, bounds)
        if found is None:
            continue
        tried.append((str(pair), found))
        if found.clear:
            offset, coarse = _with_resolution(first, second, found, shift_s)
            return offset, "; ".join((*_how(pair, found, shift_s, lag_s), *coarse))
    raise _not_told(first, second, tried, shift_s)


def _how(pair: Comparison, found: Offset, shift_s: float, lag_s: float) -> list[str]:
    other = "no other peak"
    if np.isfinite(found.runner_up_s):
        other = f"runner-up {found.runner_up_score:.2f} at {found.runner_up_s - shift_s:+.2f} s"
    said = [f"offset by cross-correlation of the {pair}: coefficient {found.score:.2f}, {other}"]
    if pair.cause.staged:
        said.append(f"rows of {pair.cause.column} taken as settings that hold from their time on")
    lag = f"lag of {lag_s:g} s allowed for" if lag_s else "no lag of a meter stated: one would make its clock look late"
    return [*said, lag]


def _with_resolution(first: Readings, second: Readings, found: Offset, shift_s: float) -> tuple[UFloat, list[str]]:
    """Return the offset with its scatter and a cause for the resolution of each log's stamps, and what was said."""
    offset, said = new_cause("scatter of the correlation of two logs", found.u_s, found.offset_s - shift_s), []
    for which, readings in (("first", first), ("second", second)):
        u_s = _u_of_resolution(readings)
        if u_s:
            offset = offset + new_cause(f"resolution of the stamps of the {which} log", u_s)
        if u_s >= found.u_s:
            said.append(f"stamps of the {which} log are whole {2 * u_s:g} s, so u of {u_s:g} s for their cut")
    return offset, said


def _u_of_resolution(readings: Readings) -> float:
    """Return the u (s) of stamps that may be rounded, or cut and then all late or early by half their resolution."""
    time_s = readings.table["time_s"].dropna().to_numpy(dtype=float)
    for resolution in _RESOLUTIONS_S:
        if np.all(np.abs(time_s / resolution - np.round(time_s / resolution)) < 1e-5):
            return 0.5 * resolution
    return 0.0


def _not_told(first: Readings, second: Readings, tried: Sequence[tuple[str, Offset]], shift_s: float) -> ReadingsError:
    where = f"{log_names(first)} and {log_names(second)}"
    cure = "state offset_s, or bound it by max_offset_s"
    if not tried:
        return ReadingsError(
            "no quantity of the two logs from which the offset of their clocks can be estimated", where=where,
            found=Said(", ".join(c for c in second.table.columns if c not in _OWN)),
            allowed="a quantity that moves in both, or a setting in one and its answer in the other, in at least 8 "
            "rows that overlap", cure=cure,
        )  # fmt: skip
    of, best = max(tried, key=lambda t: t[1].clearness)
    if best.clearness >= CLEAR:
        return ReadingsError(
            "too few steps to tell the offset of two clocks", where=where, found=Said(f"{of}"),
            allowed="at least 4 steps that both logs show", cure=cure,
        )  # fmt: skip
    if not np.isfinite(best.runner_up_s):
        return ReadingsError(
            "no peak of the correlation within what was searched", where=where,
            found=Said(f"largest at its end, {best.offset_s - shift_s:+.2f} s, {of}"),
            allowed="a peak within max_offset_s, at which half of the shorter log overlaps", cure=cure,
        )  # fmt: skip
    return ReadingsError(
        f"ambiguous: offsets of {best.offset_s - shift_s:+.2f} s and {best.runner_up_s - shift_s:+.2f} s fit about as "
        "well", where=where, found=Said(f"coefficients {best.score:.3f} and {best.runner_up_score:.3f}, {of}"),
        allowed=f"a best peak clear of the runner-up ({CLEAR:g}; here {best.clearness:.2f})", cure=cure,
    )  # fmt: skip
