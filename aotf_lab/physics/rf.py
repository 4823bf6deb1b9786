"""dBm, watts and volts; reflection at the crystal's connector.

Definitions only: P = U^2 / R, 0 dBm = 1 mW, |gamma| = 10^(-RL/20), VSWR = (1 + |gamma|) / (1 - |gamma|).
Functions without a logarithm also take numbers with uncertainty and give them back.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.physics.domain import Values, as_values, require

__all__ = [
    "attenuation_factor",
    "dbm_to_watt",
    "mismatch_factor_limits",
    "mismatch_loss_db",
    "mismatch_u",
    "reflection_from_return_loss",
    "return_loss_from_vswr",
    "rms_to_watt",
    "single_pole_factor",
    "vpp_to_rms",
    "vswr_from_return_loss",
    "watt_to_dbm",
    "watt_to_rms",
]


def dbm_to_watt(level_dbm: ArrayLike) -> Values:
    """Return the power (W) of a level in dBm.

    >>> float(dbm_to_watt(30))
    1.0
    """
    return 1e-3 * 10.0 ** (np.asarray(level_dbm) / 10.0)


def watt_to_dbm(rf_power_w: ArrayLike) -> Values:
    """Return the level (dBm) of a power in W; raises ``AotfLabError`` for a power of zero or below.

    >>> float(watt_to_dbm(0.5).round(2))
    26.99
    """
    powers = as_values(rf_power_w)
    require(powers > 0, powers, "power without a level in dBm", allowed="above 0 W", cure="leave out the zero reading")
    return 10.0 * np.log10(powers) + 30.0


def rms_to_watt(rf_level_vrms: ArrayLike, load_ohm: ArrayLike = 50.0) -> Values:
    """Return the power (W) that a voltage (V rms) puts into a resistive load (ohm).

    >>> round(float(rms_to_watt(6.2)), 3)
    0.769
    """
    power: Values = np.asarray(rf_level_vrms) ** 2 / np.asarray(load_ohm)
    return power


def watt_to_rms(rf_power_w: ArrayLike, load_ohm: ArrayLike = 50.0) -> Values:
    """Return the voltage (V rms) across a resistive load (ohm) that takes a power (W, not negative).

    >>> round(float(watt_to_rms(1.0)), 4)
    7.0711
    """
    level: Values = (np.asarray(rf_power_w) * np.asarray(load_ohm)) ** 0.5
    return level


def vpp_to_rms(level_vpp: ArrayLike) -> Values:
    """Return the rms value (V) of a pure sine from its peak-to-peak value (V).

    >>> float(vpp_to_rms(20.0).round(4))
    7.0711
    """
    level: Values = np.asarray(level_vpp) / 8.0**0.5
    return level


def attenuation_factor(db: ArrayLike) -> Values:
    """Return the factor by which the *power* before an attenuator of ``db`` exceeds that behind it.

    The voltage factor is its square root.

    >>> float(attenuation_factor(30.0))
    1000.0
    """
    return 10.0 ** (np.asarray(db) / 10.0)


def _checked_return_loss(return_loss_db: ArrayLike) -> Values:
    losses = as_values(return_loss_db)
    require(
        losses > 0, losses, "return loss that no passive load has", allowed="above 0 dB",
        cure="give it as a positive number of dB (S11 in dB with its sign turned)",
    )  # fmt: skip
    return losses


def vswr_from_return_loss(return_loss_db: ArrayLike) -> Values:
    """Return the VSWR (1 or more) of a return loss in dB; raises ``AotfLabError`` for 0 dB or below.

    >>> float(vswr_from_return_loss(9.54).round(2))
    2.0
    """
    gamma = 10.0 ** (-_checked_return_loss(return_loss_db) / 20.0)
    return (1.0 + gamma) / (1.0 - gamma)


def return_loss_from_vswr(vswr: ArrayLike) -> Values:
    """Return the return loss (dB) of a VSWR; raises ``AotfLabError`` for a VSWR of 1 or below.

    >>> float(return_loss_from_vswr(2.0).round(2))
    9.54
    """
    ratios = as_values(vswr)
    require(
        ratios > 1, ratios, "VSWR without a return loss", allowed="above 1",
        cure="give the ratio of largest to smallest voltage on the line",
    )  # fmt: skip
    return -20.0 * np.log10((ratios - 1.0) / (ratios + 1.0))


def mismatch_loss_db(return_loss_db: ArrayLike) -> Values:
    """Return the loss (dB) of power delivered to a load that reflects with ``return_loss_db``.

    -10 log10(1 - |gamma|^2). Raises ``AotfLabError`` for a return loss of 0 dB or below.

    >>> float(mismatch_loss_db(9.542).round(2))
    0.51
    """
    return -10.0 * np.log10(1.0 - 10.0 ** (-_checked_return_loss(return_loss_db) / 10.0))


def reflection_from_return_loss(return_loss_db: ArrayLike) -> Values:
    """Return the size of the reflection, |gamma| (0 to 1), of a return loss in dB; raises as ``mismatch_loss_db``.

    >>> float(reflection_from_return_loss(20.0))
    0.1
    """
    return 10.0 ** (-_checked_return_loss(return_loss_db) / 20.0)


def mismatch_factor_limits(gamma_1: ArrayLike, gamma_2: ArrayLike) -> tuple[Values, Values]:
    """Return between which factors the power of a wave lies that goes to and fro between two reflections.

    1 / |1 - gamma_1 gamma_2|^2 over all phases: 1 / (1 + |gamma_1| |gamma_2|)^2 to 1 / (1 - |gamma_1| |gamma_2|)^2.
    Textbook result for a source and a load on one line. Raises ``AotfLabError`` for a reflection outside 0 to 1.

    >>> [round(float(f), 3) for f in mismatch_factor_limits(0.1, 0.3)]
    [0.943, 1.063]
    """
    product = _checked_reflection(gamma_1) * _checked_reflection(gamma_2)
    return (1.0 + product) ** -2.0, (1.0 - product) ** -2.0


def mismatch_u(gamma_1: ArrayLike, gamma_2: ArrayLike) -> Values:
    """Return the relative standard uncertainty of power from two reflections whose phase nobody knows.

    2 |gamma_1| |gamma_2| / sqrt 2: the limits 1 +- 2 |gamma_1| |gamma_2| with the U-shaped distribution of a cosine
    of any phase. Source: Harris and Warner, IEE Proc. H 128, 35 (1981) (from memory). Raises ``AotfLabError`` for a
    reflection outside 0 to 1.

    >>> round(float(mismatch_u(0.1, 0.3)), 4)
    0.0424
    """
    u: Values = 2.0**0.5 * _checked_reflection(gamma_1) * _checked_reflection(gamma_2)
    return u


def _checked_reflection(gamma: ArrayLike) -> Values:
    sizes = as_values(gamma)
    require(
        (sizes >= 0) & (sizes < 1), sizes, "reflection that no passive port has", allowed="0 to below 1",
        cure="give its size as a ratio of voltages",
    )  # fmt: skip
    return sizes


def single_pole_factor(frequency_mhz: ArrayLike, bandwidth_mhz: float) -> Values:
    """Return by which factor more power there is than is seen through a single pole at ``bandwidth_mhz`` (-3 dB).

    1 + (f / B)^2, the definition of a single pole; volts fall by its square root.

    >>> float(single_pole_factor(200.0, 200.0))
    2.0
    """
    factor: Values = 1.0 + (np.asarray(frequency_mhz) / bandwidth_mhz) ** 2
    return factor
