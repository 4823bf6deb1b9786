"""From a trace to the wave that it shows."""

from __future__ import annotations

import numpy as np
import pandas as pd
from uncertainties import UFloat, correlated_values, ufloat, umath

from aotf_lab.driver.waveform.checks import trace_checks, withheld_by
from aotf_lab.driver.waveform.harmonic import Harmonic
from aotf_lab.driver.waveform.harmonics import HarmonicFit, first_frequency, fit_harmonics
from aotf_lab.driver.waveform.power import bandwidth_loss, fundamental_power
from aotf_lab.driver.waveform.sampling import Sampling, folded, sampling
from aotf_lab.driver.waveform.steps import clipped, step_v, u_rounding
from aotf_lab.driver.waveform.waveform import Waveform
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.instruments import UNSTATED, Instruments
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["HIGHEST_ORDER", "fit_waveform"]

HIGHEST_ORDER = 5
FEWEST_SAMPLES = 64
FEWEST_PERIODS = 3.0
_RESOLVED = 3.0
"""Two frequencies closer than this many over the length of the trace cannot be told apart."""


def fit_waveform(
    readings: Readings | pd.DataFrame,
    instruments: Instruments | None = None,
    *,
    counter_mhz: UFloat | float | None = None,
) -> Waveform:
    """Fit a sine with its harmonics 2 to 5 to a trace: columns ``time_s`` (rising) and ``signal_v``, one row a sample.

    ``counter_mhz`` is what a counter showed at the same setting: it tells an alias from the true frequency. The
    scope's gain, the pad, the probe, the load and the bandwidth come from ``instruments``. Twenty periods or more
    are asked for by a check; clipping, uneven time, too few samples in a period and an alias each fail a check
    that names rows, and the power is withheld where they make it wrong.

    Raises ``ReadingsError`` for a trace of fewer than 64 samples or three periods, for times that do not rise, for
    one that does not move, and ``FitError`` when the fit does not settle. Method: IEEE Std 1057.
    """
    wrapped = as_readings(readings)
    bench = instruments or UNSTATED
    time_us, signal = _samples(wrapped)
    grid = sampling(time_us)
    first = first_frequency(_evenly(grid), signal)
    orders = _orders(first, grid, time_us)
    wave = fit_harmonics(grid.time_us, signal, orders, first)
    _refuse_few_periods(wrapped, wave, time_us)
    cut = clipped(grid.time_us, signal, orders, float(wave.values[0]))
    checks = trace_checks(wrapped, grid, wave, cut, counter_mhz)
    withheld = withheld_by(checks)
    seen, *amplitudes = _with_rounding(wave, step_v(signal))
    alias = any(c.name == "alias" and not c.passed for c in checks)
    frequency = None if alias else _true_frequency(seen, bench)
    amplitude, harmonics = _harmonics(wave, amplitudes, bench)
    power = None if withheld else fundamental_power(amplitude, float(wave.values[0]), bench)
    names = ["frequency (MHz)", "offset (V)"]
    names += [f"{part} of order {order} (V)" for order in wave.orders for part in ("cosine", "sine")]
    fit = Fit(
        dict(zip(names, (seen, *amplitudes), strict=True)), wave.values, wave.covariance,
        float(wave.dof), float(wave.dof), 1.0, False, wave.residuals / wave.noise,
        np.full(signal.size, len(names) / signal.size), checks, wave.noise,
    )  # fmt: skip
    span = float(time_us[-1] - time_us[0])
    return Waveform(
        wrapped, fit, wave, frequency, amplitude, amplitudes[0], harmonics, wave.noise, power, withheld,
        span * float(wave.values[0]), 1.0 / (float(wave.values[0]) * grid.interval_us),
    )  # fmt: skip


def _samples(readings: Readings) -> tuple[FloatArray, FloatArray]:
    readings.require("time_s", "signal_v")
    time_us = 1e6 * readings.table["time_s"].to_numpy(dtype=float)
    signal = readings.table["signal_v"].to_numpy(dtype=float)
    if signal.size < FEWEST_SAMPLES:
        raise ReadingsError(
            "too few samples in a trace", where=readings.place(0), found=signal.size,
            allowed=f"at least {FEWEST_SAMPLES}", cure="save a longer trace",
        )  # fmt: skip
    still = np.flatnonzero(~(np.diff(time_us) > 0))
    backward = still[np.diff(time_us)[still] < 0]
    if backward.size or time_us[-1] <= time_us[0]:
        row = int(backward[0]) + 1 if backward.size else 1
        raise ReadingsError(
            "time that does not rise along the trace", where=readings.place(row), found=Said(f"{time_us[row]:.9g} us"),
            allowed="one sample after the other", cure="save the trace again, or the rows in the order of time",
        )  # fmt: skip
    if np.ptp(signal) == 0.0:
        raise ReadingsError(
            "a trace that does not move", where=readings.place(0), found=float(signal[0]),
            allowed="a wave of at least some steps of the scope", cure="check channel, coupling and vertical range",
        )  # fmt: skip
    return time_us, signal


def _evenly(grid: Sampling) -> FloatArray:
    """Return an even grid for the spectrum; samples off it blur the line a little, which the fit mends."""
    return grid.time_us[0] + grid.interval_us * np.arange(grid.time_us.size)


def _orders(first_mhz: float, grid: Sampling, time_us: FloatArray) -> tuple[int, ...]:
    """Return the orders that the sampling can tell apart from each other and from the offset."""
    least = _RESOLVED / float(time_us[-1] - time_us[0])
    places, orders = [0.0], []
    for order in range(1, HIGHEST_ORDER + 1):
        place = folded(order * first_mhz, grid.rate_mhz)
        near_edge = abs(place - grid.rate_mhz / 2.0) < least
        if order == 1 or (not near_edge and all(abs(place - other) > least for other in places)):
            orders.append(order)
            places.append(place)
    return tuple(orders)


def _refuse_few_periods(readings: Readings, wave: HarmonicFit, time_us: FloatArray) -> None:
    periods = float(time_us[-1] - time_us[0]) * float(wave.values[0])
    if periods < FEWEST_PERIODS:
        raise ReadingsError(
            "too few periods in the trace", where=readings.place(0), found=Said(f"{periods:.2g} periods"),
            allowed=f"at least {FEWEST_PERIODS:g}, better 20", cure="save a trace with a slower time base",
        )  # fmt: skip


def _with_rounding(wave: HarmonicFit, step: float) -> tuple[UFloat, ...]:
    """Return the fitted numbers, correlated; rounding to the scope's steps widens every amplitude."""
    fundamental = float(np.hypot(wave.values[2], wave.values[3]))
    rounding = u_rounding(fundamental, wave.noise, step)
    covariance = wave.covariance + np.diag(np.r_[0.0, np.full(wave.values.size - 1, rounding**2)])
    return tuple(correlated_values(wave.values, covariance, tags=["noise of the trace"] * wave.values.size))


def _true_frequency(seen: UFloat, bench: Instruments) -> UFloat:
    base = bench.causes["scope time base"]
    return seen if base is None else seen * (1.0 + base)


def _harmonics(wave: HarmonicFit, numbers: list[UFloat], bench: Instruments) -> tuple[UFloat, tuple[Harmonic, ...]]:
    """Return the amplitude of the fundamental as shown, and each harmonic's share with the bandwidth taken out."""
    pairs = {order: (numbers[1 + 2 * k], numbers[2 + 2 * k]) for k, order in enumerate(wave.orders)}
    amplitude = umath.hypot(*pairs[1])
    start = float(np.arctan2(pairs[1][1].n, pairs[1][0].n))
    frequency = float(wave.values[0])
    found = []
    for order, (a, b) in pairs.items():
        if order == 1:
            continue
        lost = bandwidth_loss(order * frequency, bench) / bandwidth_loss(frequency, bench)
        # The expectation of a^2 + b^2 is too large by the noise of both.
        share = (a * a + b * b - (a.s**2 + b.s**2)) / amplitude**2 * lost
        floor = (a.s**2 + b.s**2) / amplitude.n**2 * lost
        widened = share if share.s > floor else ufloat(share.n, floor, tag="noise of the trace")
        phase = float(np.arctan2(b.n, a.n)) - order * start
        found.append(Harmonic(order, widened, float(np.mod(phase, 2.0 * np.pi))))
    return amplitude, tuple(found)
