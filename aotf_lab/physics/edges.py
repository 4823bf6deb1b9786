"""How fast light follows sound: the edge that a front of sound makes as it crosses a Gaussian beam.

A front that moves at v lights the part of the beam that it has passed: at time t after it reached the beam's middle the
share erfc(-2 sqrt 2 v t / D) / 2, D the 1/e^2 diameter along the sound. That is a normal distribution in time of
standard deviation D / (4 v); from 10 to 90 % it takes 2 x 1.28155 / 4 = 0.6408 D/v. Sound that is modulated at f
gives light of depth exp(-(pi f D/v)^2 / 8), the Fourier transform of the same normal: half at sqrt(8 ln 2) / pi =
0.7496 v/D (the light is 3 dB down), 1/sqrt 2 at 0.5300 v/D (what a detector's volts call -3 dB).
Young & Yao, Proc. IEEE 69, 54 (1981), from memory; derived here, and held against numerical integration in the tests.

Where the front is sharp the edge has this form at any efficiency: each ray is lit by the sound at its own place, all or
none. Where the drive itself rises slowly each ray follows sin^2((pi/2) sqrt(P/P_sat)) instead of P.
A pole of time constant tau behind it (a detector, a scope) convolves the edge with exp(-t/tau)/tau: an exponentially
modified Gaussian, which is later by tau and leans. Adding rise times in quadrature is right for variances but not for
10 to 90 %: see ``rise_behind_pole``.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from aotf_lab.physics.coupled_waves import peak_efficiency
from aotf_lab.physics.domain import Values, as_values, require

__all__ = [
    "HALF_DEPTH_PER_TRANSIT",
    "RISE_PER_DEVIATION",
    "RISE_PER_POLE",
    "VOLTS_DOWN_PER_TRANSIT",
    "beam_depth",
    "depth_frequency_khz",
    "edge_behind_poles",
    "local_light",
    "pole_depth",
    "pole_of_bandwidth_us",
    "pole_of_rise_us",
    "rise_behind_pole",
    "transit_us",
]

RISE_PER_DEVIATION = 2.0 * float(special.ndtri(0.9))
"""From 10 to 90 % of a Gaussian edge, over its standard deviation: 2.5631."""
RISE_PER_POLE = math.log(9.0)
"""From 10 to 90 % of a single pole's step, over its time constant: 2.1972 (circuit theory)."""
HALF_DEPTH_PER_TRANSIT = math.sqrt(8.0 * math.log(2.0)) / math.pi
"""Frequency at which a Gaussian beam halves the depth of modulation, times D/v: 0.7496."""
VOLTS_DOWN_PER_TRANSIT = math.sqrt(4.0 * math.log(2.0)) / math.pi
"""Frequency at which the depth is 1/sqrt 2, times D/v: 0.5300."""
_APART = 1e-3
"""Poles closer than this, relatively, are parted by it about their mean: moves the edge by 1e-7 of a time constant."""


def transit_us(diameter_mm: ArrayLike, velocity_m_s: ArrayLike) -> Values:
    """Return the time (us) that sound needs across the 1/e^2 diameter (mm) of a beam.

    Raises ``AotfLabError`` for a diameter or a velocity not above zero.

    >>> round(float(transit_us(1.6, 643.4)), 3), round(RISE_PER_DEVIATION / 4 * float(transit_us(1.6, 643.4)), 3)
    (2.487, 1.593)
    """
    d, v = as_values(diameter_mm), as_values(velocity_m_s)
    require(d > 0, d, "diameter (mm) of a beam", allowed="above 0 mm", cure="give the 1/e^2 diameter")
    require(v > 0, v, "velocity (m/s) of sound", allowed="above 0 m/s", cure="give the slow shear wave's, say")
    return as_values(1e3 * d / v)


def pole_of_rise_us(rise_us: float) -> float:
    """Return the time constant (us) of a single pole that rises from 10 to 90 % in ``rise_us``."""
    return rise_us / RISE_PER_POLE


def pole_of_bandwidth_us(bandwidth_khz: float) -> float:
    """Return the time constant (us) of a single pole of -3 dB bandwidth ``bandwidth_khz``.

    >>> round(pole_of_bandwidth_us(180.0), 3)
    0.884
    """
    return 1e3 / (2.0 * math.pi * bandwidth_khz)


def _behind_one(t: Values, deviation: float, tau: float) -> Values:
    """Return the Gaussian edge behind one pole: Phi(t/s) - exp(s^2/(2 tau^2) - t/tau) Phi(t/s - s/tau)."""
    if tau <= 1e-4 * deviation:
        return as_values(special.ndtr((t - tau) / deviation))
    z = t / deviation - deviation / tau
    low = np.minimum(z, 0.0)
    tail = 0.5 * special.erfcx(-low / 2.0**0.5) * np.exp(-0.5 * (t / deviation) ** 2)
    power = np.where(z > 0, 0.5 * (deviation / tau) ** 2 - t / tau, 0.0)
    return as_values(special.ndtr(t / deviation) - np.where(z > 0, np.exp(power) * special.ndtr(z), tail))


def edge_behind_poles(time_us: ArrayLike, deviation_us: float, poles_us: tuple[float, ...] = ()) -> Values:
    """Return the course (0 to 1) of a Gaussian edge of standard deviation ``deviation_us``, half way at time 0, as it
    shows behind single poles of time constants ``poles_us``.

    Partial fractions: the sum over the poles of prod_j tau_i / (tau_i - tau_j) times the edge behind pole i alone.

    >>> [round(float(y), 3) for y in edge_behind_poles([-1.28155, 0.0, 1.28155], 1.0)]
    [0.1, 0.5, 0.9]
    """
    t = as_values(time_us)
    poles = sorted(p for p in poles_us if p > 0)
    if not poles:
        return as_values(special.ndtr(t / deviation_us))
    for k in range(1, len(poles)):
        if poles[k] - poles[k - 1] < _APART * poles[k]:
            middle = 0.5 * (poles[k] + poles[k - 1])
            poles[k - 1 : k + 1] = [middle * (1.0 - 0.5 * _APART), middle * (1.0 + 0.5 * _APART)]
    total = np.zeros_like(t)
    for i, tau in enumerate(poles):
        weight = math.prod(tau / (tau - other) for j, other in enumerate(poles) if j != i)
        total = total + weight * _behind_one(t, deviation_us, tau)
    return as_values(total)


def rise_behind_pole(rise_us: float, poles_us: tuple[float, ...]) -> float:
    """Return what a Gaussian edge of 10 to 90 % time ``rise_us`` shows behind single poles, exactly.

    Quadrature with the pole's own 10 to 90 % time gives 1.005, 1.118 and 1.414 in the example: up to 2.2 % short.

    >>> [round(rise_behind_pole(1.0, (r / RISE_PER_POLE,)), 3) for r in (0.1, 0.5, 1.0)]
    [1.007, 1.14, 1.446]
    """
    deviation = rise_us / RISE_PER_DEVIATION
    reach = 8.0 * deviation + 40.0 * sum(poles_us)

    def when(share: float) -> float:
        return float(
            optimize.brentq(lambda t: float(edge_behind_poles(t, deviation, poles_us)) - share, -8.0 * deviation, reach)
        )

    return when(0.9) - when(0.1)


def beam_depth(modulation_khz: ArrayLike, transit: ArrayLike) -> Values:
    """Return the depth of modulation, as a share of that at rest, of a Gaussian beam of transit time D/v (us).

    >>> [round(float(m), 4) for m in beam_depth([749.56, 530.02], 1.0)]
    [0.5, 0.7071]
    """
    return as_values(np.exp(-((np.pi * 1e-3 * as_values(modulation_khz) * as_values(transit)) ** 2) / 8.0))


def pole_depth(modulation_khz: ArrayLike, bandwidth_khz: ArrayLike) -> Values:
    """Return the depth that a single pole leaves: 1 / sqrt(1 + (f / B)^2) (circuit theory)."""
    return as_values(1.0 / np.hypot(1.0, as_values(modulation_khz) / as_values(bandwidth_khz)))


def depth_frequency_khz(depth: ArrayLike, transit: ArrayLike) -> Values:
    """Return the frequency (kHz) at which a Gaussian beam of transit time D/v (us) leaves ``depth`` (0 to 1).

    Raises ``AotfLabError`` for a depth outside 0 to 1.

    >>> round(float(depth_frequency_khz(0.5, 2.487)), 1)
    301.4
    """
    m = as_values(depth)
    require((m > 0) & (m <= 1), m, "depth of modulation", allowed="above 0, up to 1", cure="give 0.5 for half depth")
    return as_values(1e3 * np.sqrt(-8.0 * np.log(m)) / (np.pi * as_values(transit)))


def local_light(drive_share: ArrayLike, drive_ratio: float) -> Values:
    """Return light over its final value where the RF power stands at ``drive_share`` (0 to 1) of its final one.

    ``drive_ratio`` is the final P / P_sat: sin^2((pi/2) sqrt(share ratio)) / sin^2((pi/2) sqrt(ratio)). In weak drive
    it is the share itself. A drive that rises slowly looks faster in light: at full drive half the power gives 0.80.

    >>> round(float(local_light(0.5, 1.0)), 2), round(float(local_light(0.5, 0.01)), 2)
    (0.8, 0.5)
    """
    return as_values(peak_efficiency(as_values(drive_share) * drive_ratio) / peak_efficiency(drive_ratio))
