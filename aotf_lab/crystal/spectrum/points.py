"""The points of a spectrum: where each is, how much light it shows, and what it is known to."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.spectrum.axis import SpectralAxis
from aotf_lab.crystal.spectrum.density import Stray
from aotf_lab.crystal.spectrum.kernel import PassbandLaw, blurred
from aotf_lab.crystal.spectrum.response import Response
from aotf_lab.crystal.spectrum.rows import SpectrumRows
from aotf_lab.errors import OutOfRangeError
from aotf_lab.estimation import Check
from aotf_lab.estimation.problem import FloatArray

__all__ = ["SpectrumPoints"]

SCATTER = ("scatter of the spectrum", "scatter of the frequency")
"""Causes that each point has of its own; all others are shared by the points."""


@dataclass(frozen=True, eq=False)
class SpectrumPoints:
    """Power per wavelength against vacuum wavelength; the data of a ``Spectrum``.

    One point a reading (n,), by rising frequency: ``wavelength_nm`` (nm) and ``density_mw_per_nm`` (mW/nm), object
    arrays of ``ufloat``s that share the causes of tuning, passband, responses, dark reading and lag.
    ``per_mhz`` (mW/MHz) is the same power per frequency. The density is that of the light seen through the passband:
    structure narrower than ``resolution_nm`` is flattened, which ``smoothing_mw_per_nm`` (n,) estimates point by
    point (density less the density that the passband would make of it) and which is never taken back.
    """

    label: str
    axis: SpectralAxis
    passband: PassbandLaw
    rows_used: SpectrumRows = field(repr=False)
    wavelength_nm: NDArray[np.object_] = field(repr=False)
    per_mhz: NDArray[np.object_] = field(repr=False)
    density_mw_per_nm: NDArray[np.object_] = field(repr=False)
    factors: tuple[Response | UFloat | float, ...] = field(repr=False)
    stray: Stray = field(repr=False)
    checks: tuple[Check, ...] = field(repr=False)

    @property
    def trusted(self) -> bool:
        """Whether every check passed."""
        return all(c.passed for c in self.checks)

    @property
    def failed(self) -> tuple[Check, ...]:
        """The checks that did not pass."""
        return tuple(c for c in self.checks if not c.passed)

    @cached_property
    def nominal_nm(self) -> FloatArray:
        """The plain wavelengths (n,) in nm."""
        return np.array([v.n for v in self.wavelength_nm])

    @cached_property
    def nominal_density(self) -> FloatArray:
        """The plain density (n,) in mW/nm."""
        return np.array([v.n for v in self.density_mw_per_nm])

    @cached_property
    def u_noise(self) -> FloatArray:
        """The part (n,) of the density's standard uncertainty that each point has of its own (mW/nm)."""
        return np.asarray(self._parts[0])

    @cached_property
    def u_shared(self) -> FloatArray:
        """The part (n,) of the density's standard uncertainty that comes from causes shared by all points (mW/nm)."""
        return np.asarray(self._parts[1])

    @cached_property
    def u_density(self) -> FloatArray:
        """The density's standard uncertainty (n,) in mW/nm, from all causes."""
        return np.asarray(np.hypot(*self._parts))

    @cached_property
    def _parts(self) -> FloatArray:
        """The parts (2, n) of the density's standard uncertainty: each point's own, and of shared causes."""
        squares = []
        for value in self.density_mw_per_nm:
            of = [0.0, 0.0]
            for cause, slope in value.derivatives.items():
                of[cause.tag not in SCATTER] += (slope * cause.std_dev) ** 2
            squares.append(of)
        return np.asarray(np.sqrt(np.array(squares).T))

    @property
    def range_nm(self) -> tuple[float, float]:
        """The span of the points (vacuum nm)."""
        return float(self.nominal_nm.min()), float(self.nominal_nm.max())

    def resolution_nm(self, wavelength_nm: Any = None) -> Any:
        """Return the FWHM (nm) of what one wavelength becomes, at ``wavelength_nm`` (default: each point).

        Passband and trailing meter together; a scalar gives a number, an array (n,) one of them. Raises
        ``OutOfRangeError`` outside ``range_nm``.
        """
        nm = self.nominal_nm if wavelength_nm is None else np.atleast_1d(np.asarray(wavelength_nm, dtype=float))
        low, high = self.range_nm
        outside = (nm < low - 1e-9) | (nm > high + 1e-9)
        if outside.any():
            raise OutOfRangeError("wavelength", float(nm[outside][0]), low, high, "nm")
        f = self.axis.tuning.law(nm, *self.axis.tuning.fit.values)
        fwhm = self.passband.nominal_fwhm_mhz(f)
        lag = abs(float(nominal_value(self.rows_used.lag.mhz)))
        values = fwhm * blurred(lag / float(np.median(fwhm))) * self.axis.nominal_nm_per_mhz(f)
        return float(values[0]) if wavelength_nm is not None and np.ndim(wavelength_nm) == 0 else values
