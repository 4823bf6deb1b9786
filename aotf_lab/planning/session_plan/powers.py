"""Which RF powers tell a saturation power, how many readings at each, and what no number of them tells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.crystal.efficiency.law import QUARTER_PERIOD, drive_law, law_slopes
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.planning.next_reading.design import after_each, learnt
from aotf_lab.planning.session_plan.typical import Prospect
from aotf_lab.reading.chain import scale_errors
from aotf_lab.reading.instruments import Instruments

__all__ = ["PowerPlan", "plan_powers"]

_MOST, _GRID, _HIGHEST, _FEWEST = 200, 41, 1.6, 3
_TYPICAL_MHZ = 65.0


@dataclass(frozen=True)
class PowerPlan:
    """``powers`` are (RF power in W, readings there). ``u_scatter`` is the relative u of P_sat that the readings leave,
    ``u_shared`` by cause what they all share; ``target`` is the u asked for, ``reached`` whether it is met."""

    powers: tuple[tuple[float, int], ...]
    u_scatter: float
    u_shared: dict[str, float]
    target: float

    @property
    def u_floor(self) -> float:
        """The relative u (k = 1) that is left however many readings are made."""
        return float(np.sqrt(sum(u**2 for u in self.u_shared.values())))

    @property
    def reached(self) -> bool:
        """Whether scatter and shared causes together meet the target."""
        return float(np.hypot(self.u_scatter, self.u_floor)) <= self.target

    @property
    def readings(self) -> int:
        """The number of readings."""
        return sum(n for _, n in self.powers)


def plan_powers(instruments: Instruments, prospect: Prospect, target: float) -> PowerPlan:
    """Return the powers at which a line's efficiency tells its saturation power to the relative u ``target``.

    c-optimal, reading by reading, up to 1.6 P_sat or the crystal's rating, for the law of ``crystal.efficiency``. When
    the shared causes alone exceed the target, the readings are those that scatter would need.
    """
    saturation, peak = prospect.saturation_power_w, prospect.peak_efficiency
    slope, curvature = QUARTER_PERIOD * peak / saturation, 1 / peak
    top = min(_HIGHEST * saturation, prospect.rated_rf_power_w)
    power = np.linspace(top / _GRID, top, _GRID)
    by_power, by_slope, by_curvature = law_slopes(power, slope, curvature)
    rows = np.stack([by_slope, by_curvature], axis=1)
    meter = instruments.power_meter
    relative = 0.01 * np.hypot(meter.u_reading_percent or 1.0, prospect.wander_percent) * 2**0.5  # light, and incident
    efficiency = drive_law(power, slope, curvature)
    u = np.hypot(relative * efficiency, 0.003 * peak)
    variances = u**2 + (by_power * 2 * instruments.u_level_relative * power) ** 2
    wanted = np.array([[-1 / slope, -1 / curvature]])  # of ln P_sat, P_sat = (pi/2)^2 / (slope curvature)
    shared = _shared(instruments)
    floor = float(np.sqrt(sum(v**2 for v in shared.values())))
    allowed = np.sqrt(target**2 - floor**2) if floor < target else target
    covariance, counts = np.diag([(10 * slope) ** 2, (10 * curvature) ** 2]), np.zeros(_GRID, dtype=int)
    while counts.sum() < 4 or (counts.sum() < _MOST and _u(covariance, wanted) > allowed):
        best = int(np.argmin(after_each(covariance, wanted, rows, variances)[:, 0]))
        covariance = learnt(covariance, rows[best], float(variances[best]))
        counts[best] += 1
    if np.count_nonzero(counts) < _FEWEST:
        counts[_GRID // 2] += 1  # two powers tell P_sat, a third tells whether the law holds
    chosen = tuple((float(power[k]), int(counts[k])) for k in np.flatnonzero(counts))
    return PowerPlan(chosen, _u(covariance, wanted), shared, target)


def _u(covariance: FloatArray, wanted: FloatArray) -> float:
    return float(np.sqrt(np.einsum("ij,jk,ik->", wanted, covariance, wanted)))


def _shared(instruments: Instruments) -> dict[str, float]:
    """Return the relative u of power by each cause that all readings of the scope share, the largest first."""
    errors = scale_errors(instruments, np.array([_TYPICAL_MHZ]))
    sizes = {e.name: abs(e.sensitivity) * e.variable.s for e in errors if e.kind == "relative"}
    return dict(sorted(sizes.items(), key=lambda item: -item[1]))
