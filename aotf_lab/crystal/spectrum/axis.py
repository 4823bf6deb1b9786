"""Between frequency and wavelength: the tuning curve's slope, with its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from aotf_lab.crystal.tuning.common import indicated_value, true_value
from aotf_lab.crystal.tuning.curve import Tuning
from aotf_lab.estimation import FittedFunction
from aotf_lab.estimation.evaluate import require_inside
from aotf_lab.estimation.linear import linear, nominals
from aotf_lab.estimation.problem import FloatArray

__all__ = ["SpectralAxis"]

_STEP_NM = 0.05
_MARGIN = 0.3


@dataclass(frozen=True)
class SpectralAxis:
    """The axis of a spectrum: frequency to wavelength and the Jacobian, by one tuning curve."""

    tuning: Tuning

    def _slope(self, nm: FloatArray, *values: float) -> FloatArray:
        up, down = self.tuning.law(nm + _STEP_NM, *values), self.tuning.law(nm - _STEP_NM, *values)
        return np.asarray(np.abs(up - down) / (2 * _STEP_NM))

    def mhz_per_nm(self, wavelength_nm: Any) -> Any:
        """Return |df / d wavelength| (MHz/nm) at vacuum wavelengths (nm, ``ufloat``s): an object array (n,)."""
        return FittedFunction(self.tuning.fit, self._slope)(wavelength_nm)

    def wavelength_nm(self, frequency_mhz: NDArray[np.object_]) -> NDArray[np.object_]:
        """Return the vacuum wavelength (nm) of true frequencies (n,) in MHz: ``tuning.wavelength`` for many at once.

        Raises ``OutOfRangeError`` outside the tuning curve's range.
        """
        tuning = self.tuning
        indicated = indicated_value(tuning.readings.common_errors("frequency_mhz"), frequency_mhz)
        nominal = nominals(indicated)
        require_inside("frequency", nominal, *tuning.range_mhz, "MHz")
        nm, values = self.nominal_nm(nominal), tuning.fit.values
        for _ in range(3):
            nm = nm + (tuning.law(nm, *values) - nominal) / self._slope(nm, *values)
        curve, slope = FittedFunction(tuning.fit, tuning.law)(nm), self._slope(nm, *values)
        found = linear(nm, (1 / slope, curve), (-1 / slope, indicated))
        return np.asarray(true_value(tuning.readings.common_errors("wavelength_nm"), found))

    @cached_property
    def _grid(self) -> tuple[FloatArray, FloatArray]:
        """Indicated frequency (MHz, rising) and wavelength (nm), somewhat beyond the curve's range."""
        low, high = self.tuning.range_nm
        span = 1 / low - 1 / high
        nm = 1 / np.linspace(1 / high - _MARGIN * span, 1 / low + _MARGIN * span, 800)
        return self.tuning.law(nm, *self.tuning.fit.values), nm

    @cached_property
    def _spline(self) -> CubicSpline:
        return CubicSpline(*self._grid)

    def nominal_nm(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the plain vacuum wavelength (nm) of indicated frequencies (MHz), held at the ends of the grid."""
        f = self._grid[0]
        return np.asarray(self._spline(np.clip(frequency_mhz, f[0], f[-1])))

    def nominal_nm_per_mhz(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the plain |d wavelength / df| (nm/MHz) at indicated frequencies (MHz), any shape."""
        f = self._grid[0]
        return np.asarray(np.abs(self._spline(np.clip(frequency_mhz, f[0], f[-1]), 1)))
