"""The day on which a calibration is due, what sets it, and how sure a set-point is until then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np

from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.estimation.problem import FloatArray

__all__ = ["CONFIDENCE", "Due", "Passband"]

CONFIDENCE = 0.95
_SMALL = 0.1
"""Causes smaller than this share of the largest are not printed."""


@dataclass(frozen=True)
class Passband:
    """A line's peak and its full width at half of the peak (MHz)."""

    frequency_mhz: float
    fwhm_mhz: float


@dataclass(frozen=True)
class Due:
    """When a new calibration is due, made by ``Drift.due``.

    Up to and with the day before ``date`` the light lost stays below ``loss_percent`` with 95 % on each day; None where
    this cannot be promised for a single day. ``limited_by`` says what sets it, ``parts`` the size of each cause on that
    day (kHz at ``line``, k = 1 or the shift itself), largest first. ``reach`` is true where only the length of the
    history sets it. ``first_day_percent`` is the loss that can be promised for the day after the last record.
    """

    links: tuple[str, ...]
    last: date
    date: date | None
    line: str
    loss_percent: float
    allowed_khz: float
    parts: Mapping[str, float]
    reach: bool
    first_day_percent: float
    days: FloatArray = field(repr=False)
    chance: FloatArray = field(repr=False)

    @property
    def limited_by(self) -> str:
        """What sets the date."""
        if self.reach:
            return f"the history: it reaches back {int(self.days[-1])} days, and no further ahead is anything promised"
        return next(iter(self.parts))

    def plot(self, ax: Any = None) -> Any:
        """Draw the chance that the loss stays below the stated one over the days to come; return the Axes."""
        from aotf_lab.drawing.record import plot_due

        start = np.datetime64(self.last)
        days = start + self.days.astype("timedelta64[D]")
        due = None if self.date is None else np.datetime64(self.date)
        return plot_due(days, self.chance, CONFIDENCE, due, self.loss_percent, ax=ax)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with unit), one pair per line of ``str``."""
        if self.date is None:
            when = f"every day, before use: no day keeps to {self.loss_percent:g} % at 95 %"
            when += f"; {self.first_day_percent:.3g} % can be promised for the first"
        else:
            when = f"{self.date}, {(self.date - self.last).days} days after the last record"
        least = _SMALL * max(self.parts.values())
        parts = ", ".join(f"{name} {size:.2g} kHz" for name, size in self.parts.items() if size >= least)
        return (
            ("due", when),
            ("for", f"{self.loss_percent:g} % of light at {self.line}: {self.allowed_khz:.3g} kHz off the peak"),
            ("limited by", self.limited_by),
            ("causes that day", parts),
        )

    def _title(self) -> str:
        return f"A new calibration of {' and '.join(self.links)}"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows())

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows())
