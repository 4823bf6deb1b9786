"""What was not taken, or taken in doubt: counted by reason, the first few lines of each named."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

__all__ = ["NAMED", "Counted", "Tallies", "Tally"]

NAMED = 5
"""Lines named of each reason."""

_MOST_REASONS = 200


@dataclass(frozen=True)
class Counted:
    """How many rows share a reason, with 1-based line and text of the first few."""

    reason: str
    count: int
    first: tuple[tuple[int, str], ...]

    def __str__(self) -> str:
        lines = ", ".join(str(line) for line, _ in self.first)
        more = ", ..." if self.count > len(self.first) else ""
        return f"{self.count} x {self.reason} (line{'s' if self.count > 1 else ''} {lines}{more})"


@dataclass
class Tally:
    """Counts while a file is read."""

    counts: Counter[str] = field(default_factory=Counter)
    first: dict[str, list[tuple[int, str]]] = field(default_factory=dict)

    def add(self, reason: str, line: int, text: str) -> None:
        """Count one row."""
        if reason not in self.first and len(self.first) >= _MOST_REASONS:
            reason = "other reasons"
        self.counts[reason] += 1
        named = self.first.setdefault(reason, [])
        if len(named) < NAMED:
            named.append((line, text))

    def join(self, other: Tally) -> None:
        """Count what ``other`` counted further down."""
        for reason, count in other.counts.items():
            known = reason if reason in self.first or len(self.first) < _MOST_REASONS else "other reasons"
            self.counts[known] += count
            named = self.first.setdefault(known, [])
            named += other.first[reason][: NAMED - len(named)]

    def text_of(self, line: int) -> str:
        """Return the text of a line that is named, "" for any other."""
        return next((text for named in self.first.values() for n, text in named if n == line), "")

    def counted(self) -> tuple[Counted, ...]:
        """Return what was counted, the most frequent first."""
        return tuple(Counted(r, n, tuple(self.first[r])) for r, n in self.counts.most_common())


@dataclass
class Tallies:
    """Rows not taken, rows taken in doubt, and lines that are no rows (comments, blank lines, headings)."""

    rejected: Tally = field(default_factory=Tally)
    doubtful: Tally = field(default_factory=Tally)
    passed: Tally = field(default_factory=Tally)

    def join(self, other: Tallies) -> None:
        """Count what ``other`` counted further down."""
        self.rejected.join(other.rejected)
        self.doubtful.join(other.doubtful)
        self.passed.join(other.passed)
