"""Do up and down part because something is late, or because something sticks?

A lag of time T shifts what is read up by rate x T and down by as much the other way: it grows with the rate and cancels
between the two. Hysteresis (backlash, friction, a core's memory) stays when the sweep goes ever slower. So up less down
against the rate is a straight line: hysteresis where the rate is zero, 2 T its slope.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, std_dev

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation import Check, Fit, Parameter, weighted_fit
from aotf_lab.estimation.checks import t_limit, z_limit
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.timing.numbers import Number, nominal

__all__ = ["LagOrHysteresis", "lag_or_hysteresis"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class LagOrHysteresis:
    """What parts up and down, made by ``lag_or_hysteresis``: up less down at rest, and the lag."""

    hysteresis_mhz: UFloat
    lag_s: UFloat
    fit: Fit = field(repr=False)
    rate_mhz_per_s: FloatArray = field(repr=False)
    gap_mhz: FloatArray = field(repr=False)
    u_gap_mhz: FloatArray | None = field(repr=False)

    @property
    def limit(self) -> float:
        """How many of its standard uncertainties a value must be from zero to count."""
        if self.fit.u_known and self.fit.birge == 1.0:
            return z_limit()
        return t_limit(self.fit.dof)

    @property
    def verdict(self) -> str:
        """What there is, in words: a value counts where it stands out of its uncertainty."""
        lag, stuck = (abs(v.n) > self.limit * v.s for v in (self.lag_s, self.hysteresis_mhz))
        if lag and stuck:
            return "a lag and hysteresis: a slower sweep takes the lag away, not the hysteresis"
        if lag:
            return "a lag: it cancels between up and down"
        if stuck:
            return "hysteresis: a slower sweep does not help; come to each setting from one side"
        return "neither is seen"

    def plot(self, ax: Any = None) -> Any:
        """Draw up less down against the rate; return the Axes."""
        from aotf_lab.drawing.timing import plot_lag

        u = np.zeros_like(self.gap_mhz) if self.u_gap_mhz is None else self.u_gap_mhz
        line = (self.hysteresis_mhz.n, 2.0 * self.lag_s.n)
        return plot_lag(self.rate_mhz_per_s, self.gap_mhz, u, line, ax=ax)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        return (
            ("hysteresis, up less down", f"{1e3 * self.hysteresis_mhz:.2uS} kHz"),
            ("lag", f"{self.lag_s:.2uS} s"),
            ("verdict", self.verdict),
            ("chi2/dof", f"{self.fit.chi2:.1f}/{self.fit.dof:.3g}"),
        )

    def _title(self) -> str:
        return f"Up against down at {len(self.gap_mhz)} rates"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), self.fit.failed)

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), self.fit.failed)


def lag_or_hysteresis(
    rates_mhz_per_s: Sequence[float], up_mhz: Sequence[Number], down_mhz: Sequence[Number]
) -> LagOrHysteresis:
    """Fit the centres found sweeping up and down, each pair at one rate, and return the ``LagOrHysteresis``.

    ``rates_mhz_per_s`` (n,) are above zero, whichever way; ``up_mhz`` and ``down_mhz`` (n,) the centres in MHz.
    Centres with uncertainty are weighted by that of their difference, in which what both share cancels; where any has
    none the scatter tells, which needs three rates or more. A lag may also be given as steps: rate = step / dwell.

    Raises ``ReadingsError`` for lists of unequal length, rates not above zero, and fewer than two different rates.
    """
    rates = np.asarray(rates_mhz_per_s, dtype=float)
    if not len(rates) == len(up_mhz) == len(down_mhz):
        raise ReadingsError(
            "rates and centres do not pair up", found=Said(f"{len(rates)}, {len(up_mhz)} and {len(down_mhz)}"),
            allowed="one centre up and one down for each rate", cure="leave out what has no partner",
        )  # fmt: skip
    if not np.all(rates > 0) or len(np.unique(rates)) < 2:
        raise ReadingsError(
            "rates that tell no lag from hysteresis", found=Said(", ".join(f"{r:g}" for r in rates) + " MHz/s"),
            allowed="two different rates or more, above zero", cure="sweep once more, at half the rate",
        )  # fmt: skip
    gaps = [u - d for u, d in zip(up_mhz, down_mhz, strict=True)]
    gap = np.array([nominal(g) for g in gaps])
    u = np.array([float(std_dev(g)) for g in gaps])
    spread = u if np.all(u > 0) else None
    slope = float((gap[np.argmax(rates)] - gap[np.argmin(rates)]) / np.ptp(rates))
    parameters = [Parameter("hysteresis_mhz", float(gap[np.argmin(rates)])), Parameter("lag_s", 0.5 * slope)]
    fit = weighted_fit(
        lambda r, h, t: h + 2.0 * t * r, parameters, rates, gap, spread, scatter="the centres up less down"
    )
    few = Check("several rates", len(rates) > 2, f"{len(rates)} rates; with two no third tells whether the law holds")
    fit = fit.with_checks(few)
    return LagOrHysteresis(fit.parameters["hysteresis_mhz"], fit.parameters["lag_s"], fit, rates, gap, spread)
