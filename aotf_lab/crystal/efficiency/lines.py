"""Efficiency of several lines that share one crystal: what one line's drive shows, the others may use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from html import escape

import pandas as pd
from uncertainties import UFloat

from aotf_lab.crystal.efficiency.assumed import AssumedEfficiency
from aotf_lab.crystal.efficiency.checks import FitPoint, peak_check, reach_check
from aotf_lab.crystal.efficiency.curve import SLOPE_ONLY, EfficiencyCurve, level_of
from aotf_lab.crystal.efficiency.line_curves import LineCurves
from aotf_lab.crystal.efficiency.one_line import Efficiency, fit_efficiency
from aotf_lab.crystal.efficiency.readings import EfficiencyTable
from aotf_lab.crystal.efficiency.shared import REFERENCE_NM, SharedFit, fit_shared
from aotf_lab.crystal.efficiency.wavelength import wavelength_check
from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.estimation import Check, CommonError, Fit
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["EfficiencyLines", "fit_efficiency_lines"]


@dataclass(frozen=True)
class EfficiencyLines:
    """The efficiency of several lines, made by ``fit_efficiency_lines``.

    ``own`` are the lines fitted alone, by name, each with its own level. ``fit`` is the joint fit:
    P_sat = constant * wavelength^exponent, one peak efficiency per line; its checks hold what failed in
    a line's own. ``level`` is that of the line whose drive reached furthest, which all share.
    """

    own: Mapping[str, Efficiency]
    wavelengths_nm: Mapping[str, float]
    level: str
    fit: Fit = field(repr=False)
    shared: SharedFit = field(repr=False)
    reach: UFloat

    @property
    def common_errors(self) -> tuple[CommonError, ...]:
        """The errors that all RF powers share: those of the bench's scope."""
        return self.shared.lines[0].common_errors

    @cached_property
    def curves(self) -> LineCurves:
        """The numbers that all lines share, and every line's curve out of them."""
        names = list(self.wavelengths_nm)
        return LineCurves(
            {name: curve.range_w[1] for name, curve in self.own.items()}, self.wavelengths_nm, self.level, self.reach,
            self.shared.saturation_power_w(REFERENCE_NM), self.exponent,
            {name: self.shared.peak_efficiency(k) for k, name in enumerate(names)}, self.own,
            self.shared.lines[0].power_scale, self.common_errors,
        )  # fmt: skip

    @cached_property
    def assumed(self) -> AssumedEfficiency:
        """What is assumed where no drive showed it, each error one for all lines."""
        return AssumedEfficiency()

    @property
    def exponent(self) -> UFloat:
        """The power of the wavelength with which the saturation power goes."""
        return self.fit.parameters["exponent"]

    def saturation_power_w(self, wavelength_nm: float = REFERENCE_NM) -> UFloat:
        """Return the saturation power (true W) at ``wavelength_nm`` (vacuum), by default the constant at 589 nm.

        Raises ``FitError`` at level "slope only", ``OutOfRangeError`` far beyond the measured wavelengths.
        """
        return self.curves.saturation_power_w(wavelength_nm)

    def line(self, name: str) -> EfficiencyCurve:
        """Return the curve of a measured line, its P_sat by all lines together.

        Its range goes as far, in units of P_sat, as the best line was driven. Where no line's drive
        showed the curve bend this is the line's own curve, as it is for a line of unknown wavelength.
        Raises ``ReadingsError`` for a name that was not measured.
        """
        return self.curves.line(name)

    def at(self, wavelength_nm: float) -> EfficiencyCurve:
        """Return the curve at ``wavelength_nm`` (vacuum): of the line measured there, or of one never measured.

        A line never measured gets P_sat from the law and the others' peak efficiency, with the doubt
        that lines differ. Raises ``FitError`` at level "slope only", ``OutOfRangeError`` more than a
        tenth beyond the measured wavelengths.
        """
        return self.curves.at(wavelength_nm)

    def __str__(self) -> str:
        title, *lines = self._lines_of_text()
        return text_lines([title, *(f"  {line}" for line in lines)])

    def _repr_html_(self) -> str:
        title, *lines = self._lines_of_text()
        return f"<p>{escape(title)}</p><ul>{''.join(f'<li>{escape(line)}</li>' for line in lines)}</ul>"

    def _lines_of_text(self) -> list[str]:
        lines = [f"Efficiency of {len(self.own)} lines, level {self.level}"]
        if self.level != SLOPE_ONLY:
            power = f"{self.shared.saturation_power_w(REFERENCE_NM):.2uS} W at {REFERENCE_NM:g} nm"
            lines.append(f"saturation power {power}, as wavelength^{self.exponent:.2uS}")
        for name in self.own:
            curve = self.line(name)
            if curve.level == SLOPE_ONLY:
                lines.append(f"{name}: initial slope {curve.slope_per_w:.2uS} /W")
            else:
                power, peak = f"{curve.saturation_power_w:.2uS} W", f"{curve.peak_efficiency:.2uS}"
                lines.append(f"{name}: saturation power {power}, peak efficiency {peak}")
        lines.append(f"chi2/dof {self.fit.chi2:.1f}/{self.fit.dof:.3g}")
        return [*lines, *(str(check) for check in self.fit.failed)]


def fit_efficiency_lines(
    lines: Mapping[str, tuple[EfficiencyTable, float | None]] | Readings | pd.DataFrame,
) -> EfficiencyLines:
    """Fit several lines of one crystal together and return the ``EfficiencyLines``.

    ``lines`` maps a line's name to its readings (as for ``fit_efficiency``) and its vacuum wavelength
    (nm), or is one table with columns ``label`` and ``wavelength_nm``. A line without wavelength, or
    whose readings support no curve, takes no part in the joint fit, and a failed check says so.

    Raises ``ReadingsError`` when no line is left, ``FitError`` when the joint fit does not converge.
    """
    own, failed = _each_alone(_by_name(lines))
    wavelengths = {n: e.wavelength_nm for n, e in own.items() if e.wavelength_nm is not None}
    if not wavelengths:
        raise ReadingsError(
            "no line that can be fitted with the others",
            found="; ".join(c.detail for c in failed) or f"{len(own)} lines without a wavelength",
            allowed="at least one line of known wavelength with a usable efficiency curve",
            cure="state the lines' wavelengths, and measure efficiency at several RF powers",
        )
    shared = fit_shared({n: own[n] for n in wavelengths}, wavelengths)
    reaches = [
        e.range_w[1] * e.power_scale / shared.saturation_power_w(w)
        for e, w in zip(shared.lines, wavelengths.values(), strict=True)
    ]
    factor = shared.fit.coverage_factor()
    furthest = max(reaches, key=lambda r: r.n - factor * r.s)
    level = level_of(furthest.n - factor * furthest.s)
    names = tuple(p.name for p in shared.problem.parameters if p.name.startswith("curvature"))
    fit = shared.fit.with_checks(
        reach_check(level, f"{furthest:.1u}", furthest.n - factor * furthest.s),
        peak_check(FitPoint.of(shared.problem, shared.fit), names),
        wavelength_check(shared.lines),
        *failed,
        *(replace(c, name=f"line {n}: {c.name}") for n, e in own.items() for c in e.fit.failed if c.name != "reach"),
    )
    return EfficiencyLines(own, wavelengths, level, fit, shared, furthest)


def _by_name(
    lines: Mapping[str, tuple[EfficiencyTable, float | None]] | Readings | pd.DataFrame,
) -> Mapping[str, tuple[EfficiencyTable, float | None]]:
    if isinstance(lines, Mapping):
        return lines
    table = as_readings(lines)
    table.require("label", "wavelength_nm")
    return {str(n): (table, None) for n in table.table["label"].dropna().unique() if str(n)}


def _each_alone(
    lines: Mapping[str, tuple[EfficiencyTable, float | None]],
) -> tuple[dict[str, Efficiency], list[Check]]:
    """Return each line's own fit, and a failed check for each line that cannot take part."""
    own: dict[str, Efficiency] = {}
    failed = []
    for name, (readings, wavelength_nm) in lines.items():
        try:
            own[name] = fit_efficiency(readings, wavelength_nm=wavelength_nm, line=name)
        except AotfLabError as error:
            failed.append(Check(f"line {name}", False, f"left out of the joint fit: {error}"))
            continue
        if own[name].wavelength_nm is None:
            detail = "left out of the joint fit: its wavelength is not known; state it, or scan the line and find it"
            failed.append(Check(f"line {name}", False, detail))
    return own, failed
