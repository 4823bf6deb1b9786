"""Efficiency of several lines that share one crystal: what one line's drive shows, the others may use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from html import escape

import numpy as np
import pandas as pd
from uncertainties import UFloat, ufloat

from aotf_lab.crystal.efficiency.checks import FitPoint, peak_check, reach_check
from aotf_lab.crystal.efficiency.curve import SLOPE_ONLY, EfficiencyCurve, level_of
from aotf_lab.crystal.efficiency.law import QUARTER_PERIOD
from aotf_lab.crystal.efficiency.one_line import Efficiency, fit_efficiency
from aotf_lab.crystal.efficiency.readings import EfficiencyTable
from aotf_lab.crystal.efficiency.shared import REFERENCE_NM, SharedFit, fit_shared
from aotf_lab.crystal.efficiency.wavelength import wavelength_check
from aotf_lab.errors import AotfLabError, FitError, OutOfRangeError, ReadingsError, Said
from aotf_lab.estimation import Check, CommonError, Fit
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["EfficiencyLines", "fit_efficiency_lines"]

_BEYOND = 0.1
"""How far beyond the measured wavelengths, as a share, the law is still used."""

_SAME_LINE_NM = 0.5
_PEAK_SPREAD, _PEAK_SPREAD_WEIGHT = 0.05, 2
"""By how much lines differ in peak efficiency (optics, beam size) before any is measured, and how many
measured differences that guess is worth (common practice, no source)."""


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
    _guesses: dict[float, UFloat] = field(default_factory=dict, repr=False, compare=False)

    @property
    def common_errors(self) -> tuple[CommonError, ...]:
        """The errors that all RF powers share: those of the bench's scope."""
        return self.shared.lines[0].common_errors

    @property
    def exponent(self) -> UFloat:
        """The power of the wavelength with which the saturation power goes."""
        return self.fit.parameters["exponent"]

    def saturation_power_w(self, wavelength_nm: float = REFERENCE_NM) -> UFloat:
        """Return the saturation power (true W) at ``wavelength_nm`` (vacuum), by default the constant at 589 nm.

        Raises ``FitError`` at level "slope only", ``OutOfRangeError`` far beyond the measured wavelengths.
        """
        self._require_level()
        self._require_wavelength(wavelength_nm)
        return self.shared.saturation_power_w(wavelength_nm)

    def line(self, name: str) -> EfficiencyCurve:
        """Return the curve of a measured line, its P_sat by all lines together.

        Its range goes as far, in units of P_sat, as the best line was driven. Where no line's drive
        showed the curve bend this is the line's own curve, as it is for a line of unknown wavelength.
        Raises ``ReadingsError`` for a name that was not measured.
        """
        if name not in self.own:
            raise ReadingsError(
                "no such line", found=name, allowed=", ".join(self.own), cure="use at(wavelength_nm) for other lines"
            )
        if self.level == SLOPE_ONLY or name not in self.wavelengths_nm:
            return self.own[name]
        k = list(self.wavelengths_nm).index(name)
        return self._curve(name, self.wavelengths_nm[name], self.shared.peak_efficiency(k))

    def at(self, wavelength_nm: float) -> EfficiencyCurve:
        """Return the curve at ``wavelength_nm`` (vacuum): of the line measured there, or of one never measured.

        A line never measured gets P_sat from the law and the others' peak efficiency, with the doubt
        that lines differ. Raises ``FitError`` at level "slope only", ``OutOfRangeError`` more than a
        tenth beyond the measured wavelengths.
        """
        for name, measured in self.wavelengths_nm.items():
            if abs(measured - wavelength_nm) <= _SAME_LINE_NM:
                return self.line(name)
        self._require_level()
        self._require_wavelength(wavelength_nm)
        if wavelength_nm not in self._guesses:
            self._guesses[wavelength_nm] = self._guessed_peak()
        return self._curve("", wavelength_nm, self._guesses[wavelength_nm])

    def _curve(self, name: str, wavelength_nm: float, peak: UFloat) -> EfficiencyCurve:
        power = self.shared.saturation_power_w(wavelength_nm)
        return EfficiencyCurve(
            name, wavelength_nm, QUARTER_PERIOD * peak / power, 1 / peak, self.shared.lines[0].power_scale,
            self.common_errors, (0.0, float(self.reach.n * power.n)), self.level,
        )  # fmt: skip

    def _guessed_peak(self) -> UFloat:
        peaks = [self.shared.peak_efficiency(k) for k in range(len(self.shared.lines))]
        mean = sum(peaks[1:], peaks[0]) / len(peaks)
        squares = sum((p.n - mean.n) ** 2 for p in peaks) + _PEAK_SPREAD_WEIGHT * _PEAK_SPREAD**2
        spread = np.sqrt(squares / (_PEAK_SPREAD_WEIGHT + len(peaks) - 1) * (1 + 1 / len(peaks)))
        return mean + ufloat(0.0, spread, tag="peak efficiency of a line never measured")

    def _require_level(self) -> None:
        if self.level == SLOPE_ONLY:
            raise FitError(
                "no line's saturation power is known: no drive was high enough to see a curve bend",
                found=Said(f"a reach of {self.reach:.1u} of the saturation power at the most"),
                allowed="at least 0.4 of it, proven at 95 %, on one line",
                cure="drive one line harder within the crystal's rating; the slopes of single lines stand in own",
            )

    def _require_wavelength(self, wavelength_nm: float) -> None:
        low, high = min(self.wavelengths_nm.values()), max(self.wavelengths_nm.values())
        low, high = low * (1 - _BEYOND), high * (1 + _BEYOND)
        if not low <= wavelength_nm <= high:
            raise OutOfRangeError("wavelength", wavelength_nm, low, high, "nm")

    def __str__(self) -> str:
        lines = [f"Efficiency of {len(self.own)} lines, level {self.level}"]
        if self.level != SLOPE_ONLY:
            power = f"{self.shared.saturation_power_w(REFERENCE_NM):.2uS} W at {REFERENCE_NM:g} nm"
            lines.append(f"  saturation power {power}, as wavelength^{self.exponent:.2uS}")
        for name in self.own:
            curve = self.line(name)
            if curve.level == SLOPE_ONLY:
                lines.append(f"  {name}: initial slope {curve.slope_per_w:.2uS} /W")
            else:
                power, peak = f"{curve.saturation_power_w:.2uS} W", f"{curve.peak_efficiency:.2uS}"
                lines.append(f"  {name}: saturation power {power}, peak efficiency {peak}")
        lines.append(f"  chi2/dof {self.fit.chi2:.1f}/{self.fit.dof:.3g}")
        return "\n".join(lines + [f"  {check}" for check in self.fit.failed])

    def _repr_html_(self) -> str:
        title, *rest = str(self).split("\n")
        return f"<p>{escape(title)}</p><ul>{''.join(f'<li>{escape(line.strip())}</li>' for line in rest)}</ul>"


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
