"""What could make the coefficients of a drift wrong: cause and cure."""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from aotf_lab.estimation import Check
from aotf_lab.estimation.checks import SIGNIFICANCE
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.drift.between import Scattered, fit_scattered
from aotf_lab.record.drift.history import History

__all__ = ["drift_checks", "durbin_watson"]

_ALIKE = 0.9
"""Correlation of the two coefficients beyond which they are not told apart (common practice, no source)."""
_PULL = 0.02
"""Share by which noise of the thermometer may pull the coefficient to zero (common practice, no source)."""
_FEWEST = 4
"""Degrees of freedom from which the order of the residuals is judged."""


def drift_checks(
    history: History,
    terms: tuple[str, ...],
    found: Scattered,
    columns: FloatArray,
    known_per_k: tuple[float, float] | None,
    u_temperature_k: float,
) -> tuple[Check, ...]:
    """Return the checks of one link's drift."""
    checks = []
    if "per_k" in terms and "per_day" in terms:
        checks.append(_told_apart(terms, found))
    if "per_k" in terms and known_per_k is None:
        checks.append(_thermometer(history, terms, columns, u_temperature_k))
    if known_per_k is not None and len(history) > len(terms) and _tells(columns):
        checks.append(_agrees(history, terms, columns, known_per_k))
    if len(history) - len(terms) >= _FEWEST:
        checks.append(_order(history, found, columns))
    return tuple(checks)


def _tells(columns: FloatArray) -> bool:
    """Whether the columns (n, p) are independent to a part in a million."""
    scaled = columns / np.maximum(np.abs(columns).max(axis=0), 1e-9)
    return bool(np.linalg.matrix_rank(scaled, tol=1e-6) == columns.shape[1])


def _told_apart(terms: tuple[str, ...], found: Scattered) -> Check:
    c = found.covariance[found.typical]
    k, d = terms.index("per_k"), terms.index("per_day")
    r = float(c[k, d] / math.sqrt(c[k, k] * c[d, d]))
    detail = f"correlation of temperature and ageing {r:+.2f}, limit {_ALIKE:g}"
    cure = (
        "days and temperatures went together: take a record in the other season, or two in one week some kelvin apart"
    )
    return Check("told apart", abs(r) <= _ALIKE, detail if abs(r) <= _ALIKE else f"{detail}; {cure}")


def _thermometer(history: History, terms: tuple[str, ...], columns: FloatArray, u_k: float) -> Check:
    """Return the check on the noise of the temperatures: it pulls a slope towards zero by u^2 over their variance."""
    k = terms.index("per_k")
    others = np.delete(columns, k, axis=1)
    rest = columns[:, k] - others @ np.linalg.lstsq(others, columns[:, k], rcond=None)[0]
    square = float(rest @ rest)
    pull = (len(history) - others.shape[1]) * u_k**2 / square if square > 0 else math.inf
    spread = math.sqrt(square / len(history))
    detail = (f"temperatures differ by {spread:.2g} K (k = 1) beside the trend, noise {u_k:g} K: "
              f"the coefficient is pulled to zero by {100 * pull:.2g} %, limit {100 * _PULL:g} %")  # fmt: skip
    cure = "take records at temperatures further apart, or a steadier thermometer"
    return Check("thermometer", pull <= _PULL, detail if pull <= _PULL else f"{detail}; {cure}")


def _agrees(history: History, terms: tuple[str, ...], columns: FloatArray, known: tuple[float, float]) -> Check:
    """Return the check of the records' own coefficient against the one known."""
    factor, unit = history.shown
    alone = fit_scattered(columns, history.shift, history.covariance)
    unit_k = np.eye(len(terms))[terms.index("per_k")]
    low, high = alone.interval(unit_k, more_variance=known[1] ** 2, confidence=1.0 - SIGNIFICANCE)
    passed = low <= known[0] <= high
    detail = (f"{factor * known[0]:.3g} +- {factor * known[1]:.2g} {unit}/K measured within a day, "
              f"{factor * float(alone.mean @ unit_k):.3g} by the records alone; "
              f"allowed {factor * low:.3g} to {factor * high:.3g}")  # fmt: skip
    cure = "the two thermometers are not at the same place, or something else goes with the season"
    return Check("coefficient of a day", passed, detail if passed else f"{detail}; {cure}")


def _order(history: History, found: Scattered, columns: FloatArray) -> Check:
    """Return the check that one record's rest does not go on in the next: a wander is no scatter."""
    s = found.scatter[found.typical]
    u = np.sqrt(np.diag(history.covariance) + s**2)
    statistic, chance = durbin_watson(columns / u[:, None], history.shift / u)
    passed = chance >= SIGNIFICANCE
    detail = f"Durbin-Watson ratio {statistic:.2f} (2: no order), chance {chance:.2g}, limit {SIGNIFICANCE:g}"
    cure = "the records wander rather than scatter: coefficients and due date promise too much; renew earlier"
    return Check("order", passed, detail if passed else f"{detail}; {cure}")


def durbin_watson(columns: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Return the Durbin-Watson ratio of the residuals of ``y`` (n,) on ``columns`` (n, p), and its chance.

    The chance is that of so small a ratio without any order, by a beta distribution over 0 to 4 with the exact mean
    and variance (J. Durbin and G. S. Watson, Biometrika 38, 159 (1951)).

    >>> rising = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
    >>> ratio, chance = durbin_watson(np.ones((6, 1)), rising)
    >>> round(ratio, 3), chance < 0.01
    (0.286, True)
    """
    n, p = columns.shape
    steps = np.diff(np.eye(n), axis=0)
    keep = np.eye(n) - columns @ np.linalg.pinv(columns)
    inner = keep @ steps.T @ steps @ keep
    rest = keep @ y
    square = float(rest @ rest)
    ratio = float(np.sum(np.diff(rest) ** 2) / square) if square > 0 else 2.0
    dof = n - p
    mean = float(np.trace(inner)) / dof
    variance = 2.0 * (float(np.sum(inner**2)) - dof * mean**2) / (dof * (dof + 2.0))
    share = mean / 4.0
    total = mean * (4.0 - mean) / variance - 1.0
    return ratio, float(special.betainc(share * total, (1.0 - share) * total, min(ratio / 4.0, 1.0)))
