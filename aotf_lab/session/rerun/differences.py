"""What differs between two runs over a session: the raw files, the programs, and then which numbers, by how much."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.session.rerun.row import ResultRow
from aotf_lab.session.rerun.table import ResultTable

__all__ = ["SAME_WITHIN_U", "Differences", "Moved", "differences_between"]

SAME_WITHIN_U = 1e-3
"""Two runs give the same number when value and u agree to this share of u.

Where a fit stops is decided by rounding, and so by the processor. One library on one machine gives every digit again;
the demo session under the linear algebra of five processors moved by 2e-4 u at the most (the oscillator's curve), and
its numbers without u by 6e-5 where they are themselves a u or a chi-square, else by 1.2e-6 of their value.
"""

_SAME_RELATIVE = 1e-5
"""The same for a number that has no u and is none, as a share of its value."""

_SHOWN = 12


@dataclass(frozen=True)
class Moved:
    """A number that is not what it was."""

    older: ResultRow
    newer: ResultRow

    @property
    def in_u(self) -> float:
        """By how many of its older standard uncertainties the value moved; infinite where it has none."""
        shift = self.newer.value - self.older.value
        if shift == 0.0:
            return 0.0
        return shift / self.older.u if self.older.u else float(np.copysign(np.inf, shift))

    @property
    def words(self) -> str:
        """What it was, what it is, and by how much it moved."""
        old, new = self.older, self.newer
        if not (old.u and new.u):
            return f"{old.value:.9g} → {new.value:.9g} {new.unit}".rstrip()
        digits = max(0, 1 - int(np.floor(np.log10(min(max(abs(new.value - old.value), 0.01 * old.u), old.u)))))
        u = "" if f"{old.u:.2g}" == f"{new.u:.2g}" else f", u {old.u:.2g} → {new.u:.2g}"
        values = f"{old.value:.{digits}f} → {new.value:.{digits}f} {new.unit}".rstrip()
        return f"{values}, by {self.in_u:+.2g} u{u}"


@dataclass(frozen=True)
class Differences:
    """What a newer run over a session gives otherwise than an older one.

    ``count`` is the number of numbers that both have; ``moved`` are those that differ, the largest first. ``gone``
    and ``new`` have titles of numbers that only one of them has; ``files`` says which raw files differ and how;
    ``versions`` are (program, older, newer) where they differ; ``said`` tells of checks and parts.
    """

    name: str
    count: int
    moved: tuple[Moved, ...]
    gone: tuple[str, ...]
    new: tuple[str, ...]
    files: tuple[str, ...]
    versions: tuple[tuple[str, str, str], ...]
    said: tuple[str, ...]

    @property
    def same(self) -> bool:
        """Whether no number, no check and no part differs."""
        return not (self.moved or self.gone or self.new or self.said)

    @property
    def verdict(self) -> str:
        """One sentence: which numbers differ, and what else does that could be the reason."""
        if self.same:
            start = f"All {self.count} numbers are the same as in the older results, within {SAME_WITHIN_U:g} u"
        else:
            changed = [f"{len(self.moved)} of {self.count} numbers differ"] if self.moved or not self._unpaired else []
            start = "; ".join(changed + self._unpaired)
        changes = [f"{program} {old} → {new}" for program, old, new in self.versions]
        files = "raw files differ: " + ", ".join(self.files) if self.files else "the raw files are the same, by hash"
        programs = "versions differ: " + ", ".join(changes) if changes else "so are the versions of all programs"
        if self.files and not changes:
            programs = "the versions of all programs are the same"
        return f"{start}; {files}; {programs}."

    @property
    def _unpaired(self) -> list[str]:
        return [f"{len(t)} {words}" for t, words in ((self.gone, "are gone"), (self.new, "are new")) if t]

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return every difference: the name of the number, and what became of it."""
        return (
            *((m.newer.title, m.words) for m in self.moved),
            *((title, "gone") for title in self.gone),
            *((title, "new") for title in self.new),
        )

    def __str__(self) -> str:
        rows = self.rows()
        more = [f"and {len(rows) - _SHOWN} more"] if len(rows) > _SHOWN else []
        return rows_text(f"Re-run of {self.name}", rows[:_SHOWN], (*more, *self.said, self.verdict))

    def _repr_html_(self) -> str:
        return rows_html(f"Re-run of {self.name}", self.rows(), (*self.said, self.verdict))


def differences_between(older: ResultTable, newer: ResultTable) -> Differences:
    """Return what ``newer`` gives otherwise than ``older``."""
    old, new = older.by_title, newer.by_title
    common = [title for title in old if title in new]
    moved = [Moved(old[t], new[t]) for t in common if not _same(old[t], new[t])]
    return Differences(
        newer.name,
        len(common),
        tuple(sorted(moved, key=lambda m: -abs(m.in_u))),
        tuple(title for title in old if title not in new),
        tuple(title for title in new if title not in old),
        tuple(_files(older, newer)),
        tuple(_versions(older.versions, newer.versions)),
        tuple(_said(older, newer)),
    )


def _same(old: ResultRow, new: ResultRow) -> bool:
    """Return whether value and u agree; a number has a u in both or in none."""
    if (old.u is None) != (new.u is None) or old.unit != new.unit:
        return False
    within = SAME_WITHIN_U * old.u if old.u else (SAME_WITHIN_U if old.of_doubt else _SAME_RELATIVE) * abs(old.value)
    u_moved = abs((new.u or 0.0) - (old.u or 0.0))
    return abs(new.value - old.value) <= within and u_moved <= SAME_WITHIN_U * (old.u or 0.0)


def _files(older: ResultTable, newer: ResultTable) -> Iterator[str]:
    before, now = ({s.name: s.sha256 for s in table.sources} for table in (older, newer))
    for name in dict.fromkeys([*before, *now]):
        if name not in now:
            yield f"{name} gone"
        elif name not in before:
            yield f"{name} new"
        elif before[name] != now[name]:
            yield f"{name} changed"


def _versions(before: Mapping[str, str], now: Mapping[str, str]) -> Iterator[tuple[str, str, str]]:
    for program in dict.fromkeys([*before, *now]):
        old, new = before.get(program, "none"), now.get(program, "none")
        if old != new:
            yield program, old, new


def _said(older: ResultTable, newer: ResultTable) -> Iterator[str]:
    """Yield which checks and which parts are not as they were."""
    for check in newer.failed:
        if check not in older.failed:
            yield f"check fails now: {check}"
    for check in older.failed:
        if check not in newer.failed:
            yield f"check failed then, not now: {check}"
    yield from _asked(older, newer)
    for part, why in newer.missing.items():
        if part not in older.missing:
            yield f"{part} cannot be computed any more: {why}"
    for part in older.missing:
        if part not in newer.missing:
            yield f"{part} could not be computed then, and can be now"


def _asked(older: ResultTable, newer: ResultTable) -> Iterator[str]:
    """Yield how many checks only one of the two asked; nothing where one of them holds the failed alone."""
    if not (older.checks and newer.checks):
        return
    before, now = ({check.title for check in table.checks} for table in (older, newer))
    for only, words in ((sorted(before - now), "asked then, not now"), (sorted(now - before), "asked now, not then")):
        if only:
            more = f" and {len(only) - 1} more" if len(only) > 1 else ""
            yield f"{'checks' if more else 'check'} {words}: {only[0]}{more}"
