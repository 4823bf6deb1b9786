"""RF power against supply at one frequency: a law with a threshold and a knee, or a smooth curve where it fails.

The law: w = a (V - threshold), P = w^2 / (1 + q (w^2 / P_top)^n)^(1/n). The RF voltage of a class AB stage follows its
supply above a threshold and gives way softly where the stage reaches its limit (common practice, no source); q
says how far that has gone at the highest power measured, n how sharply. n has a weak prior, since a knee that was
hardly reached does not show it. Where the law does not follow the readings, a smooth curve of unknown form
(``estimation.smooth``) takes its place, and a check says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from uncertainties import UFloat

from aotf_lab.driver.level.rows import LevelRows, Run
from aotf_lab.errors import FitError
from aotf_lab.estimation.causes import new_cause
from aotf_lab.estimation.checks import Check, chi2_check
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray, Parameter, Problem, differences
from aotf_lab.estimation.smooth.curve import SmoothFit, fit_smooth
from aotf_lab.estimation.smooth.monotone import made_monotone
from aotf_lab.estimation.smooth.numbers import linear_numbers
from aotf_lab.estimation.weighted import fit_problem

__all__ = ["SupplyCurve", "fit_supply_curve", "law"]

SCATTER = "scatter of power against supply"
FORM = "form of power against supply"
KNEE, U_KNEE = np.log(4.0), 0.5
"""ln n beforehand: between 2.4 and 6.6 (k = 1), soft to sharp (common practice, no source)."""

_DB = 20.0 / np.log(10.0)
_STEP = 1e-4


@dataclass(frozen=True)
class SupplyCurve:
    """sqrt(power) against supply; ``fit`` is that of the law, None where the ``smooth`` curve stands.

    ``values`` (p,) are its numbers, ``numbers`` the same with uncertainty; ``low`` and ``high`` (V) the range.
    """

    low: float
    high: float
    top_w: float
    values: FloatArray
    numbers: tuple[UFloat, ...]
    fit: Fit | None
    smooth: SmoothFit | None
    checks: tuple[Check, ...]
    factor_95: float

    @property
    def covariance(self) -> FloatArray:
        """Covariance (p, p) of the numbers."""
        if self.fit is not None:
            return self.fit.covariance
        assert self.smooth is not None
        return np.asarray(self.smooth.scatter + self.smooth.form)

    def root(self, supply_v: FloatArray) -> FloatArray:
        """Return sqrt(power) (n,) in sqrt(W)."""
        if self.smooth is not None:
            return np.maximum(self.smooth.curve(supply_v), 1e-6)
        return np.maximum(law(supply_v, *self.values, top_w=self.top_w), 1e-6)

    def db(self, supply_v: FloatArray) -> FloatArray:
        """Return the power (n,) in dB over 1 W."""
        return np.asarray(_DB * np.log(self.root(supply_v)))

    def db_rows(self, supply_v: FloatArray) -> FloatArray:
        """Return how ``db`` (n,) moves with each of the numbers: (n, p)."""
        root = self.root(supply_v)
        if self.smooth is not None:
            return np.asarray(_DB * self.smooth.rows(supply_v) / root[:, None])
        steps = _STEP * np.maximum(np.abs(self.values), 0.1)
        slopes = differences(lambda v: law(supply_v, *v, top_w=self.top_w), self.values, steps)
        return np.asarray(_DB * slopes / root[:, None])

    def gain_left(self, supply_v: FloatArray) -> FloatArray:
        """Return by how many dB (n,) the power rises for one dB more of drive: 1 below the knee, 0 in saturation."""
        if self.smooth is None:
            a, threshold, q, log_n = self.values
            strength = q * _strength(a * (supply_v - threshold), log_n, self.top_w)
            return np.asarray(np.clip(1.0 / np.maximum(1.0 + strength, 1e-3), 0.0, 1.0))
        places = np.linspace(self.low, self.high, 101)
        return np.asarray(np.clip(self.smooth.slope(supply_v) / np.max(self.smooth.slope(places)), 0.0, 1.0))


_MOST_STRENGTH, _MOST_LOG = 1e12, 700.0


def law(supply_v: FloatArray, a: float, threshold: float, q: float, log_n: float, *, top_w: float) -> FloatArray:
    """Return sqrt(P) (n,) of the law; 0 below the threshold.

    >>> law(np.array([3.0, 5.0]), 0.1, 3.0, 0.0, 1.4, top_w=1.0).round(3).tolist()
    [0.0, 0.2]
    """
    wave = a * np.maximum(supply_v - threshold, 0.0)
    return np.asarray(wave / np.maximum(1.0 + q * _strength(wave, log_n, top_w), 1e-3) ** (0.5 / np.exp(log_n)))


def _strength(wave: FloatArray, log_n: float, top_w: float) -> FloatArray:
    power = math.exp(min(log_n, _MOST_LOG))
    most = math.exp(min(math.log(_MOST_STRENGTH) / power, _MOST_LOG))  # so that nothing overflows
    return np.asarray(np.minimum(np.maximum(wave, 0.0) ** 2 / top_w, most) ** power)


def fit_supply_curve(rows: LevelRows, run: Run) -> SupplyCurve:
    """Fit sqrt(power) against supply over the rows of ``run``."""
    supply, power = rows.supply_v[run.rows], rows.power_w[run.rows]
    root = np.sqrt(power)
    u = None if rows.u_power_w is None else rows.u_power_w[run.rows] / (2 * root)
    u_supply = rows.u_supply_v[run.rows]
    if u is not None:
        u = np.hypot(u, np.ptp(root) / np.ptp(supply) * u_supply)
    places = [rows.places[k] for k in run.rows]
    curve, why = _law_curve(supply, root, u, places)
    if curve is not None and not why:
        detail = "sqrt(power) rises in a line above a threshold, and gives way softly"
        return _with(curve, Check("supply law", True, f"{detail}: {_knee(curve)}"))
    smooth = _smooth_curve(supply, root, u)
    detail = f"the law with a threshold and a knee does not follow the readings ({why}): a smooth curve stands instead"
    return _with(smooth, Check("supply law", False, f"{detail}; look for a wrong reading or a supply that gave way"))


def _with(curve: SupplyCurve, check: Check) -> SupplyCurve:
    return replace(curve, checks=(*curve.checks, check))


def _knee(curve: SupplyCurve) -> str:
    q = curve.numbers[2]
    lost = float(1.0 - curve.gain_left(np.array([curve.high]))[0])
    if abs(q.n) < 2 * q.s:
        return "no knee seen up to the highest supply"
    return f"at {curve.high:.4g} V {100 * lost:.0f} % of the slope in dB is lost"


def _law_curve(
    supply: FloatArray, root: FloatArray, u: FloatArray | None, places: list[str]
) -> tuple[SupplyCurve | None, str]:
    """Return the curve by the law (None where it cannot be fitted), and why it does not hold ("" when it does)."""
    top = float(np.max(root)) ** 2
    order = np.argsort(supply)
    lower = order[: max(len(order) // 2, 2)]
    slope, offset = np.polyfit(supply[lower], root[lower], 1)
    slope = max(float(slope), 1e-6)
    least = float(supply.min()) - 1e-9
    start = float(np.clip(-offset / slope, least - 5 * np.ptp(supply), least - 0.02 * np.ptp(supply)))
    parameters = (
        Parameter("a", slope, low=0.0),
        Parameter("threshold", start, high=least),
        Parameter("q", 0.1, low=-0.5, high=1e3),
        Parameter(
            "log_n", KNEE, low=0.0, high=3.0, prior=new_cause("sharpness of the knee (weak prior)", U_KNEE, KNEE)
        ),
    )

    def model(v: FloatArray, a: float, threshold: float, q: float, log_n: float) -> FloatArray:
        return law(v, a, threshold, q, log_n, top_w=top)

    problem = Problem(model, parameters, supply, root, u, None, "power against supply", tuple(places))
    try:
        fit = fit_problem(problem, thorough=False)
    except FitError as error:
        return None, str(error)
    numbers = tuple(fit.parameters.values())
    wrong = [c.detail for c in fit.checks if not c.passed and c.name in ("scatter", "pattern", "prior on log_n")]
    kept = tuple(c for c in fit.checks if c.name not in ("conditioning", "limits"))
    curve = SupplyCurve(
        float(supply.min()), float(supply.max()), top, fit.values, numbers, fit, None, kept, fit.coverage_factor()
    )
    return curve, wrong[0].split(";")[0] if wrong else ""


def _smooth_curve(supply: FloatArray, root: FloatArray, u: FloatArray | None) -> SupplyCurve:
    known = u is not None
    stated = np.full(len(root), 0.01 * float(root.max())) if u is None else u
    smooth = made_monotone(fit_smooth(supply, root, np.zeros_like(supply), stated, u_known=known)).fit
    numbers = linear_numbers(smooth.values, {SCATTER: smooth.scatter, FORM: smooth.form})
    checks = (chi2_check(smooth.chi2, smooth.dof, "the smooth curve of power against supply"),) if known else ()
    return SupplyCurve(
        smooth.low, smooth.high, float(root.max()) ** 2, smooth.values,
        tuple(numbers.combine(np.eye(len(smooth.values)))), None, smooth, checks, 1.96,
    )  # fmt: skip
