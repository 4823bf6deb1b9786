"""From the volts of a trace to the power of the fundamental in the load, and to the shares of its harmonics."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from uncertainties import UFloat, ufloat, umath

from aotf_lab.driver.waveform.harmonic import Harmonic
from aotf_lab.physics.rf import single_pole_factor
from aotf_lab.reading.chain import fixed_factor, scale_errors
from aotf_lab.reading.instruments import Instruments

__all__ = ["bandwidth_loss", "fundamental_power", "harmonics_of"]


def bandwidth_loss(frequency_mhz: float, instruments: Instruments) -> float:
    """Return the factor by which the scope shows too little power at ``frequency_mhz``: a single pole, 1 if unknown."""
    bandwidth = instruments.scope.bandwidth_mhz
    return 1.0 if bandwidth is None else float(single_pole_factor(frequency_mhz, bandwidth))


def fundamental_power(amplitude_v: UFloat, frequency_mhz: float, instruments: Instruments) -> UFloat:
    """Return the power (W) of the fundamental in the load from its amplitude (V, zero to peak) at the scope.

    P = (A / sqrt 2 * probe * 10^(pad / 20))^2 / load * (1 + (f / bandwidth)^2), with the errors of the scale, which
    it shares with every level that is read off the same scope.
    """
    factor = fixed_factor(instruments) * bandwidth_loss(frequency_mhz, instruments)
    power = amplitude_v**2 / 2.0 / instruments.load_ohm * factor
    for error in scale_errors(instruments, np.array([frequency_mhz])):
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

    The cause "scope bandwidth" is the relative error of (f / bandwidth)^2 where a bandwidth is stated. Where none
    is, it is the power that the fundamental lost in an unknown fall, of which a harmonic loses order^2 as much.
    """
    cause = instruments.causes["scope bandwidth"]
    if instruments.scope.bandwidth_mhz is None:
        return 1.0 if cause is None else 1.0 + (order**2 - 1.0) * cause
    first, other = (bandwidth_loss(n * frequency_mhz, instruments) for n in (1, order))
    per_cause = (other - 1.0) / other - (first - 1.0) / first
    return other / first if cause is None else other / first * (1.0 + per_cause * cause)
