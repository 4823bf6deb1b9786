"""When the files were written, against their order and the one day that a session is."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise

import numpy as np

from aotf_lab.session.contradictions.contradiction import Contradiction, ReadFile

__all__ = ["against_times"]

_ONE_SESSION = timedelta(hours=24)
_DATE = re.compile(r"(?<![0-9])(20[0-9]{2})[-_.]?([01][0-9])[-_.]?([0-3][0-9])(?![0-9])")


def against_times(reads: Sequence[ReadFile]) -> Iterator[Contradiction]:
    """Yield files that stand in another order than they were measured, overlap, or are of another day than stated.

    Files whose clock names no zone are not compared with those whose clock does.
    """
    timed = [(r, start) for r in reads if (start := r.readings.receipts[0].start) is not None]
    for read, start in timed:
        yield from _day(read, start)
    for zoned in (False, True):
        group = [(r, s) for r, s in timed if (s.tzinfo is not None) is zoned]
        yield from _days(group)
        yield from _order(group)
        yield from _overlap(group)


def _day(read: ReadFile, start: datetime) -> Iterator[Contradiction]:
    said = {"path": read.name, "[session] name": read.facts.name, "[session] note": read.facts.note,
            "[session] date": read.facts.date or ""}  # fmt: skip
    for key, text in said.items():
        days = [d for match in _DATE.finditer(text) if (d := _date(match)) is not None]
        if days and all(abs((start.date() - d).days) > 1 for d in days):
            yield Contradiction(
                "written on another day", read.name, f"first reading at {start.isoformat(sep=' ')}", f"{key}: {text}",
                "check that this is the right file; a clock that was not set says so in a layout or the note",
            )  # fmt: skip
            return


def _date(match: re.Match[str]) -> date | None:
    try:
        return date(int(match[1]), int(match[2]), int(match[3]))
    except ValueError:
        return None


def _days(timed: Sequence[tuple[ReadFile, datetime]]) -> Iterator[Contradiction]:
    if not timed:
        return
    (first, start), (last, end) = min(timed, key=lambda t: t[1]), max(timed, key=lambda t: t[1])
    if end - start > _ONE_SESSION:
        yield Contradiction(
            "files more than a day apart in one session", f"{first.name}, {last.name}",
            f"first readings at {start.isoformat(sep=' ')} and {end.isoformat(sep=' ')}", "one session.toml",
            "the oscillator moves in hours: give each day a folder of its own, unless only the crystal is wanted",
        )  # fmt: skip


def _order(timed: Sequence[tuple[ReadFile, datetime]]) -> Iterator[Contradiction]:
    groups: dict[tuple[str, str | None], list[tuple[ReadFile, datetime]]] = {}
    for read, start in timed:
        groups.setdefault((read.file.purpose, read.file.line), []).append((read, start))
    for group in groups.values():
        for (before, early), (after, late) in pairwise(group):
            if late < early:
                yield Contradiction(
                    "measured in another order than listed", f"{before.name}, {after.name}",
                    f"first readings at {early.isoformat(sep=' ')} and {late.isoformat(sep=' ')}",
                    f"the [[file]] of {before.name} first",
                    "list files of one purpose in the order in which they were measured: a drift is followed in it",
                )  # fmt: skip


def _overlap(timed: Sequence[tuple[ReadFile, datetime]]) -> Iterator[Contradiction]:
    spans = [(start, start + timedelta(seconds=_seconds(read)), read) for read, start in timed]
    for (start, end, read), (begin, _, other) in pairwise(sorted(spans, key=lambda s: s[0])):
        if begin < end:
            yield Contradiction(
                "two files written at the same time", f"{read.name}, {other.name}",
                f"{read.name} from {start.isoformat(sep=' ')} to {end.isoformat(sep=' ', timespec='seconds')}, "
                f"{other.name} from {begin.isoformat(sep=' ')}",
                f"two runs: {read.file.purpose} and {other.file.purpose}",
                "one of them may be a copy, a part of the other, or off its clock",
            )  # fmt: skip


def _seconds(read: ReadFile) -> float:
    """Return how long a file lasts, 0 where it has no time."""
    if not read.has("time_s"):
        return 0.0
    time = read.readings.table["time_s"].to_numpy(dtype=float)
    return float(np.nanmax(time) - np.nanmin(time)) if np.isfinite(time).any() else 0.0
