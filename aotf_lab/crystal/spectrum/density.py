"""From indicated light to light per frequency: the main lobe's area, less what the sidelobes bring from elsewhere."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.crystal.spectrum.axis import SpectralAxis
from aotf_lab.crystal.spectrum.kernel import PassbandLaw
from aotf_lab.crystal.spectrum.local import integral_weights
from aotf_lab.estimation import new_cause
from aotf_lab.estimation.linear import linear, nominals
from aotf_lab.estimation.problem import FloatArray

__all__ = ["U_LOBES", "Stray", "light_per_mhz"]

U_LOBES = 0.05
"""Relative standard uncertainty of the sidelobes' light, one error for all of a spectrum (common practice, no source;
the same 5 % from which a scan's own check of its sidelobes speaks up)."""

_BEYOND = 15.0
"""How far beyond the scan, in FWHM, the density at its end is taken to go on."""

_U_BEYOND = 0.58
"""Its relative standard uncertainty: anything from none to twice as much."""

_ROUNDS = 12


@dataclass(frozen=True)
class Stray:
    """What the sidelobes show at each row (n,) in mW: of light within the scan, and of light beyond its ends."""

    inside_mw: FloatArray
    beyond_mw: FloatArray
    per_drive_mw: FloatArray

    @property
    def all_mw(self) -> FloatArray:
        """Both together (n,)."""
        return np.asarray(self.inside_mw + self.beyond_mw)


def light_per_mhz(
    indicated_mhz: FloatArray, light_mw: NDArray[np.object_], law: PassbandLaw, axis: SpectralAxis
) -> tuple[NDArray[np.object_], Stray]:
    """Return the indicated light per frequency (mW/MHz), ``ufloat``s (n,) at rising frequencies, and the stray light.

    The stray light is computed from the spectrum itself, again and again until it stands still: the sidelobes hold
    less than the main lobe, so it does. Its own noise, an average over many readings, is left out.
    """
    nm = axis.nominal_nm(indicated_mhz)
    area = law.area_mhz(indicated_mhz, nm)
    light, plain = nominals(light_mw), nominals(area)
    weights = integral_weights(indicated_mhz, float(indicated_mhz[0]), float(indicated_mhz[-1]))
    within = law.stray_of(indicated_mhz, indicated_mhz, nm) * weights
    low, high = _ends(indicated_mhz, law, axis)
    density = light / plain
    stray = Stray(0 * light, 0 * light, 0 * light)
    for _ in range(_ROUNDS):
        beyond = np.maximum(density[:3].mean(), 0.0) * low + np.maximum(density[-3:].mean(), 0.0) * high
        stray = Stray(within @ density, beyond, stray.per_drive_mw)
        density = (light - stray.all_mw) / plain
    step = 0.02
    more, less = (law.stray_of(indicated_mhz, indicated_mhz, nm, d) for d in (step, -step))
    stray = Stray(stray.inside_mw, stray.beyond_mw, ((more - less) * weights) @ density / (2 * step))
    doubts = ((-doubt / plain, cause) for doubt, cause in _doubts(stray, law))
    return linear(density, (1 / plain, light_mw), (-density / plain, area), *doubts), stray


def _ends(f: FloatArray, law: PassbandLaw, axis: SpectralAxis) -> tuple[FloatArray, FloatArray]:
    """Return what the sidelobes show (n,) of one mW/MHz below the lowest frequency, and above the highest."""
    sides = []
    for end, way in ((float(f[0]), -1.0), (float(f[-1]), 1.0)):
        reach = _BEYOND * float(law.nominal_fwhm_mhz(np.array([end]))[0])
        light = end + way * np.linspace(0.0, reach, 151)
        seen = law.stray_of(f, light, axis.nominal_nm(light))
        sides.append(np.asarray(np.trapezoid(seen, np.abs(light - end), axis=1)))
    return sides[0], sides[1]


def _doubts(stray: Stray, law: PassbandLaw) -> tuple[tuple[FloatArray, UFloat | float], ...]:
    """Return what is not known of the stray light: how much (n,) in mW goes with sidelobes, drive, light beyond."""
    form, edge = new_cause("form of the sidelobes", U_LOBES), new_cause("light beyond the scan", _U_BEYOND)
    return (stray.all_mw, form), (stray.beyond_mw, edge), (stray.per_drive_mw, law.drive)
