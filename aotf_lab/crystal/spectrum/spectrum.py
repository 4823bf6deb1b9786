"""The spectrum of a lamp, an LED or a laser, from a scan of the drive frequency."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.spectrum.lines import SpectralLine, spectral_lines
from aotf_lab.crystal.spectrum.local import density_at, integral_weights
from aotf_lab.crystal.spectrum.points import SpectrumPoints
from aotf_lab.crystal.tuning.common import indicated_value
from aotf_lab.errors import OutOfRangeError
from aotf_lab.estimation.linear import linear, nominals
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.estimation.problem import FloatArray

__all__ = ["Spectrum"]


@dataclass(frozen=True, eq=False)
class Spectrum(SpectrumPoints):
    """Power per wavelength against vacuum wavelength; made by ``fit_spectrum`` only. See ``SpectrumPoints``."""

    @cached_property
    def smoothing_mw_per_nm(self) -> FloatArray:
        """How much (n,) the passband is likely to have taken off the density (mW/nm): minus where it added."""
        f = self.rows_used.indicated_mhz
        g = nominals(self.per_mhz)
        weights = integral_weights(f, float(f[0]), float(f[-1]))
        away = (f[:, None] - f) / self.passband.nominal_fwhm_mhz(f)
        seen = np.where(np.abs(away) < 1.13, np.sinc(0.88589 * away) ** 2, 0.0) * weights
        again = seen @ g / seen.sum(axis=1)
        return np.asarray((g - again) * self.nominal_density / np.where(g == 0, 1.0, g))

    def at(self, wavelength_nm: Any) -> Any:
        """Return the density (mW/nm) at vacuum wavelengths in nm: a ``ufloat``, or an object array (n,) of them.

        A straight line through the points within a quarter of the resolution (three at least); the doubt about where
        the points belong is in it. Raises ``OutOfRangeError`` outside ``range_nm``.
        """
        nm = np.atleast_1d(np.asarray(wavelength_nm, dtype=float))
        half = 0.25 * np.atleast_1d(self.resolution_nm(nm))
        values = np.array([
            density_at(self.wavelength_nm, self.nominal_nm, self.density_mw_per_nm, float(w), float(h))
            for w, h in zip(nm, half, strict=True)
        ], dtype=object)  # fmt: skip
        return values[0] if np.ndim(wavelength_nm) == 0 else values

    def power_mw(self, low_nm: float | None = None, high_nm: float | None = None) -> UFloat:
        """Return the power (mW) between two vacuum wavelengths, by default of all that was scanned.

        Taken over frequency, where the tuning curve's slope cancels: its error moves the two limits only. Raises
        ``OutOfRangeError`` for limits outside ``range_nm``.
        """
        low, high = self.range_nm
        for limit in (low_nm, high_nm):
            if limit is not None and not low <= limit <= high:
                raise OutOfRangeError("wavelength", limit, low, high, "nm")
        ends = [self._end(high_nm, 0), self._end(low_nm, -1)]
        f = self.rows_used.indicated_mhz
        weights = integral_weights(f, *(nominal_value(e) for e in ends))
        rows = np.flatnonzero(weights != 0)
        per_mhz = nominals(self.per_mhz)
        low_end, high_end = np.interp(nominals(ends), f, per_mhz)
        terms = zip([*weights[rows], -low_end, high_end], [*self.per_mhz[rows], *ends], strict=True)
        return linear(np.array([weights @ per_mhz]), *terms)[0]

    def _end(self, limit_nm: float | None, row: int) -> Any:
        """Return a limit in indicated MHz, the doubt of tuning curve and lag in it; the end of the scan for None."""
        f = self.rows_used.indicated_mhz
        if limit_nm is None:
            return float(f[row])
        errors = self.rows_used.table.readings.common_errors("frequency_mhz")
        lag = self.rows_used.lag.mhz
        late = float(np.mean(self.rows_used.direction)) * (lag - nominal_value(lag))
        return indicated_value(errors, self.axis.tuning.frequency(limit_nm)) + late

    @cached_property
    def _lines(self) -> tuple[SpectralLine, ...]:
        return spectral_lines(self)

    def lines(self) -> tuple[SpectralLine, ...]:
        """Return the lines narrower than the passband, by rising wavelength; see ``SpectralLine``."""
        return self._lines

    @property
    def table(self) -> pd.DataFrame:
        """One row a point, by rising wavelength, u in columns of their own, that of each point and the shared apart."""
        table = pd.DataFrame({
            "wavelength_nm": self.nominal_nm,
            "u_wavelength_nm": [v.s for v in self.wavelength_nm],
            "density_mw_per_nm": self.nominal_density,
            "u_density_mw_per_nm": self.u_density,
            "u_noise_mw_per_nm": self.u_noise,
            "u_shared_mw_per_nm": self.u_shared,
            "resolution_nm": self.resolution_nm(),
            "frequency_mhz": self.rows_used.indicated_mhz,
            "place": self.rows_used.places,
        })  # fmt: skip
        return table.iloc[::-1].reset_index(drop=True)

    def plot(self, ax: Any = None) -> Any:
        """Draw the density with both parts of its uncertainty and the resolution; return the Axes."""
        from aotf_lab.drawing.spectrum import plot_spectrum

        order = np.argsort(self.nominal_nm)
        return plot_spectrum(
            self.nominal_nm[order], self.nominal_density[order], self.u_noise[order], self.u_density[order],
            self.resolution_nm()[order], self.label, ax,
        )  # fmt: skip

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        low, high = self.range_nm
        top = int(np.argmax(self.nominal_density))
        resolution = self.resolution_nm(np.array([low, high]))
        return (
            ("points", f"{len(self.nominal_nm)}, {low:.1f} to {high:.1f} nm in vacuum"),
            ("resolution", f"{resolution[0]:.2g} nm at the short end, {resolution[1]:.2g} nm at the long end (FWHM)"),
            ("highest", f"{self.density_mw_per_nm[top]:.2uS} mW/nm at {self.wavelength_nm[top]:.2uS} nm"),
            ("power", f"{self.power_mw():.2uS} mW in all"),
        )

    def _title(self) -> str:
        return f"Spectrum{' of ' + self.label if self.label else ''}"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), self.failed)

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), self.failed)
