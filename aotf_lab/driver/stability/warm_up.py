"""The oscillator's warm-up: how far it still has to go at any time, and how long to wait."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np
from uncertainties import UFloat, covariance_matrix, umath

from aotf_lab.driver.stability.log import Log
from aotf_lab.errors import AotfLabError, ReadingsError, Said
from aotf_lab.estimation.evaluate import require_inside, split
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.numbers import as_array
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.reading.readings import Readings

__all__ = ["WarmUp"]

_PLACES = 300
_DRAWS = 4000
_AT_ONCE = 25
"""Places looked at together for the last one from which too much is left."""


@dataclass(frozen=True)
class WarmUp:
    """The law of a warm-up, made by ``fit_warm_up``.

    f = settled frequency + sum of amplitude exp(-t / time constant) + slow drift (t - end) + coefficient (T - mean T).
    Times count from power-on where ``started_s``, the time from power-on to the first reading, is stated; else from
    the first reading. ``shifts_mhz`` (k,) are the amplitudes there, shortest time constant first, and
    ``time_constants_s`` (k,) with them. ``jitter_mhz`` is the white standard deviation of one reading,
    ``walk_mhz`` that of the wander after one second (it grows as the root of time). Frequencies are true: the
    counter's time base is in them as one shared error.
    """

    log: Log = field(repr=False)
    fit: Fit = field(repr=False)
    started_s: float | None
    final_mhz: UFloat
    shifts_mhz: tuple[UFloat, ...]
    time_constants_s: tuple[UFloat, ...]
    slow_drift_mhz_per_h: UFloat
    temperature_mhz_per_k: UFloat | None
    mean_temperature_c: float | None
    temperature_c: FloatArray | None = field(repr=False)
    jitter_mhz: float
    walk_mhz: float
    worth: float

    @property
    def readings(self) -> Readings:
        """The readings that the law was fitted to."""
        return self.log.readings

    @property
    def time_constant_s(self) -> UFloat:
        """The longest time constant (s): the one that decides how long to wait."""
        return self.time_constants_s[-1]

    @property
    def drift_mhz(self) -> UFloat:
        """The whole warm-up (MHz) from time zero on: the sum of the amplitudes, above zero when the frequency falls."""
        return sum(self.shifts_mhz[1:], self.shifts_mhz[0])

    @property
    def range_s(self) -> tuple[float, float]:
        """The times of the first and the last reading (s)."""
        first = self.started_s or 0.0
        return first, first + float(np.ptp(self.log.time_s))

    def remaining_mhz(self, time_s: Any) -> Any:
        """Return how far the frequency is above the settled one by warm-up alone (MHz), scalar or array (n,).

        Raises ``OutOfRangeError`` outside the log.
        """
        nominal, _, scalar = split(time_s)
        require_inside("time since power-on", nominal, *self.range_s, "s")
        results = [
            sum(a * umath.exp(-t / tau) for a, tau in zip(self.shifts_mhz, self.time_constants_s, strict=True))
            for t in nominal.tolist()
        ]
        return results[0] if scalar else as_array(results)

    def frequency_at(self, time_s: Any) -> Any:
        """Return what the law gives (MHz) at the mean temperature of the log, scalar or array (n,).

        The level is that of the end of the log; the wander between then and ``time_s`` (``wander_mhz``) is not in it.
        Raises ``OutOfRangeError`` outside the log.
        """
        nominal, _, scalar = split(time_s)
        left = np.atleast_1d(np.asarray(self.remaining_mhz(nominal), dtype=object))
        hours = (nominal - self.range_s[1]) / 3600.0
        results = [self.final_mhz + r + float(h) * self.slow_drift_mhz_per_h for r, h in zip(left, hours, strict=True)]
        return results[0] if scalar else as_array(results)

    def wander_mhz(self, elapsed_s: float) -> float:
        """Return the standard uncertainty (MHz) that the random walk adds within ``elapsed_s`` after any moment.

        Raises ``AotfLabError`` below zero, or beyond the length of the log, in which nothing slower could be seen.
        """
        longest = float(np.ptp(self.log.time_s))
        if not 0 <= elapsed_s <= longest:
            raise AotfLabError(
                "time over which the wander is not known", found=Said(f"{elapsed_s:.6g} s"),
                allowed=f"0 to {longest:.6g} s, the length of the log", cure="log longer, or calibrate more often",
            )  # fmt: skip
        return float(self.walk_mhz * elapsed_s**0.5)

    def wait_s(self, share_of_passband: float, fwhm_mhz: float, confidence: float = 0.95) -> float:
        """Return the time (s) from which on the warm-up left stays below ``share_of_passband`` times ``fwhm_mhz``.

        This is an upper bound: with ``confidence`` what is really left is smaller from then on. The slow drift and the
        wander are no part of it, as no waiting ends them. Raises ``AotfLabError`` for a share, width or confidence
        without meaning, ``ReadingsError`` when the log is too short to promise it.
        """
        _require(0 < share_of_passband < 1, "share of the passband", share_of_passband, "between 0 and 1")
        _require(fwhm_mhz > 0, "width of the passband (MHz)", fwhm_mhz, "above zero")
        _require(0.5 <= confidence < 1, "confidence", confidence, "0.5 to below 1")
        limit = share_of_passband * fwhm_mhz
        times = np.linspace(*self.range_s, _PLACES)
        bound_at = self._bound(confidence)
        bound = np.zeros(0)
        while len(bound) < _PLACES and not np.any(bound > limit):
            last = _PLACES - len(bound)
            bound = np.concatenate([bound_at(times[max(0, last - _AT_ONCE) : last]), bound])
        above = np.flatnonzero(bound > limit)
        if len(above) == 0:
            return float(times[0])
        k = int(above[-1])
        times = times[-len(bound) :]
        if k == len(times) - 1:
            raise ReadingsError(
                "the log is too short to promise that little warm-up is left",
                where=", ".join(s.name for s in self.readings.sources),
                found=Said(f"up to {1e3 * float(bound[-1]):.3g} kHz left at its end, {self.range_s[1]:.6g} s"),
                allowed=f"{1e3 * limit:.3g} kHz, {share_of_passband:g} of {fwhm_mhz:g} MHz",
                cure="log longer, or allow a larger share",
            )  # fmt: skip
        return float(np.interp(-limit, -bound[k : k + 2], times[k : k + 2]))

    def _bound(self, confidence: float) -> Callable[[FloatArray], FloatArray]:
        """Return what gives the upper bound (n,) of the size of what is left at times (n,), each at ``confidence``.

        Quantiles of draws from the joint distribution of amplitudes and logarithms of time constants (JCGM 101:2008),
        Student t as the fit says. Half of the chance of error is kept for the doubt about the number of exponentials.
        """
        numbers = [*self.shifts_mhz, *(umath.log(tau) for tau in self.time_constants_s)]
        count = len(self.shifts_mhz)
        rng = np.random.default_rng(0)
        normal = rng.multivariate_normal([0.0] * 2 * count, np.array(covariance_matrix(numbers)), _DRAWS, method="eigh")
        wide = np.sqrt(self.fit.dof / rng.chisquare(self.fit.dof, (_DRAWS, 1)))
        draws = (np.array([v.n for v in numbers]) + wide * normal).T
        shifts, rates = draws[:count], np.exp(-np.clip(draws[count:], -50, 50))

        def bound(times: FloatArray) -> FloatArray:
            left = sum(a * np.exp(-times[:, None] * rate) for a, rate in zip(shifts, rates, strict=True))
            return np.asarray(np.quantile(np.abs(left), 0.5 + confidence / 2, axis=1))

        return bound

    def law_mhz(self, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the law (n,) at ``time_s`` (n,) and its u (n,) beside that of the settled frequency.

        It is that of ``frequency_at``, by derivatives for many times at once.
        """
        t = np.asarray(time_s, dtype=float)
        hours = (t - self.range_s[1]) / 3600.0
        pairs = [
            (a.n, tau.n, np.exp(-t / tau.n)) for a, tau in zip(self.shifts_mhz, self.time_constants_s, strict=True)
        ]
        slopes = np.array([*(e for _, _, e in pairs), *(a * e * t / tau**2 for a, tau, e in pairs), hours])
        numbers = [*self.shifts_mhz, *self.time_constants_s, self.slow_drift_mhz_per_h]
        variance = np.einsum("in,ij,jn->n", slopes, np.array(covariance_matrix(numbers)), slopes)
        left = np.sum([a * e for a, _, e in pairs], axis=0)
        return self.final_mhz.n + left + hours * self.slow_drift_mhz_per_h.n, np.sqrt(np.maximum(variance, 0.0))

    def by_temperature_mhz(self) -> FloatArray:
        """Return what its temperature made of each reading that was used (n,), in MHz; 0 where that is not known."""
        if self.temperature_mhz_per_k is None or self.temperature_c is None:
            return np.zeros(len(self.log))
        return np.asarray(self.temperature_mhz_per_k.n * (self.temperature_c - self.temperature_c.mean()))

    def explained_mhz(self) -> FloatArray:
        """Return what exponentials and temperature together make of each reading that was used (n,), in MHz."""
        pairs = zip(self.shifts_mhz, self.time_constants_s, strict=True)
        return np.asarray(sum(a.n * np.exp(-self.times_s / tau.n) for a, tau in pairs)) + self.by_temperature_mhz()

    @property
    def times_s(self) -> FloatArray:
        """The time (n,) of each reading that was used, counted as ``range_s``."""
        return np.asarray(self.log.time_s - self.log.time_s[0] + self.range_s[0])

    def plot(self, ax: Any = None) -> Any:
        """Draw the log, less the effect of its temperature, and the law with its band; return the Axes."""
        from aotf_lab.drawing.stability import plot_warm_up

        times = np.linspace(*self.range_s, 151)
        centre, u = self.law_mhz(times)
        half = self.fit.coverage_factor() * u
        return plot_warm_up(
            self.times_s, self.log.frequency_mhz - self.by_temperature_mhz(), times, centre,
            (centre - half, centre + half), self.final_mhz.n,
            "power-on" if self.started_s is not None else "the first reading", ax=ax,
        )  # fmt: skip

    def _lines(self) -> list[tuple[str, str]]:
        since = "power-on" if self.started_s is not None else "the first reading"
        lines = [("settled frequency", f"{self.final_mhz:.2uS} MHz")]
        for a, tau in zip(self.shifts_mhz, self.time_constants_s, strict=True):
            lines.append((f"warm-up from {since}", f"{1e3 * a:.2uS} kHz with a time constant of {tau / 60:.2uS} min"))
        lines.append(("slow drift", f"{1e3 * self.slow_drift_mhz_per_h:.2uS} kHz/h"))
        if self.temperature_mhz_per_k is not None:
            lines.append(("temperature", f"{1e3 * self.temperature_mhz_per_k:.2uS} kHz/K"))
        lines.append(("jitter of one reading", f"{1e3 * self.jitter_mhz:.2g} kHz"))
        lines.append(("wander", f"{1e3 * self.walk_mhz * 60:.2g} kHz in an hour, growing as the root of time"))
        return lines

    def __str__(self) -> str:
        head = f"Warm-up, {len(self.log)} readings over {np.ptp(self.log.time_s) / 60:.4g} min"
        lines = [f"{name} = {text}" for name, text in self._lines()]
        return text_lines([head, *lines, *map(str, self.fit.failed)])

    def _repr_html_(self) -> str:
        return f"<pre>{escape(str(self))}</pre>"


def _require(good: bool, what: str, found: float, allowed: str) -> None:
    if not good:
        raise AotfLabError(what, found=found, allowed=allowed, cure="state another")
