"""From a trace to the wave that it shows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from uncertainties import UFloat, correlated_values, ufloat

from aotf_lab.driver.waveform.alias import Place, known
from aotf_lab.driver.waveform.checks import spoilt_harmonics, trace_checks, withheld_by
from aotf_lab.driver.waveform.clipping import clipped
from aotf_lab.driver.waveform.harmonics import HarmonicFit, fit_harmonics
from aotf_lab.driver.waveform.orders import orders_apart
from aotf_lab.driver.waveform.power import fundamental_power, harmonics_of
from aotf_lab.driver.waveform.rest import rest_of
from aotf_lab.driver.waveform.samples import refuse_no_line, refuse_place, samples
from aotf_lab.driver.waveform.sampling import Sampling, sampling
from aotf_lab.driver.waveform.spectrum import Band, fundamental
from aotf_lab.driver.waveform.steps import distinct_phases, step_v, u_rounding
from aotf_lab.driver.waveform.waveform import Waveform
from aotf_lab.estimation.causes import new_cause
from aotf_lab.estimation.checks import Check
from aotf_lab.estimation.fit import Fit
from aotf_lab.reading.instruments import UNSTATED, Instruments
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["fit_waveform"]


def fit_waveform(
    readings: Readings | pd.DataFrame,
    instruments: Instruments | None = None,
    *,
    counter_mhz: UFloat | float | None = None,
    expected_mhz: Band | None = None,
) -> Waveform:
    """Fit a sine with its harmonics 2 to 5 to a trace: columns ``time_s`` (rising) and ``signal_v``, one row a sample.

    ``counter_mhz`` is what a counter showed at the same setting, ``expected_mhz`` the lowest and highest frequency
    that the oscillator makes: each tells an alias from the true frequency. The scope's gain, the pad, the probe, the
    load and the bandwidth come from ``instruments``. Twenty periods or more are asked for by a check; clipping,
    uneven time, too few samples in a period, a frequency that moves and an alias each fail a check that names rows
    and numbers, and the power is withheld where they make it wrong.

    Raises ``ReadingsError`` for a trace of fewer than 64 samples or three periods, with gaps, with times that fall,
    that does not move or holds noise only, and ``FitError`` when the fit does not settle. Method: IEEE Std 1057.
    """
    wrapped, bench, facts = as_readings(readings), instruments or UNSTATED, known(counter_mhz, expected_mhz)
    time_us, signal = samples(wrapped)
    grid = sampling(time_us)
    base = fundamental(signal, grid, facts.bands(grid))
    refuse_no_line(wrapped, base)
    refuse_place(wrapped, base.frequency_mhz, grid, facts)
    orders = orders_apart(base.frequency_mhz, grid)
    wave = fit_harmonics(grid.time_us, signal, orders.fitted, base.frequency_mhz)
    step = step_v(signal)
    cut = clipped(grid.time_us, signal, wave, step)
    rest = rest_of(wave, grid, step)
    asked, places = facts.asked(wave.frequency_mhz, grid)
    checks = (*trace_checks(wrapped, grid, base, wave, orders, cut, step, rest), *asked)
    wave = replace(wave, covariance=wave.covariance * rest.widening)
    wave.covariance[0, 0] += rest.u_moving_mhz**2
    seen, *amplitudes = _numbers(wave, grid, step)
    shown, *unfolded = _on_the_time_base(seen, places, grid, bench)
    alias = any(c.name in ("alias", "counter", "expected range") and not c.passed for c in asked)
    pairs = list(zip(amplitudes[1::2], amplitudes[2::2], strict=True))
    true_mhz = unfolded[0].n if len(unfolded) == 1 else wave.frequency_mhz
    amplitude, harmonics = harmonics_of(wave.orders, pairs, true_mhz, bench)
    withheld = withheld_by(checks)
    power = None if withheld else fundamental_power(amplitude, wave.frequency_mhz, bench)
    return Waveform(
        wrapped, _fit(wave, (seen, *amplitudes), checks), wave, grid, None if alias else shown, tuple(unfolded),
        amplitude, amplitudes[0], None if spoilt_harmonics(checks) else harmonics, wave.noise, power, withheld,
        () if cut is None else tuple(cut.rows.tolist()),
    )  # fmt: skip


def _numbers(wave: HarmonicFit, grid: Sampling, step: float) -> tuple[UFloat, ...]:
    """Return the fitted numbers, correlated; rounding to the scope's steps widens offset and amplitudes."""
    numbers = correlated_values(wave.values, wave.covariance, tags=["scatter of the trace"] * wave.values.size)
    # In step with the wave: the phases sampled drift by less than one step of the converter on the slope.
    tolerance = step / (2.0 * np.pi * wave.amplitude_v)
    phases = distinct_phases(wave.frequency_mhz * grid.interval_us, grid.time_us.size, tolerance) if step > 0 else 0
    rounding = u_rounding(wave.amplitude_v, wave.noise, step, phases)
    if rounding == 0.0:
        return tuple(numbers)
    tag = "rounding to the scope's steps"
    return (numbers[0], *(number + ufloat(0.0, rounding, tag=tag) for number in numbers[1:]))


def _on_the_time_base(seen: UFloat, places: tuple[Place, ...], grid: Sampling, bench: Instruments) -> list[UFloat]:
    """Return the frequency shown, and those that it may be an alias of, with the error of the scope's time base."""
    factor: UFloat | float = 1.0
    base = bench.causes["scope time base"]
    if base is not None:
        factor = factor + base
    if grid.u_interval > 0:
        factor = factor * (1.0 + new_cause("rounding of the time stamps", grid.u_interval))
    return [(k * grid.rate_mhz + sign * seen) * factor for k, sign in ((0, 1), *places)]


def _fit(wave: HarmonicFit, numbers: tuple[UFloat, ...], checks: tuple[Check, ...]) -> Fit:
    names = ["frequency (MHz)", "offset (V)"]
    names += [f"{part} of order {order} (V)" for order in wave.orders for part in ("cosine", "sine")]
    size = wave.residuals.size
    standardised = wave.residuals / wave.noise if wave.noise > 0 else np.zeros(size)
    return Fit(
        dict(zip(names, numbers, strict=True)), wave.values, wave.covariance, float(wave.dof), float(wave.dof), 1.0,
        False, standardised, np.full(size, len(names) / size), checks, wave.noise,
    )  # fmt: skip
