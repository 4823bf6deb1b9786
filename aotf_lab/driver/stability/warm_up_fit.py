"""From a log of the oscillator at one drive to the law of its warm-up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from uncertainties import UFloat, umath

from aotf_lab.driver.stability.exponentials import Terms, fit_exponentials
from aotf_lab.driver.stability.log import Log, log_of
from aotf_lab.driver.stability.smooth_temperature import smooth_temperature
from aotf_lab.driver.stability.walk import WalkFit
from aotf_lab.driver.stability.warm_up import WarmUp
from aotf_lab.driver.stability.warm_up_checks import Rivals, warm_up_checks
from aotf_lab.errors import AotfLabError, ReadingsError, Said
from aotf_lab.estimation.describe import scatter_variables
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["SCATTER", "fit_warm_up"]

SCATTER = "scatter and wander of the warm-up log"
FEWEST = 30
CLEARLY = 5.0
"""Logarithm of the ratio of probabilities from which there is a warm-up at all: 150 to 1."""
RATHER = 2.0
"""From where a second exponential is taken: logarithm of the ratio of probabilities, were its two constants even over
the whole range of each. Over the pairs of time constants that are tried, the shorter first and both apart, that is
about 20 to 1 (21 for a log of two hours at 10 s)."""

_WARM = "log from power-on; for an oscillator that is warm already, ask for its stability"
_TAKEN = (
    "the frequency does warm up, but the thermometer follows it and takes all of it: leave the column temperature_c "
    "out, or put the thermometer where the oscillator does not heat it and log anew"
)


def fit_warm_up(readings: Readings | pd.DataFrame, *, started_s: float | None = None) -> WarmUp:
    """Fit the law of the warm-up to a log of frequency against time at one drive.

    Columns: ``time_s``, ``frequency_mhz``; optional ``temperature_c``, ``u_frequency_mhz``, ``drive_v`` (checked to be
    held). ``started_s`` is the time from power-on to the first reading; None: not known, and all times then count from
    the first reading, which a check says.

    One or two exponentials, a slow linear drift and, where the temperature moved beside a straight line, kHz/K times
    the temperature freed of its thermometer's noise. A second exponential is taken when the readings make it about 20
    times as probable as one alone (averaged over all constants: amplitude even within the range of the log, time
    constants even in their logarithm, in order and apart). The noise is white with a random walk (``walk.py``), both
    told by the log: the u of the result is not that of so many independent readings. It is scaled up when the stated u
    of a reading is larger than the jitter found.

    Raises ``ReadingsError`` for what ``log_of`` refuses and for a log that shows no warm-up, or none beside the
    temperature.
    """
    if started_s is not None and not (np.isfinite(started_s) and started_s >= 0):
        raise AotfLabError(
            "time from power-on to the first reading (s)", found=started_s, allowed="zero or more",
            cure="leave it out when it is not known",
        )  # fmt: skip
    log = log_of(as_readings(readings), FEWEST, "the law of a warm-up")
    if np.ptp(log.frequency_mhz) == 0.0:
        raise _no_warm_up(log, f"{log.frequency_mhz[0]:.6f} MHz in every row")
    time_s = log.time_s - log.time_s[0]
    temperature = None if log.temperature_c is None else smooth_temperature(time_s, log.temperature_c)
    terms = Terms(time_s, log.frequency_mhz, _columns(time_s, temperature))
    rivals = _rivals(terms)
    if rivals.gained[0] < CLEARLY:
        fit = rivals.fits[1]
        found = f"{1e3 * fit.values[-2]:.3g} +- {1e3 * fit.covariance[-2, -2] ** 0.5:.2g} kHz of it"
        without = None if temperature is None else _rivals(replace(terms, columns=_columns(time_s, None)))
        taken = without is not None and without.gained[0] >= CLEARLY
        raise _no_warm_up(log, found, _TAKEN if taken else _WARM)
    count = 2 if rivals.gained[1] >= rivals.limit else 1
    return _assembled(log, terms, temperature, started_s, rivals, count)


def _columns(time_s: FloatArray, temperature: FloatArray | None) -> FloatArray:
    columns = [np.ones_like(time_s), (time_s - time_s[-1]) / 3600.0]
    return np.stack(columns if temperature is None else [*columns, temperature - temperature.mean()], axis=1)


def _rivals(terms: Terms) -> Rivals:
    """Return the fits with 0, 1 and 2 exponentials, and how much more probable each is than the one before."""
    fits = tuple(fit_exponentials(terms, count) for count in range(3))
    one, more = terms.room(1), terms.room(2) - terms.room(1)
    gained = (fits[1].evidence - fits[0].evidence - one, fits[2].evidence - fits[1].evidence - more)
    limit = RATHER + 0.5 * float(np.sum(np.log(terms.widths(2)))) - more
    return Rivals(fits, gained, limit)


def _assembled(
    log: Log, terms: Terms, temperature: FloatArray | None, started_s: float | None, rivals: Rivals, count: int
) -> WarmUp:
    found = rivals.fits[count]
    stated = log.u_frequency_mhz
    scale = max(1.0, stated / found.jitter) if np.isfinite(stated) else 1.0
    covariance = found.covariance * scale**2
    scatter = scatter_variables(covariance, SCATTER)
    numbers = [float(v) + z for v, z in zip(found.values, scatter, strict=True)]
    level, drift, *rest = numbers
    per_k = rest.pop(0) if temperature is not None else None
    first, logs = rest[:count], rest[count:]
    taus = tuple(umath.exp(x) for x in logs)
    shifts = tuple(a * umath.exp((started_s or 0.0) / tau) for a, tau in zip(first, taus, strict=True))
    final = level
    for error in log.readings.common_errors("frequency_mhz"):
        final = error.applied_to(final)
    worth = len(log) * float(found.white.covariance[0, 0] / covariance[0, 0])
    names = ["settled frequency (MHz)", "slow drift (MHz/h)"] + (["temperature (MHz/K)"] if per_k is not None else [])
    names += [f"amplitude {k + 1} at the first reading (MHz)" for k in range(count)]
    names += [f"time constant {k + 1} (s)" for k in range(count)]
    parameters = dict(zip(names, [*numbers[: len(names) - count], *taus], strict=True))
    fit = _as_fit(found, parameters, covariance, stated)
    checks = warm_up_checks(log, terms, rivals, count, fit, temperature, started_s, worth, found)
    return WarmUp(
        log, fit.with_checks(*checks), started_s, final, shifts, taus, drift, per_k,
        None if temperature is None else float(temperature.mean()), temperature,
        max(found.jitter, stated) if np.isfinite(stated) else found.jitter, found.walk, min(worth, float(len(log))),
    )  # fmt: skip


def _as_fit(found: WalkFit, parameters: dict[str, UFloat], covariance: FloatArray, stated: float) -> Fit:
    p = len(found.values)
    slope = np.ones(p)
    for k, name in enumerate(parameters):
        slope[k] = parameters[name].n if name.startswith("time constant") else 1.0
    chi2 = found.dof * ((found.jitter / stated) ** 2 if np.isfinite(stated) else 1.0)
    return Fit(
        parameters,
        np.array([v.n for v in parameters.values()]),
        covariance * np.outer(slope, slope),
        float(chi2),
        found.dof,
        1.0,
        False,
        found.best.residual / found.best.variance**0.5,
        found.best.leverage,
        (),
        found.jitter,
    )


def _no_warm_up(log: Log, found: str, cure: str = _WARM) -> ReadingsError:
    return ReadingsError(
        "no warm-up is to be seen in this log",
        where=", ".join(s.name for s in log.readings.sources) or log.place(0),
        found=Said(found),
        allowed=f"an exponential that the readings make {np.exp(CLEARLY):.0f} times as probable as none",
        cure=cure,
    )
