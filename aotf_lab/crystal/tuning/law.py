"""The tuning law: which shape frequency against wavelength can have, whatever the cut of the crystal.

f = s [1 + tilt x + bend x^2] dn(wavelength) / wavelength, x = reference / wavelength - 1.

dn is the published birefringence of the crystal, as shape only: the scale s (m/s) takes up the cut and the acoustic
velocity. Exact phase matching over cuts of 10 to 25 degrees asks for tilt and bend below 0.01, and below 0.04 and 0.06
when a pole of the published dispersion is off by 2 nm; the weak priors N(0, 0.10) and N(0, 0.05) hold all of that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.tuning.lines import LineTable
from aotf_lab.estimation import Parameter, Problem, new_cause
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.indices import birefringence, optical_range_nm

__all__ = ["FREED", "SHAPE_PRIORS", "TuningLaw", "shape_pulls"]

SHAPE_PRIORS = {"tilt": 0.10, "bend": 0.05}
"""Standard uncertainty of the weak prior on each shape parameter; the mean is 0."""

FREED = 10.0
"""By how much the weak priors are widened where they do not apply."""


@dataclass(frozen=True)
class TuningLaw:
    """The law for one ``material`` about one ``reference_nm`` (vacuum): a model of three parameters.

    ``material`` is a name of ``physics.indices.known_materials()``.
    """

    material: str
    reference_nm: float

    def __call__(self, wavelength_nm: FloatArray, scale_m_s: float, tilt: float, bend: float) -> FloatArray:
        """Return the frequency (MHz) at vacuum wavelengths (n,) in nm; the published dispersion is extrapolated."""
        x = self.reference_nm / wavelength_nm - 1.0
        shape = birefringence(wavelength_nm, self.material, extrapolate=True) / wavelength_nm
        return np.asarray(1e3 * scale_m_s * (1.0 + x * (tilt + x * bend)) * shape)

    def problem(self, lines: LineTable, widened: float = 1.0, causes: Sequence[UFloat | None] = ()) -> Problem:
        """Return the fit of ``lines``, the weak priors ``widened`` by a factor; ``causes`` are those in the labels."""
        unit = self(lines.wavelength_nm, 1.0, 0.0, 0.0)
        scale = Parameter("scale_m_s", float(np.median(lines.frequency_mhz / unit)))
        shape = (
            Parameter(name, 0.0, prior=new_cause(f"weak prior on {name}", widened * u))
            for name, u in SHAPE_PRIORS.items()
        )
        return Problem(
            self,
            (scale, *shape),
            lines.wavelength_nm,
            lines.frequency_mhz,
            lines.u_frequency_mhz,
            lines.u_wavelength_nm,
            scatter="the lines",
            places=lines.places,
            x_causes=causes,
        )

    def beyond_nm(self, wavelength_nm: FloatArray) -> FloatArray:
        """Return those of the wavelengths that lie outside the range of the published dispersion."""
        low, high = optical_range_nm(self.material)
        return wavelength_nm[(wavelength_nm < low) | (wavelength_nm > high)]


def shape_pulls(values: FloatArray) -> dict[str, float]:
    """Return how many standard uncertainties of its weak prior each shape parameter of ``values`` (3,) lies from 0."""
    return {name: abs(float(value)) / u for (name, u), value in zip(SHAPE_PRIORS.items(), values[1:], strict=True)}
