"""Lines in a spectrum that are narrower than the passband: where they are, how strong, and which of them are parted.

Each line shows the passband, so it is fitted with it: a place and a height a line, a straight background, the
passband's width within its u, the meter's lag. Lines are added to a group while they explain what is left. Two count
as two where they lie a FWHM or more apart; what is nearer is one line, said to be wider than the passband where so.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.spectrum.line_groups import LOBE_DOUBT, KnownLine, LineGroup, candidates, grouped, line_group
from aotf_lab.crystal.spectrum.lobes import lobe_envelope
from aotf_lab.crystal.spectrum.points import SpectrumPoints
from aotf_lab.crystal.spectrum.response import Response
from aotf_lab.crystal.tuning.common import true_value
from aotf_lab.errors import FitError
from aotf_lab.estimation import Fit, fit_problem
from aotf_lab.estimation.checks import chi2_limit, z_limit

__all__ = ["LEAST_APART", "SpectralLine", "spectral_lines"]

LEAST_APART = 1.0
"""Lines this many FWHM apart, or more, are told as two (common practice, no source; equal ones lose their dip at
0.94)."""

LEAST_WIDER = 0.03
"""A line is said to be wider than the passband from this share on: to that, passbands follow coupled waves (common
practice, no source)."""

_CLEAR = 2.0
"""How many standard uncertainties a line must stand above the sidelobes that stronger ones may show."""

_MOST_LINES = 8
_FEWEST_ROWS = 8


@dataclass(frozen=True)
class SpectralLine:
    """One line: its place, and its power as the light of the source (mW), responses divided out.

    ``blend`` says that it is wider than the passband beyond its u: more than one line, or a broad one; its place is
    then that of the whole, and its power height times width, which is right to some per cent; nothing weaker is told
    within six FWHM of it. ``fit`` is shared by the lines of a group that were fitted together.
    """

    wavelength_nm: UFloat
    frequency_mhz: UFloat
    power_mw: UFloat
    resolution_nm: float
    blend: bool
    fit: Fit = field(repr=False)

    def __str__(self) -> str:
        words = f"{self.wavelength_nm:.2uS} nm, {self.power_mw:.2uS} mW"
        return words + (f"; wider than the passband ({self.resolution_nm:.2g} nm): not one line" if self.blend else "")


def spectral_lines(spectrum: SpectrumPoints) -> tuple[SpectralLine, ...]:
    """Return the lines of ``spectrum``, by rising wavelength; () where nothing is as narrow as the passband.

    A line lower than the sidelobes that stronger ones may show at its place (the envelope of coupled waves) is not
    told: a passband that is not quite that of coupled waves would show the same. Raises nothing of single groups: one
    that cannot be fitted gives no lines.
    """
    known: list[KnownLine] = []
    found: list[SpectralLine] = []
    for seeds in grouped(spectrum, *candidates(spectrum)):
        group = line_group(spectrum, seeds, known)
        group, fit, k = _fitted(group) if len(group.rows) >= _FEWEST_ROWS else (group, None, 0)
        if fit is not None:
            wide = _wider(group, fit, k) if fit.chi2 > chi2_limit(max(fit.dof, 1.0)) else None
            values = fit.values.tolist()
            known += [KnownLine(values[i], values[k + i], wide is not None) for i in range(k)]
            found += _lines_of(group, fit if wide is None else wide, k, wide is not None)
    return tuple(sorted(_told(spectrum, found), key=lambda line: float(line.wavelength_nm.n)))


def _told(spectrum: SpectrumPoints, found: list[SpectralLine]) -> list[SpectralLine]:
    """Return the lines that rise above the envelope of the sidelobes of all stronger ones."""
    told: list[SpectralLine] = []
    for line in sorted(found, key=lambda one: -float(one.power_mw.n)):
        lobes = 0.0
        for strong in told:
            away = float(line.frequency_mhz.n - strong.frequency_mhz.n)
            nm = np.array([strong.wavelength_nm.n])
            fwhm = float(spectrum.passband.nominal_fwhm_mhz(np.array([strong.frequency_mhz.n]))[0])
            drive = float(spectrum.passband.drive_at(nm)[0])
            lobes += float(strong.power_mw.n) * float(lobe_envelope(away / fwhm, drive))
        if line.power_mw.n - _CLEAR * line.power_mw.s > lobes:
            told.append(line)
    return told


def _fitted(group: LineGroup) -> tuple[LineGroup, Fit | None, int]:
    """Return the fit of a group's lines: from the strongest on, each further one only where it is needed."""
    centres: list[float] = []
    best: Fit | None = None
    doubted = group
    fwhm = float(nominal_value(group.spectrum.passband.fwhm_mhz(group.middle_mhz)))
    while len(centres) < _MOST_LINES:
        if best is not None:
            stray = group.stray(centres, best.values[len(centres) : 2 * len(centres)].tolist())
            doubted = replace(group, u=np.hypot(group.u, LOBE_DOUBT * stray))
            best = fit_problem(
                doubted.problem(centres, best.values[len(centres) : 2 * len(centres)].tolist()), thorough=False
            )
            centres = best.values[: len(centres)].tolist()
        trial = _one_more(doubted, centres, best, fwhm)
        if trial is None:
            break
        best, centres = trial, trial.values[: len(centres) + 1].tolist()
    return doubted, best, len(centres)


def _one_more(group: LineGroup, centres: list[float], best: Fit | None, fwhm: float) -> Fit | None:
    """Return the fit with one more line, None where none is needed, or none can be told apart."""
    used = group.spectrum.rows_used
    lag = float(nominal_value(used.lag.mhz))
    light = used.table.frequency_mhz[group.rows] - used.table.direction[group.rows] * lag
    heights: list[float] = []
    left = group.y - np.median(group.y)
    if best is not None:
        if best.chi2 <= chi2_limit(max(best.dof, 1.0)):
            return None
        heights = best.values[len(centres) : 2 * len(centres)].tolist()
        left = group.y - group.problem(centres, heights).model(None, *best.values)
    apart = np.ones(len(light), dtype=bool)
    for c in centres:
        apart &= np.abs(light - c) >= 0.8 * fwhm
    if not apart.any():
        return None
    top = int(np.argmax(left[apart]))
    problem = group.problem([*centres, float(light[apart][top])], [*heights, float(left[apart][top])])
    try:
        fit = fit_problem(problem, thorough=False)
    except FitError:
        return None
    return fit if _needed(fit, best, len(centres) + 1, fwhm) else None


def _needed(fit: Fit, best: Fit | None, k: int, fwhm: float) -> bool:
    """Return whether the last of ``k`` lines is there beyond doubt, and stands apart from the others."""
    heights = [fit.parameters[f"height_{i}"] for i in range(k)]
    if not all(h.n > z_limit() * h.s for h in heights):
        return False
    if best is None:
        return True
    apart = bool(np.all(np.diff(np.sort(fit.values[:k])) >= LEAST_APART * fwhm))
    return apart and best.chi2 - fit.chi2 > chi2_limit(2) * max(fit.birge, 1.0) ** 2


def _lines_of(group: LineGroup, fit: Fit, k: int, blend: bool) -> list[SpectralLine]:
    """Return the fitted lines in true units."""
    s = group.spectrum
    readings = s.rows_used.table.readings
    errors = readings.common_errors("frequency_mhz")
    low, high = s.axis.tuning.range_mhz
    factors = s.factors
    found = []
    for i in range(k):
        frequency = true_value(errors, fit.parameters[f"centre_{i}"])
        if not low <= nominal_value(frequency) <= high:
            continue
        nm = s.axis.tuning.wavelength(frequency)
        height = fit.parameters[f"height_{i}"] * (fit.parameters["wider"] if blend else 1.0)
        power = true_value(s.rows_used.scale, height)
        for factor in factors:
            power = power / (factor(nm) if isinstance(factor, Response) else factor)
        found.append(SpectralLine(nm, frequency, power, float(_resolution(s, nm.n)), blend, fit))
    return found


def _resolution(spectrum: SpectrumPoints, nm: float) -> float:
    low, high = spectrum.range_nm
    return float(spectrum.resolution_nm(min(max(nm, low), high)))


def _wider(group: LineGroup, fit: Fit, k: int) -> Fit | None:
    """Return the fit with a free width where that explains what is left and is larger than the passband's."""
    problem = group.problem(fit.values[:k].tolist(), fit.values[k : 2 * k].tolist())
    free = tuple(replace(p, prior=None) if p.name == "wider" else p for p in problem.parameters)
    try:
        wide = fit_problem(replace(problem, parameters=free), thorough=False)
    except FitError:
        return None
    wider = wide.parameters["wider"]
    enough = wider.n - 1.0 > max(z_limit() * wider.s, LEAST_WIDER) and wide.chi2 < fit.chi2 - chi2_limit(1)
    return wide if enough else None
