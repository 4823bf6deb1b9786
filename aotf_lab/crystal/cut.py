"""Which cut of the crystal fits? Exact phase matching, so that few lines, or one guess, say where to look."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from typing import Any

import numpy as np
import pandas as pd
from uncertainties import UFloat, correlation_matrix

from aotf_lab.crystal.tuning.curve import Tuning
from aotf_lab.crystal.tuning.lines import LineTable, label_causes, usable_lines
from aotf_lab.crystal.tuning.order import require_falling
from aotf_lab.errors import MaterialError
from aotf_lab.estimation import Fit, FittedFunction, Parameter, Problem, fit_problem, new_cause
from aotf_lab.estimation.evaluate import require_inside, split
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.physics.acoustics import slow_shear_velocity
from aotf_lab.physics.indices import optical_range_nm
from aotf_lab.physics.phase_matching import (
    INCIDENCE_RANGE_DEG,
    incidence_for,
    parallel_tangent_acoustic_angle,
    phase_matched_frequency,
)
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["U_VELOCITY", "Cut", "fit_cut"]

U_VELOCITY = 0.005
"""Relative standard uncertainty of the packaged acoustic velocity along a cut.

A judgement: published values along [110] differ by 0.2 %, and the law of the angle adds its own.
"""


@dataclass(frozen=True)
class _CutLaw:
    """Frequency (MHz) of the parallel-tangent cut for ``design_nm``, by incidence and relative velocity.

    ``velocity_m_s`` None stands for the packaged velocity along the cut.
    """

    material: str
    design_nm: float
    velocity_m_s: float | None

    def acoustic_angle(self, incidence_deg: FloatArray) -> FloatArray:
        return np.asarray(parallel_tangent_acoustic_angle(self.design_nm, incidence_deg, self.material))

    def velocity(self, incidence_deg: FloatArray, relative_velocity: float = 1.0) -> FloatArray:
        if self.velocity_m_s is not None:
            return np.full_like(incidence_deg, self.velocity_m_s * relative_velocity)
        return np.asarray(slow_shear_velocity(self.acoustic_angle(incidence_deg)) * relative_velocity)

    def __call__(self, wavelength_nm: FloatArray, incidence_deg: float, relative_velocity: float = 1.0) -> FloatArray:
        incidence = np.asarray(incidence_deg, dtype=float)
        velocity = self.velocity(incidence, relative_velocity)
        angle = self.acoustic_angle(incidence)
        return np.asarray(phase_matched_frequency(wavelength_nm, incidence, angle, velocity, self.material))


@dataclass(frozen=True, eq=False)
class Cut:
    """The parallel-tangent cut that fits; made by ``fit_cut`` only.

    ``incidence_deg`` is the angle of the light from the optic axis, ``acoustic_angle_deg`` that of
    the sound from [110], ``velocity_m_s`` its velocity there, all inside the crystal and correlated.
    """

    readings: Readings = field(repr=False)
    law: _CutLaw = field(repr=False)
    fit: Fit = field(repr=False)
    range_nm: tuple[float, float]

    @cached_property
    def incidence_deg(self) -> UFloat:
        """Incidence from the optic axis (deg)."""
        return self.fit.parameters["incidence_deg"]

    @cached_property
    def acoustic_angle_deg(self) -> UFloat:
        """Direction of the acoustic wave from [110] (deg)."""
        return FittedFunction(self.fit, lambda x, incidence, *_: self.law.acoustic_angle(incidence + 0 * x))(0.0)

    @cached_property
    def velocity_m_s(self) -> UFloat:
        """Acoustic velocity along the cut (m/s)."""
        return FittedFunction(self.fit, lambda x, incidence, *v: self.law.velocity(incidence + 0 * x, *v))(0.0)

    @property
    def trade(self) -> float:
        """Correlation of incidence and acoustic velocity: near -1 the lines fix only what both give together."""
        if "relative_velocity" not in self.fit.parameters:
            return 0.0
        return float(correlation_matrix([self.incidence_deg, self.velocity_m_s])[0, 1])

    @cached_property
    def _function(self) -> FittedFunction:
        return FittedFunction(self.fit, self.law)

    def frequency(self, wavelength_nm: Any) -> Any:
        """Return the frequency (MHz) at which to look for the vacuum wavelength(s) in nm.

        A prediction within ``range_nm``, the range of the published dispersion, however few the lines.
        A scalar gives a ``ufloat``, anything else an object array. Raises ``OutOfRangeError`` outside.
        """
        require_inside("wavelength", split(wavelength_nm)[0], *self.range_nm, "nm")
        frequency = self._function(wavelength_nm)
        for error in self.readings.common_errors("frequency_mhz"):
            frequency = error.applied_to(frequency)
        return frequency

    def __str__(self) -> str:
        return text_lines(self._lines_of_text())

    def _repr_html_(self) -> str:
        return f"<p>{'<br>'.join(escape(line) for line in self._lines_of_text())}</p>"

    def _lines_of_text(self) -> list[str]:
        lines = [
            f"Parallel-tangent cut of {self.law.material} for {self.law.design_nm:g} nm, given its acoustic velocity",
            f"incidence {self.incidence_deg:.2uS} deg from the optic axis",
            f"sound at {self.acoustic_angle_deg:.2uS} deg from [110], {self.velocity_m_s:.2uS} m/s",
            f"chi2/dof = {self.fit.chi2:.1f}/{max(self.fit.dof, 0.0):.1f}",
        ]
        if self.trade < -0.9:
            lines.append(
                f"velocity and incidence trade (correlation {self.trade:.3f}): the lines fix what both give together"
            )
        return [*lines, *(str(c) for c in self.fit.failed)]


def fit_cut(
    lines: Tuning | Readings | pd.DataFrame, *, material: str = "TeO2", velocity_m_s: UFloat | float | None = None
) -> Cut:
    """Return the parallel-tangent cut whose exact phase matching fits the lines; one line, or one guess, will do.

    Columns as for ``fit_tuning``; of a ``Tuning`` its lines, labels and material are taken. ``velocity_m_s`` is the
    acoustic velocity along the cut where it is known (a float counts as exact); left out, the packaged slow
    shear velocity +- 0.5 % (TeO2 only). The lines give little more than velocity x birefringence: velocity and
    incidence trade, ``trade`` says how far, and so the incidence is no better known than the velocity.

    Raises ``ReadingsError`` as ``fit_tuning`` does, ``AotfLabError`` when no incidence of 5 to 35 degrees takes
    the frequency, ``MaterialError`` outside the published dispersion or for a crystal without data.

    >>> guess = pd.DataFrame({"wavelength_nm": [633.0], "u_wavelength_nm": 0.5,
    ...                       "frequency_mhz": [59.0], "u_frequency_mhz": 0.5})
    >>> print(f"look for 450 nm at {fit_cut(guess).frequency(450.0):.2uS} MHz")
    look for 450 nm at 93.49(80) MHz
    """
    stated: Mapping[str, UFloat] = {}
    if isinstance(lines, Tuning):
        material, stated, lines = lines.material, lines.stated_nm, lines.readings
    readings = as_readings(lines)
    table = usable_lines(readings)
    require_falling(table)
    if velocity_m_s is None and material != "TeO2":
        raise MaterialError(
            "no packaged acoustic velocity for this crystal", found=material, allowed="TeO2",
            cure="give velocity_m_s of the acoustic wave that the transducer makes",
        )  # fmt: skip
    known = velocity_m_s.n if isinstance(velocity_m_s, UFloat) else velocity_m_s
    law = _CutLaw(material, table.reference_nm, known)
    fit = fit_problem(_problem(law, table, _velocity_parameters(velocity_m_s), label_causes(table, stated)))
    return Cut(readings, law, fit, optical_range_nm(material))


def _velocity_parameters(velocity_m_s: UFloat | float | None) -> tuple[Parameter, ...]:
    """Return the true velocity over the nominal one as a parameter, its causes kept; none when it is exact."""
    if velocity_m_s is None:
        return (Parameter("relative_velocity", 1.0, prior=new_cause("acoustic velocity", U_VELOCITY, 1.0)),)
    if isinstance(velocity_m_s, UFloat) and velocity_m_s.s > 0:
        return (Parameter("relative_velocity", 1.0, prior=velocity_m_s / velocity_m_s.n),)
    return ()


def _problem(
    law: _CutLaw, table: LineTable, velocity: tuple[Parameter, ...], causes: tuple[UFloat | None, ...]
) -> Problem:
    middle = int(np.argmin(np.abs(table.wavelength_nm - law.design_nm)))
    start = incidence_for(
        float(table.wavelength_nm[middle]), float(table.frequency_mhz[middle]), law.velocity_m_s, law.material
    )
    low, high = INCIDENCE_RANGE_DEG
    return Problem(
        law,
        (Parameter("incidence_deg", start, low, high), *velocity),
        table.wavelength_nm,
        table.frequency_mhz,
        table.u_frequency_mhz,
        table.u_wavelength_nm,
        scatter="the lines",
        places=table.places,
        x_causes=causes,
    )
