"""One supply for all lines, as an answer: what each line gets, which is the weakest, and how flat the choice is."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.efficiency.curve import SLOPE_ONLY
from aotf_lab.driver.level import Level, SafeSupply
from aotf_lab.estimation import Check
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.planning.one_drive_lines import DrivenLine, efficiencies
from aotf_lab.planning.set_point import shown

__all__ = ["Aim", "LineAtDrive", "OneDrive"]

Aim = Literal["efficiency", "share"]
"""What is made as large as it can be: the efficiency, or its share of each line's own maximum."""

_WORTH_SAYING = 0.99
"""A line is said to get less light from more power when a hundredth of it goes."""


@dataclass(frozen=True)
class LineAtDrive:
    """One line at the supply chosen.

    ``share`` is the efficiency over the line's own maximum, None where the initial slope alone is known, as is
    ``peak_supply_v``, where the line gives most light (None also beyond the amplifier's measured supplies).
    ``at_safe`` is the efficiency at the highest safe supply, by the law where ``beyond_measured`` says that no drive
    went so far. ``origin`` says where the curve comes from.
    """

    line: str
    wavelength_nm: UFloat | float
    frequency_mhz: UFloat
    rf_power_w: UFloat
    efficiency: UFloat
    share: UFloat | None
    peak_supply_v: UFloat | None
    at_safe: float
    beyond_measured: bool
    origin: str

    @property
    def less_light_at_safe(self) -> bool:
        """Whether the highest safe supply gives this line less light than the supply chosen."""
        return bool(self.at_safe < self.efficiency.n)

    @property
    def past_peak_at_safe(self) -> float:
        """Light at the highest safe supply over that at the supply chosen."""
        return float(self.at_safe / self.efficiency.n)


@dataclass(frozen=True)
class OneDrive:
    """The one amplifier supply for all lines, made by ``one_drive``.

    ``supply_v`` is a settable step, never above ``safe``; ``u_supply_v`` the standard uncertainty of the place of the
    best, and ``within_v`` the supplies (below the safe one) whose ``aimed`` value stays within 1 % of the best.
    ``aimed`` is what was made largest: the least efficiency (or share), or with ``weights`` their weighted mean.
    ``lost_percent`` is how much of that, at the most (95 %), is lost by not knowing the curves better.
    """

    supply_v: float
    u_supply_v: float
    within_v: tuple[float, float]
    lost_percent: float
    aim: Aim
    weights: dict[str, float] | None
    aimed: float
    lines: tuple[LineAtDrive, ...]
    safe: SafeSupply
    checks: tuple[Check, ...]
    driven: tuple[DrivenLine, ...] = field(repr=False)
    level: Level = field(repr=False)

    def __getitem__(self, line: str) -> LineAtDrive:
        for entry in self.lines:
            if entry.line == line:
                return entry
        raise KeyError(line)

    @property
    def weakest(self) -> LineAtDrive:
        """The line with the least efficiency, or share where that was the aim."""
        return min(
            self.lines, key=lambda e: e.efficiency.n if self.aim == "efficiency" or e.share is None else e.share.n
        )

    @property
    def least_share(self) -> UFloat | None:
        """The least share of its own maximum that any line gets, None where one is not known."""
        shares = [e.share for e in self.lines if e.share is not None]
        return min(shares, key=lambda s: float(s.n)) if len(shares) == len(self.lines) else None

    @property
    def findings(self) -> tuple[str, ...]:
        """What there is to say of this supply, in words."""
        return (*self._least(), *self._more_power(), *self._unknown())

    def _least(self) -> tuple[str, ...]:
        least, v = self.least_share, f"{self.supply_v:.2f} V"
        if least is None:
            return (f"at {v} line {self.weakest.line} is the weakest; how far each is from its maximum is not known",)
        share = f"{100 * least.n:.1f} % or more of its own maximum (u {100 * least.s:.1g} %)"
        return (f"at {v} each of {len(self.lines)} lines has {share}; the weakest is {self.weakest.line}",)

    def _more_power(self) -> tuple[str, ...]:
        less = sorted((e for e in self.lines if e.past_peak_at_safe < _WORTH_SAYING), key=lambda e: e.past_peak_at_safe)
        top = f"the highest safe supply, {self.safe.supply_v:.2f} V"
        if not less or self.supply_v >= self.safe.supply_v - 1e-9:
            return ()
        each = ", ".join(
            f"{e.line} {100 * (e.past_peak_at_safe - 1):+.0f} %" + ("*" if e.beyond_measured else "") for e in less
        )
        star = "; * by the law, no drive went so far" if any(e.beyond_measured for e in less) else ""
        return (f"more power gives less light: at {top}, {each} of what they have at {self.supply_v:.2f} V{star}",)

    def _unknown(self) -> tuple[str, ...]:
        words = []
        guessed = [e.line for e in self.lines if not e.origin.startswith("own")]
        if guessed:
            words.append(f"efficiency of {', '.join(guessed)} taken from the other lines, by the law of wavelength")
        slope = [d.name for d in self.driven if d.curve.level == SLOPE_ONLY]
        if slope:
            words.append(
                f"slope only for {', '.join(slope)}: more drive was never tried, so where they peak is not known"
            )
        return tuple(words)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, words) for each line of ``str``."""
        low, high = self.within_v
        what = "least" if self.weights is None else "weighted mean"
        of = "efficiency" if self.aim == "efficiency" else "share of the own maximum"
        flat = f"{low:.2f} to {high:.2f} V keep the {what} {of} within 1 % of its best; "
        flat += f"up to {self.lost_percent:.2g} % of it is lost by not knowing the curves better (95 %)"
        found = [("supply", f"{self.supply_v:.2f} V, u {self.u_supply_v:.2f} V"), ("how flat", flat)]
        for e in self.lines:
            share = "share not known" if e.share is None else f"{100 * e.share.n:.1f} % of its maximum"
            peak = "" if e.peak_supply_v is None else f", most light at {shown(e.peak_supply_v)} V"
            words = f"{e.frequency_mhz.n:.3f} MHz, {shown(e.rf_power_w)} W, efficiency {shown(e.efficiency)}, {share}"
            found.append((f"line {e.line}", f"{words}{peak} ({e.origin})"))
        return tuple(found)

    def __str__(self) -> str:
        return rows_text(self._title, self.rows(), (*self.findings, *(c for c in self.checks if not c.passed)))

    def _repr_html_(self) -> str:
        return rows_html(self._title, self.rows(), (*self.findings, *(c for c in self.checks if not c.passed)))

    @property
    def _title(self) -> str:
        return f"One drive for {len(self.lines)} lines: an amplifier supply of {self.supply_v:.2f} V"

    def plot(self, ax: Any = None) -> Any:
        """Draw the efficiency of every line against the supply, the choice, and the safe supply as a wall."""
        from aotf_lab.drawing.one_drive import plot_one_drive

        grid = np.linspace(*self.level.range_v, 241)
        light, _, power = efficiencies(self.driven, self.level, grid)
        reach = np.array([e.curve.range_w[1] for e in self.driven])
        return plot_one_drive(
            grid, light, power > reach[:, None], [e.name for e in self.driven], self.supply_v, self.within_v,
            self.safe.supply_v, ax,
        )  # fmt: skip
