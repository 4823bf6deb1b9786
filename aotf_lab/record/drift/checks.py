"""What could make the coefficients of a drift wrong: cause and cure."""

from __future__ import annotations

import math

import numpy as np

from aotf_lab.estimation import Check
from aotf_lab.estimation.checks import SIGNIFICANCE
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.drift.between import fit_scattered
from aotf_lab.record.drift.history import History
from aotf_lab.record.drift.scattered import Scattered

__all__ = ["drift_checks"]

_ALIKE = 0.9
"""Correlation of the two coefficients beyond which they are not told apart (common practice, no source)."""
_PULL = 0.02
"""Share by which noise of the thermometer may pull the coefficient to zero (common practice, no source)."""


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
    return tuple(checks)


def _tells(columns: FloatArray) -> bool:
    """Whether the columns (n, p) are independent to a part in a million."""
    scaled = columns / np.maximum(np.abs(columns).max(axis=0), 1e-9)
    return bool(np.linalg.matrix_rank(scaled, tol=1e-6) == columns.shape[1])


def _told_apart(terms: tuple[str, ...], found: Scattered) -> Check:
    c = found.covariance[found.likeliest]
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
    alone = fit_scattered(columns, history.shift, history.covariance, days=history.days)
    unit_k = np.eye(len(terms))[terms.index("per_k")]
    low, high = alone.interval(unit_k, more_variance=known[1] ** 2, confidence=1.0 - SIGNIFICANCE)
    passed = low <= known[0] <= high
    detail = (f"{factor * known[0]:.3g} +- {factor * known[1]:.2g} {unit}/K measured within a day, "
              f"{factor * float(alone.mean @ unit_k):.3g} by the records alone; "
              f"allowed {factor * low:.3g} to {factor * high:.3g}")  # fmt: skip
    cure = "the two thermometers are not at the same place, or something else goes with the season"
    return Check("coefficient of a day", passed, detail if passed else f"{detail}; {cure}")
