"""The most light that a line may give at a frequency, when the places of its nulls are not known.

Far from a peak the detuning is D = rate (f - peak), times what the lean makes of it. It is uncertain by the peak, the
rate and the lean, and by two things that no scan shows:

- The lean's form. A scan sees it within the main lobe; D (1 - skew tanh D) goes on as D (1 -+ skew), other forms reach
  as far only later, so that up to 1.5 times the fitted lean may be met (fitted to passbands that lean as
  D (1 - skew D / (1 + |D|)) and D (1 - skew tanh(D/2))).
- The bend of the mismatch. With the sound's direction fixed the mismatch is nearly a quadratic in the frequency with
  the roots f_1 (the line's) and f_2 (the other crossing of the index surface, on the other side of zero), so that D
  goes as (f - f_1) (1 - (f - f_1)/(f_2 - f_1)). By exact phase matching (f_1 - f_2) / f_1 is 8 for incidences of 10 to
  16 deg; a bend of 0.2 |f - f_1| / f_1 is allowed for.

The bound takes the least |D| that these leave open, and from there on the highest lobe that is still to come.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.sidelobes import from_here_on

__all__ = ["COVER", "Spread", "highest", "least_detuning"]

COVER = 2.0
"""How many standard uncertainties each unknown may be off."""

_FORM, _FORM_SHIFT, _BEND = 1.5, 0.17, 0.2
"""How much larger the lean may be outside than fitted; by how much of skew times FWHM another form of lean shifts the
centre; the mismatch's bend per relative distance."""

_FULL = (np.pi / 2) ** 2


@dataclass(frozen=True)
class Spread:
    """Value and standard uncertainty of what the detuning hangs on: peak (MHz), rate (rad/MHz), skew."""

    peak_mhz: tuple[float, float]
    rate_per_mhz: tuple[float, float]
    skew: tuple[float, float]


def least_detuning(frequency_mhz: FloatArray, spread: Spread) -> FloatArray:
    """Return the least |D| (rad) that is possible at ``frequency_mhz`` (any shape)."""
    (peak, u_peak), (rate, u_rate), (skew, u_skew) = spread.peak_mhz, spread.rate_per_mhz, spread.skew
    most_lean = _FORM * abs(skew) + COVER * u_skew
    away = np.asarray(frequency_mhz, dtype=float) - peak
    shift = COVER * u_peak + _FORM_SHIFT * most_lean * 2.783 / rate
    distance = np.maximum(np.abs(away) - shift, 0.0)
    slow = np.maximum(rate - COVER * u_rate, 0.2 * rate) * distance
    lean = np.sign(away) * skew
    toward = lean * np.where(lean > 0, _FORM, slow / (1.0 + slow)) + COVER * u_skew * slow / (0.5 + slow)
    bend = _BEND * np.minimum(np.abs(away) / peak, 1.0)
    return np.asarray(slow * np.clip(1.0 - toward, 0.2, 2.0) * np.clip(1.0 - bend, 0.2, 1.0))


def highest(detuning: FloatArray, drive: FloatArray, u_drive: float) -> FloatArray:
    """Return the largest q^2 (sin s'/s')^2 of all s' >= s with s^2 = q^2 + D^2, as far as the drive is known.

    ``drive`` = P / P_sat broadcasts with the least ``detuning`` (rad); ``u_drive`` is its relative uncertainty. In tune
    the light is greatest at full drive, which counts where it may be met.
    """
    low, high = drive * max(1.0 - COVER * u_drive, 0.0), drive * (1.0 + COVER * u_drive)
    found = [_lobes(detuning, ratio) for ratio in (low, np.clip(1.0, low, high), high)]
    return np.asarray(np.maximum(np.maximum(*found[:2]), found[2]))


def _lobes(detuning: FloatArray, drive: FloatArray) -> FloatArray:
    square = _FULL * np.maximum(drive, 0.0)
    return np.asarray(square * from_here_on(np.sqrt(square + detuning**2)))
