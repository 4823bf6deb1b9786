"""What the calibration of an oscillator and that of a crystal have in common."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from uncertainties import ufloat

from aotf_lab.estimation.checks import Check, failed_words
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.reading.source import SourceFile
from aotf_lab.record.stored import StoredNumbers

__all__ = ["Calibration", "Update"]


@dataclass(frozen=True)
class Update:
    """A change of a calibration after it was made: ISO date, what was done, and by how much it moved (MHz).

    ``made_of`` are the raw files whose readings it took in, as far as they are known.
    """

    date: str
    words: str
    shift_mhz: float = 0.0
    u_shift_mhz: float = 0.0
    made_of: tuple[SourceFile, ...] = ()

    def __str__(self) -> str:
        return f"{self.date}: {self.words}"


@dataclass(frozen=True, eq=False, kw_only=True)
class Calibration:
    """A calibration that is kept.

    - ``name``: of the bench or part, free; ``measured``: ISO date of the readings.
    - ``numbers``: the curve at its knots and what stands beside it, with their covariance.
    - ``conditions``: means while it was measured, such as ``temperature_c``.
    - ``coefficients``: name -> (value, u), such as ``mhz_per_k``, where they are known.
    - ``made_of``: the raw files; ``versions``: of the programs; ``checks``: as they stood when it was made.
    - ``updates``: what changed it since.
    """

    name: str
    measured: str
    numbers: StoredNumbers = field(repr=False)
    conditions: Mapping[str, float] = field(default_factory=dict)
    coefficients: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    made_of: tuple[SourceFile, ...] = field(default=(), repr=False)
    versions: Mapping[str, str] = field(default_factory=dict, repr=False)
    checks: tuple[Check, ...] = field(default=(), repr=False)
    updates: tuple[Update, ...] = ()

    @property
    def as_of(self) -> str:
        """The date from which it stands as it is: of the last update, else of the readings."""
        return max([self.measured, *(update.date for update in self.updates)])

    def holds(self, files: Iterable[SourceFile]) -> tuple[SourceFile, ...]:
        """Return those of ``files`` whose readings it was made of, or brought up to date by."""
        known = {s.sha256 for s in (*self.made_of, *(s for update in self.updates for s in update.made_of))}
        return tuple(s for s in files if s.sha256 in known)

    @property
    def failed(self) -> tuple[Check, ...]:
        """The checks that had not passed when it was made."""
        return tuple(check for check in self.checks if not check.passed)

    @property
    def doubts(self) -> tuple[str, ...]:
        """A sentence for each check that had not passed when it was made: it was kept all the same."""
        kept = f"the {self.part}'s calibration of {self.measured} was kept with a failed check"
        return tuple(f"{kept}, {check.name}: {check.detail}" for check in self.failed)

    @property
    def part(self) -> str:
        """What was calibrated, in a word."""
        return "part"

    @property
    def title(self) -> str:
        """What it is, of what and of when, in a line."""
        renewed = f", as of {self.as_of}" if self.updates else ""
        failed = f", {failed_words(len(self.failed))}" if self.failed else ""
        return f"Calibration of the {self.part} of {self.name}, measured {self.measured}{renewed}{failed}"

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        return (
            *((name, f"{value:.6g}") for name, value in sorted(self.conditions.items())),
            *((name, _pair(*pair)) for name, pair in sorted(self.coefficients.items())),
            ("made of", ", ".join(s.name for s in self.made_of) or "not stated"),
        )

    def __str__(self) -> str:
        return rows_text(self.title, self.rows(), (*self.updates, *self.failed))

    def _repr_html_(self) -> str:
        return rows_html(self.title, self.rows(), (*self.updates, *self.failed))


def _pair(value: float, u: float) -> str:
    return f"{ufloat(value, u):.2uS}" if u > 0 else f"{value:.6g}"
