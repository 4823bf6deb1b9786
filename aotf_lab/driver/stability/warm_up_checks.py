"""The questions that every law of a warm-up answers about its own log."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from aotf_lab.driver.stability.exponentials import Terms
from aotf_lab.driver.stability.log import Log
from aotf_lab.driver.stability.walk import WalkFit
from aotf_lab.estimation.checks import Check, chi2_check, z_check, z_limit
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["Rivals", "alike", "warm_up_checks"]

_LENGTHS = 3.0
"""Length of a log, in time constants, below which warm-up and slow drift look alike (common practice, no source)."""


@dataclass(frozen=True)
class Rivals:
    """The fits with 0, 1, 2 exponentials; ``gained`` is by how much the logarithm of the probability rises with the
    first and with the second, ``limit`` from where the second is taken."""

    fits: tuple[WalkFit, ...]
    gained: tuple[float, float]
    limit: float


def warm_up_checks(
    log: Log,
    terms: Terms,
    rivals: Rivals,
    count: int,
    fit: Fit,
    temperature: FloatArray | None,
    started_s: float | None,
    worth: float,
    found: WalkFit,
) -> Iterator[Check]:
    """Yield the checks of a law with ``count`` exponentials."""
    yield _scatter(log, found)
    yield _single_readings(log)
    yield alike(found, "the log")
    yield _exponentials(rivals, count, len(log))
    yield _length(terms, found, count)
    yield _worth(log, fit, worth)
    yield _slow_drift(fit)
    yield _temperature(log, temperature, fit)
    yield _start(started_s)


def _scatter(log: Log, found: WalkFit) -> Check:
    stated = log.u_frequency_mhz
    if not np.isfinite(stated):
        detail = (
            f"no u of the counts was stated: {1e3 * found.jitter:.3g} kHz a reading was estimated from the log; "
            "state the counter's uncertainty"
        )
        return Check("stated uncertainty", False, detail)
    dof = len(log) - len(found.values)
    check = chi2_check(dof * (found.jitter / stated) ** 2, dof, "the log, its wander apart")
    if stated <= found.jitter or not check.passed:
        return check
    detail = f"{check.detail}; {1e3 * found.jitter:.3g} kHz a reading found, {1e3 * stated:.3g} kHz stated and used"
    return Check("scatter", True, detail)


def _single_readings(log: Log) -> Check:
    if len(log.left_out) == 0:
        return Check("single readings", True, "no reading stands out from both of its neighbours")
    detail = (
        f"{len(log.left_out)} of the counts left out, far from their neighbours: {log.places_left_out()}; limit 0; "
        "look at these rows, and set the counter's trigger level"
    )
    return Check("single readings", False, detail)


def alike(found: WalkFit, of: str) -> Check:
    """Return the check that white noise and a random walk are all there is (von Neumann's ratio of what is left)."""
    n = len(found.best.residual)
    z = found.best.residual - found.best.residual.mean()
    ratio = float(np.sum(np.diff(z) ** 2) / np.sum(z**2))
    size = (2 - ratio) / (2 * ((n - 2) / (n**2 - 1)) ** 0.5)
    limit = z_limit()
    detail = (
        f"what is left of {of} after white noise and a random walk resembles its neighbours by {size:+.1f} standard "
        f"deviations, limit {limit:.1f}"
    )
    passed = abs(size) <= limit
    cure = "the noise is of another kind (hum, a counter that averages over rows, a thermostat): intervals may be off"
    return Check("kind of noise", passed, detail if passed else f"{detail}; {cure}")


def _exponentials(rivals: Rivals, count: int, n: int) -> Check:
    one, two = (f.likelihood for f in rivals.fits[1:])
    p = len(rivals.fits[1].values) + 2

    def criterion(k: int, likelihood: float) -> float:
        return 2 * k - 2 * likelihood + 2 * k * (k + 1) / max(n - k - 1, 1)

    change = criterion(p + 2, two) - criterion(p, one)
    detail = (
        f"{'two exponentials' if count == 2 else 'one exponential'}: a second makes the readings "
        f"{_times(rivals.gained[1])} as probable, and is taken from {_times(rivals.limit)} on; it changes the "
        f"corrected Akaike criterion by {change:+.1f} (that alone takes a wander for a second exponential too often)"
    )
    return Check("number of exponentials", True, detail)


def _times(log_ratio: float) -> str:
    return f"{np.exp(log_ratio):.2g} times" if log_ratio < 20 else f"10^{log_ratio / np.log(10):.0f} times"


def _length(terms: Terms, found: WalkFit, count: int) -> Check:
    longest = float(np.exp(found.values[-1]))
    length = float(np.ptp(terms.time_s)) / longest
    detail = f"the log lasts {length:.2g} of the longest time constants, limit {_LENGTHS:g}"
    cure = "warm-up and slow drift look alike in it; log longer"
    return Check("length of the log", length >= _LENGTHS, detail if length >= _LENGTHS else f"{detail}; {cure}")


def _worth(log: Log, fit: Fit, worth: float) -> Check:
    u = float(fit.covariance[0, 0]) ** 0.5
    detail = (
        f"{len(log)} readings are worth {min(worth, len(log)):.3g} independent ones for the settled frequency: its u "
        f"is {1e3 * u:.2g} kHz, not the {1e3 * u * (min(worth, len(log)) / len(log)) ** 0.5:.2g} kHz of white noise"
    )
    return Check("correlated noise", True, detail)


def _slow_drift(fit: Fit) -> Check:
    drift = fit.parameters["slow drift (MHz/h)"]
    cure = "no waiting ends it: calibrate again in time"
    check = z_check("slow drift", 1e3 * drift.n, 1e3 * drift.s, "the drift beside the warm-up", "kHz/h", cure)
    return check if check.passed else Check(check.name, False, check.detail, abs(drift.n))


def _temperature(log: Log, temperature: FloatArray | None, fit: Fit) -> Check:
    if log.temperature_c is None:
        text = (
            "cannot be checked: not logged, so that what it did counts as warm-up or wander; log it with every reading"
        )
        return Check("temperature", True, text)
    if temperature is None:
        text = (
            f"cannot be checked: of the {np.ptp(log.temperature_c):.2g} K logged, no more than noise stands beside a "
            "straight line, and that counts as slow drift"
        )
        return Check("temperature", True, text)
    per_k = fit.parameters["temperature (MHz/K)"]
    detail = (
        f"{1e3 * per_k.n:+.3g} +- {1e3 * per_k.s:.2g} kHz/K over {np.ptp(temperature):.2g} K; the law holds at the mean"
    )
    return Check("temperature", True, detail)


def _start(started_s: float | None) -> Check:
    if started_s is not None:
        return Check("start of the log", True, f"the first reading came {started_s:.4g} s after power-on, as stated")
    text = "the time from power-on to the first reading was not stated: every time counts from the first reading"
    return Check("start of the log", True, text)
