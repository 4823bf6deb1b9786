"""The amplifier of the invented bench, and what the scope shows of it behind the pad."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.domain import Values, as_values
from aotf_lab.simulate.truth import SKERRY, AmplifierTruth, BenchTruth, InstrumentTruth

__all__ = ["level_readings", "scope_level", "scope_swing", "supply_current", "supply_for", "true_rf_power"]

_SUPPLY_RANGE_V = (3.2, 15.0)
_VOLTS_PER_DIVISION = np.array([m * 10.0**e for e in range(-3, 1) for m in (1.0, 2.0, 5.0)])
_DIVISIONS = 8
_SCREENS_AVERAGED = 8
_WAVE = 512
"""Samples of one period in which a wave's swing is found."""


def true_rf_power(supply_v: ArrayLike, frequency_mhz: ArrayLike, truth: AmplifierTruth = SKERRY.amplifier) -> Values:
    """Return the true forward power (W) at the fundamental; supply in V, frequency in MHz, they broadcast.

    >>> round(float(true_rf_power(8.0, 58.0)), 3)
    0.304
    """
    frequency = as_values(frequency_mhz)
    bow_db = truth.bow_db * ((frequency - truth.bow_centre_mhz) / truth.bow_span_mhz) ** 2
    loss_db = bow_db + truth.ripple_db * np.sin(frequency / truth.ripple_mhz)
    swing = np.maximum(as_values(supply_v) - truth.threshold_v, 0.0)
    linear = truth.gain_w_per_v2 * swing**2 * 10.0 ** (-loss_db / 10.0)
    soft = (linear / truth.saturation_w) ** truth.saturation_sharpness
    return as_values(linear / (1.0 + soft) ** (1.0 / truth.saturation_sharpness))


def supply_for(rf_power_w: float, frequency_mhz: float, truth: AmplifierTruth = SKERRY.amplifier) -> float:
    """Return the supply (V) that makes a true forward power (W); raises ``AotfLabError`` beyond the amplifier's reach.

    >>> round(supply_for(0.304, 58.0), 1)
    8.0
    """
    low, high = (float(true_rf_power(v, frequency_mhz, truth)) for v in _SUPPLY_RANGE_V)
    if not low <= rf_power_w <= high:
        raise AotfLabError(
            f"the simulated amplifier cannot give this power (W) at {frequency_mhz:g} MHz", found=rf_power_w,
            allowed=f"{low:.3g} to {high:.3g} W", cure="ask for a power in this range",
        )  # fmt: skip
    return float(brentq(lambda v: float(true_rf_power(v, frequency_mhz, truth)) - rf_power_w, *_SUPPLY_RANGE_V))


def scope_level(
    rng: np.random.Generator, rf_power_w: ArrayLike, frequency_mhz: ArrayLike, truth: BenchTruth = SKERRY
) -> Values:
    """Return the level (V rms) that the scope shows behind the pad for true forward powers (W) of the fundamental.

    It holds the harmonics, the fall of the scope's response, its gain error, noise, and the rounding of eight
    averaged screens to the converter's steps in the range that fits.
    """
    scope = truth.instruments
    power, frequency = as_values(rf_power_w), as_values(frequency_mhz)
    seen = power * _response(frequency, scope)
    for order, level_dbc in truth.amplifier.harmonics_dbc:
        seen = seen + power * 10.0 ** (level_dbc / 10.0) * _response(order * frequency, scope)
    return _shown(rng, np.sqrt(seen * scope.load_ohm * 10.0 ** (-scope.pad_db / 10.0)), scope)


def scope_swing(
    rng: np.random.Generator, rf_power_w: ArrayLike, frequency_mhz: ArrayLike, truth: BenchTruth = SKERRY
) -> Values:
    """Return the peak-to-peak volts (n,) that the scope shows for true forward powers (W) of the fundamental (n,).

    The harmonics add to the wave with their phases, each weakened and turned by the pole of the scope's response.
    """
    scope, amplifier = truth.instruments, truth.amplifier
    power, frequency = np.broadcast_arrays(np.atleast_1d(as_values(rf_power_w)), as_values(frequency_mhz))
    x = np.linspace(0.0, 2.0 * np.pi, _WAVE, endpoint=False)
    orders = (1, *(order for order, _ in amplifier.harmonics_dbc))
    levels = (0.0, *(dbc for _, dbc in amplifier.harmonics_dbc))
    wave = np.zeros((power.size, _WAVE))
    for order, dbc, phase in zip(orders, levels, (0.0, *amplifier.harmonics_rad), strict=False):
        ratio = (order * frequency / scope.scope_bandwidth_mhz)[:, None]
        size = 10.0 ** (dbc / 20.0) / np.sqrt(1.0 + ratio**2)
        wave = wave + size * np.cos(order * x - phase - np.arctan(ratio))
    amplitude_v = np.sqrt(2.0 * power * scope.load_ohm * 10.0 ** (-scope.pad_db / 10.0))
    return as_values(2.0**1.5 * _shown(rng, amplitude_v * np.ptp(wave, axis=1) / 2.0**1.5, scope))


def supply_current(rng: np.random.Generator, rf_power_w: ArrayLike, truth: AmplifierTruth = SKERRY.amplifier) -> Values:
    """Return the current (A) that the supply shows at true forward powers (W)."""
    power = as_values(rf_power_w)
    drawn = truth.quiescent_a + truth.current_a_per_root_w * np.sqrt(power)
    return as_values(drawn + truth.current_noise_a * rng.standard_normal(power.shape))


def _shown(rng: np.random.Generator, true_vrms: Values, scope: InstrumentTruth) -> Values:
    """Return volts rms behind the pad as the screen shows them: gain error, noise and rounding."""
    level = true_vrms * (1.0 + scope.scope_error)
    fitting = np.searchsorted(_VOLTS_PER_DIVISION, 2.0**0.5 * level / (_DIVISIONS / 2))
    step_v = _VOLTS_PER_DIVISION[fitting] * _DIVISIONS / 2**scope.scope_bits
    u_rounding = step_v / (12.0 * _SCREENS_AVERAGED) ** 0.5
    noise, rounding = rng.standard_normal((2, *level.shape))
    return as_values(level * (1.0 + scope.scope_noise * noise) + u_rounding * rounding)


def _response(frequency_mhz: Values, scope: InstrumentTruth) -> Values:
    """Return the power response of a single pole."""
    return as_values(1.0 / (1.0 + (frequency_mhz / scope.scope_bandwidth_mhz) ** 2))


def level_readings(
    rng: np.random.Generator,
    supply_v: ArrayLike,
    frequency_mhz: ArrayLike,
    truth: BenchTruth = SKERRY,
    *,
    swing: bool = False,
) -> pd.DataFrame:
    """Return levels against supply (V) and frequency (MHz), which broadcast to one dimension.

    Columns ``supply_v`` (as set), ``frequency_mhz`` and ``rf_level_vrms`` as counter and scope show them; with
    ``swing`` the scope is read peak to peak (``rf_level_vpp``) and the supply's current noted (``supply_a``).
    """
    supply, frequency = np.broadcast_arrays(np.atleast_1d(as_values(supply_v)), as_values(frequency_mhz))
    jittered = frequency + rng.normal(0.0, truth.oscillator.jitter_mhz, frequency.shape)
    power = true_rf_power(supply, jittered, truth.amplifier)
    shown = jittered * (1.0 + truth.instruments.counter_error)
    if swing:
        volts, current = scope_swing(rng, power, jittered, truth), supply_current(rng, power, truth.amplifier)
        columns = {"supply_v": supply, "frequency_mhz": shown, "rf_level_vpp": volts, "supply_a": current}
        return pd.DataFrame(columns)
    level = scope_level(rng, power, jittered, truth)
    return pd.DataFrame({"supply_v": supply, "frequency_mhz": shown, "rf_level_vrms": level})
