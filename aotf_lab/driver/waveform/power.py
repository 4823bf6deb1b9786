"""From the volts of a trace to the power of the fundamental in the load, and to the shares of its harmonics."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from uncertainties import UFloat, ufloat, umath

from aotf_lab.driver.waveform.harmonic import Harmonic
from aotf_lab.estimation.causes import CommonError
from aotf_lab.physics.rf import attenuation_factor
from aotf_lab.reading.accuracy import shared
from aotf_lab.reading.instruments import POWER_SCALE_UNSTATED, Instruments
from aotf_lab.reading.scope import PER_DB

__all__ = ["bandwidth_loss", "fundamental_power", "harmonics_of", "scale_of_power"]


def bandwidth_loss(frequency_mhz: float, instruments: Instruments) -> float:
    """Return the factor by which the scope shows too little power at ``frequency_mhz``: a single pole, 1 if unknown."""
    bandwidth = instruments.scope.bandwidth_mhz
    return 1.0 if bandwidth is None else 1.0 + (frequency_mhz / bandwidth) ** 2


def scale_of_power(instruments: Instruments) -> tuple[CommonError, ...]:
    """Return the errors that every power from a trace shares with those from a level read off the same scope."""
    common = shared(instruments, "scope gain", "rf_power_w", sensitivity=2.0)
    common += shared(instruments, "pad", "rf_power_w", sensitivity=PER_DB)
    common += shared(instruments, "load", "rf_power_w", sensitivity=-1.0)
    common += () if instruments.scope.bandwidth_mhz else shared(instruments, "scope bandwidth", "rf_power_w")
    return common + shared(instruments, POWER_SCALE_UNSTATED, "rf_power_w")


def fundamental_power(amplitude_v: UFloat, frequency_mhz: float, instruments: Instruments) -> UFloat:
    """Return the power (W) of the fundamental in the load from its amplitude (V, zero to peak) at the scope.

    P = (A / sqrt 2 * probe * 10^(pad / 20))^2 / load * (1 + (f / bandwidth)^2), with the shared errors of the scale.
    """
    scope = instruments.scope
    probe = 1.0 if scope.probe is None else scope.probe
    factor = probe**2 * float(attenuation_factor(scope.pad_db or 0.0)) * bandwidth_loss(frequency_mhz, instruments)
    power = amplitude_v**2 / 2.0 / instruments.load_ohm * factor
    for error in scale_of_power(instruments):
        power = error.applied_to(power)
    return power


def harmonics_of(
    orders: Sequence[int], pairs: Sequence[tuple[UFloat, UFloat]], frequency_mhz: float, instruments: Instruments
) -> tuple[UFloat, tuple[Harmonic, ...]]:
    """Return the amplitude (V) of the fundamental as shown, and the harmonics.

    ``pairs`` are the amplitudes (V) of cosine and sine of each of ``orders``, 1 first. The expectation of a^2 + b^2
    is too large by the variances of both, which come off; their own scatter is added to that of the linear terms.
    """
    amplitude = umath.hypot(*pairs[0])
    start = float(np.arctan2(pairs[0][1].n, pairs[0][0].n))
    found = []
    for order, (a, b) in list(zip(orders, pairs, strict=True))[1:]:
        floor = (a.s**2 + b.s**2) / amplitude.n**2
        shown = (a * a + b * b) / amplitude**2 - floor
        spread = (2.0 * (a.s**4 + b.s**4)) ** 0.5 / amplitude.n**2
        shown = shown + ufloat(0.0, spread, tag="scatter of the trace") if spread > 0 else shown
        factor = _response_ratio(order, frequency_mhz, instruments)
        phase = float(np.mod(np.arctan2(b.n, a.n) - order * start, 2.0 * np.pi))
        found.append(Harmonic(order, shown * factor, shown, phase, floor * getattr(factor, "n", factor)))
    return amplitude, tuple(found)


def _response_ratio(order: int, frequency_mhz: float, instruments: Instruments) -> UFloat | float:
    """Return the factor from the share of power shown to that in the load, with the doubt about the bandwidth.

    A stated bandwidth is taken as good to the size of the cause "scope bandwidth" (10 %, common practice, no
    source). Where none is stated, that cause is the power that the fundamental lost in an unknown fall, and a
    single pole makes a harmonic lose order^2 as much.
    """
    cause = instruments.causes["scope bandwidth"]
    bandwidth = instruments.scope.bandwidth_mhz
    if bandwidth is None:
        return 1.0 if cause is None else 1.0 + (order**2 - 1.0) * cause
    first, other = (bandwidth_loss(n * frequency_mhz, instruments) for n in (1, order))
    ratio = other / first
    per_bandwidth = -2.0 * ((other - 1.0) / other - (first - 1.0) / first)
    return ratio if cause is None else ratio * (1.0 + per_bandwidth * cause)
