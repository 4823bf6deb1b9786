"""The tuning curve of the crystal: which radio frequency passes which wavelength, and back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from html import escape
from typing import Any, Literal

import numpy as np
import pandas as pd
from uncertainties import UFloat
from uncertainties.core import Variable

from aotf_lab.crystal.tuning.checks import published_range_check, shape_check, stated_check, strained
from aotf_lab.crystal.tuning.common import indicated_value, true_value
from aotf_lab.crystal.tuning.labels import explained_by_labels, labels_check
from aotf_lab.crystal.tuning.law import FREED, TuningLaw
from aotf_lab.crystal.tuning.lines import LineTable, label_causes, usable_lines
from aotf_lab.crystal.tuning.order import require_falling
from aotf_lab.data import CatalogueLine
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation import Check, Fit, FittedFunction, LeftOut, Problem, fit_problem, leave_one_out
from aotf_lab.estimation.evaluate import require_inside, split
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.physics.indices import optical_range_nm
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["RANGE_MARGIN", "Tuning", "fit_tuning"]

RANGE_MARGIN = 0.2
"""How far beyond the outer lines the curve answers: this share of their span in wave number, at either end.

The coverage of the intervals is measured out to there (tests/benchmarks/tuning.py).
"""

_VELOCITY_TAG = "acoustic velocity"


@dataclass(frozen=True, eq=False)
class Tuning:
    """A tuning curve; made by ``fit_tuning`` only.

    ``anchored_nm`` is the span of the lines (vacuum nm), ``range_nm`` and ``range_mhz`` where the
    curve answers. ``fit`` holds the parameters ``scale_m_s``, ``tilt`` and ``bend`` of ``law``. They move with the
    variables of ``stated_nm``, by label, that the lines were fitted with.
    Wavelengths and frequencies may be floats, ``ufloat``s, or sequences of them; a scalar gives a
    ``ufloat``, anything else an object array (n,) of them. Errors that the readings share (the
    counter's time base) are in every answer, so that differences keep their correlation.
    """

    readings: Readings = field(repr=False)
    law: TuningLaw
    anchored_nm: tuple[float, float]
    range_nm: tuple[float, float]
    problem: Problem = field(repr=False)
    fit: Fit = field(repr=False)
    stated_nm: Mapping[str, UFloat] = field(default_factory=dict, repr=False)

    @property
    def material(self) -> str:
        """The crystal, as ``physics.indices`` names it."""
        return self.law.material

    @cached_property
    def _function(self) -> FittedFunction:
        return FittedFunction(self.fit, self.law)

    @cached_property
    def range_mhz(self) -> tuple[float, float]:
        """The frequencies (MHz) at the ends of ``range_nm``, the lower first."""
        low, high = self._function.nominal(np.array(self.range_nm)[::-1])
        return float(low), float(high)

    @cached_property
    def left_out(self) -> tuple[LeftOut, ...]:
        """What the other lines say of each line, under the weak priors; empty with fewer than three lines."""
        return leave_one_out(self.law.problem(usable_lines(self.readings))) if len(self.problem.y) > 2 else ()

    @property
    def residuals_mhz(self) -> FloatArray:
        """Indicated frequency of each line (n,) minus the curve."""
        return np.asarray(self.problem.y - self._function.nominal(self.problem.x))

    @property
    def u_residuals_mhz(self) -> FloatArray:
        """Standard uncertainty of each line (n,) in MHz, that of its wavelength included."""
        return self.problem.spread(self.fit.values)

    def frequency(self, wavelength_nm: Any) -> Any:
        """Return the frequency (MHz) that passes the vacuum wavelength(s) in nm.

        Raises ``OutOfRangeError`` outside ``range_nm``.
        """
        require_inside("wavelength", split(wavelength_nm)[0], *self.range_nm, "nm")
        indicated = indicated_value(self.readings.common_errors("wavelength_nm"), wavelength_nm)
        return true_value(self.readings.common_errors("frequency_mhz"), self._function(indicated))

    def wavelength(self, frequency_mhz: Any) -> Any:
        """Return the vacuum wavelength (nm) that the frequency or frequencies (MHz) pass.

        Raises ``OutOfRangeError`` outside ``range_mhz``.
        """
        require_inside("frequency", split(frequency_mhz)[0], *self.range_mhz, "MHz")
        indicated = indicated_value(self.readings.common_errors("frequency_mhz"), frequency_mhz)
        found = self._function.inverse(indicated, *self.range_nm)
        return true_value(self.readings.common_errors("wavelength_nm"), found)

    def velocity_birefringence(self, wavelength_nm: Any) -> Any:
        """Return v B = frequency x wavelength (m/s), all that lines and frequencies say of v and of B."""
        frequency = self.frequency(wavelength_nm)
        if np.ndim(wavelength_nm) == 0:
            return 1e-3 * frequency * wavelength_nm
        return 1e-3 * frequency * np.asarray(wavelength_nm, dtype=object).ravel()

    def effective_birefringence(self, velocity_m_s: UFloat | float, wavelength_nm: Any = None) -> Any:
        """Return B, the acoustic wave vector in units of 2 pi / wavelength, given the acoustic velocity (m/s).

        ``wavelength_nm`` defaults to the middle of the lines. The velocity's share stands in the budget: an
        independent ``ufloat`` without a tag gets the tag "acoustic velocity"; a float counts as exact.
        """
        if isinstance(velocity_m_s, Variable) and velocity_m_s.tag is None:
            velocity_m_s.tag = _VELOCITY_TAG
        nm = self.law.reference_nm if wavelength_nm is None else wavelength_nm
        return self.velocity_birefringence(nm) / velocity_m_s

    def band(
        self, wavelength_nm: Any, confidence: float = 0.95, kind: Literal["confidence", "prediction"] = "confidence"
    ) -> tuple[FloatArray, FloatArray]:
        """Return the lower and upper edge (n,) in MHz of a band at vacuum wavelengths (n,) in nm.

        "confidence": where the curve is, shared errors included. "prediction": where the next line
        read with the same counter will be, stated as well as the median line of the fit.
        """
        nm = np.atleast_1d(np.asarray(wavelength_nm, dtype=float))
        values = self.frequency(nm)
        nominal = np.array([v.n for v in values])
        if kind == "confidence":
            u = np.array([v.s for v in values])
        else:
            u = np.hypot(self._function.u(nm), self.fit.birge * float(np.median(self.u_residuals_mhz)))
        half = self.fit.coverage_factor(confidence) * u
        return nominal - half, nominal + half

    def plot(self, ax: Any = None) -> Any:
        """Draw the curve with its confidence band and the lines on ``ax``, or on a new figure; return the Axes."""
        from aotf_lab.drawing import plot_tuning

        nm = np.linspace(*self.range_nm, 200)
        labels = _labels(self.readings)
        return plot_tuning(nm, self._function.nominal(nm), self.band(nm), self.problem.x, self.problem.y, labels, ax=ax)

    def __str__(self) -> str:
        return text_lines(self._lines_of_text())

    def _repr_html_(self) -> str:
        first, *rest = (escape(line) for line in self._lines_of_text())
        return f"<p><strong>{first}</strong><br>{'<br>'.join(rest)}</p>"

    def _lines_of_text(self) -> list[str]:
        nm, fit = self.law.reference_nm, self.fit
        low_mhz, high_mhz = self.range_mhz
        return [
            f"Tuning of {self.material} from {len(self.problem.y)} lines, "
            f"{self.anchored_nm[0]:.2f} to {self.anchored_nm[1]:.2f} nm in vacuum",
            f"v B = {self.velocity_birefringence(nm):.2uS} m/s at {nm:g} nm",
            f"answers from {self.range_nm[0]:.1f} to {self.range_nm[1]:.1f} nm ({high_mhz:.2f} to {low_mhz:.2f} MHz)",
            f"chi2/dof = {fit.chi2:.1f}/{max(fit.dof, 0.0):.1f}"
            + (f", u scaled up by {fit.birge:.2f}" if fit.birge > 1 else ""),
            *(str(c) for c in fit.failed),
        ]


def fit_tuning(
    lines: Readings | pd.DataFrame,
    *,
    material: str = "TeO2",
    known_lines: Sequence[CatalogueLine] = (),
    stated_nm: Mapping[str, UFloat] | None = None,
) -> Tuning:
    """Return the tuning curve through lines of known wavelength and measured frequency.

    Columns: ``wavelength_nm`` (vacuum), ``frequency_mhz`` (as indicated), ``u_wavelength_nm``, ``u_frequency_mhz``,
    ``label``; errors in both variables count. ``known_lines`` are laser lines of the bench beside those of the
    packaged catalogue: where a line seems mislabelled, the check "line labels" says which of them would cure it.
    Where the weak priors on the shape do not apply they are widened, and the check "published shape" fails.
    ``stated_nm`` are wavelengths by label whose errors count elsewhere too: the curve moves with these variables
    (where the table has the same value and u), and so what both give keeps its correlation.

    Raises ``ReadingsError`` for fewer than two lines, two of the same wavelength, a frequency that rises with
    wavelength (naming the labels exchanged) or a value or u that is not above zero; ``MaterialError`` for a
    crystal without packaged indices.

    >>> lines = pd.DataFrame({"wavelength_nm": [473.19, 556.42, 589.12, 671.29], "u_wavelength_nm": 0.1,
    ...                       "frequency_mhz": [86.34, 69.08, 64.24, 54.76], "u_frequency_mhz": 0.005})
    >>> print(f"the line at 93.2 MHz: {fit_tuning(lines).wavelength(93.2):.2uS} nm")
    the line at 93.2 MHz: 449.72(15) nm
    """
    readings = as_readings(lines)
    table = usable_lines(readings)
    _require_two(readings, table)
    require_falling(table)
    law = TuningLaw(material, table.reference_nm)
    stated = dict(stated_nm or {})
    causes = label_causes(table, stated)
    weak = law.problem(table, causes=causes)
    weak_fit = fit_problem(weak)
    free = strained(weak_fit) or law.beyond_nm(table.wavelength_nm).size > 0
    problem = law.problem(table, FREED, causes) if free else weak
    fit = fit_problem(problem) if free else weak_fit
    anchored = float(table.wavelength_nm.min()), float(table.wavelength_nm.max())
    answers = _range(anchored, material)
    labels = labels_check((weak, weak_fit), fit, table, law, known_lines)
    checks = [
        *(c for c in fit.checks if c.name != "single readings" and not c.name.startswith("prior on ")),
        published_range_check(law, table),
        shape_check(weak_fit, fit if free else None, law, np.linspace(*answers, 50)),
        labels,
        stated_check(table),
    ]
    fit = replace(fit, checks=tuple(explained_by_labels(c, labels) for c in checks if isinstance(c, Check)))
    return Tuning(readings, law, anchored, answers, problem, fit, stated)


def _require_two(readings: Readings, table: LineTable) -> None:
    if len(table.labels) < 2:
        raise ReadingsError(
            "one line alone makes no tuning curve", where=readings.place(0), found=1,
            allowed="two lines or more; three to check their labels",
            cure="measure a second line; fit_cut says where to look for it",
        )  # fmt: skip


def _range(anchored_nm: tuple[float, float], material: str) -> tuple[float, float]:
    """Return the lines' span with its margin, which ends with the published dispersion; beyond it there is none."""
    short, long = anchored_nm
    margin = RANGE_MARGIN * (1 / short - 1 / long)
    low, high = optical_range_nm(material)
    return (
        max(1 / (1 / short + margin), low) if low <= short <= high else short,
        min(1 / (1 / long - margin), high) if low <= long <= high else long,
    )


def _labels(readings: Readings) -> list[str]:
    table = readings.table
    return [str(label) for label in table["label"]] if "label" in table.columns else [""] * len(table)
