"""What the fit says of each peak, in the terms in which its explanations are weighed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.hunt.fit import HuntSolution
from aotf_lab.estimation import new_cause
from aotf_lab.physics.coupled_waves import passband_fwhm

__all__ = [
    "MOST_WANDER",
    "TOLD",
    "USUAL_FWHM_MHZ",
    "Features",
    "WidthOfLines",
    "features_of",
    "normal",
    "width_of_lines",
]

USUAL_FWHM_MHZ = 0.3
"""FWHM of a line where none was seen (common practice, no source)."""

TOLD = "told"
"""The source of a width of lines that was stated."""

LINE_WIDTH_SPREAD = 0.12
"""Relative spread of the FWHM of lines over the band of one crystal (common practice, no source)."""

U_SLOPE = 0.02
"""Relative slope of the RF power per MHz that is thought of (common practice, no source: ripple of some 0.3 dB). It
moves a peak, taken as a Gaussian of variance FWHM^2 / 5.545, by slope times variance."""

MOST_WANDER = 0.05
"""Relative misfit of the light beyond which the fitted passbands are not to be trusted."""

POOR_SHAPE = 0.4
"""Standard uncertainty of the logarithm of every width then."""

_WEAK = 0.885893


@dataclass(frozen=True)
class Features:
    """One fitted peak: centre (indicated MHz, motion within a step included), FWHM (MHz), logarithm of the width that
    it would have in weak drive, height (mW), drive ratio; its height over the u that the fit gives it.

    ``cut_at_mhz`` is the end of the sweep (indicated MHz) that cuts the peak off, None where its top was seen.
    """

    index: int
    centre_mhz: UFloat
    fwhm_mhz: UFloat
    log_width: UFloat
    height_mw: UFloat
    drive: float
    significance: float
    cut_at_mhz: float | None = None

    @property
    def tolerance_mhz(self) -> float:
        """By how much the form of the lean, a convention, and a slope of the RF power may shift it (MHz)."""
        return 0.02 * float(self.fwhm_mhz.n)


@dataclass(frozen=True)
class WidthOfLines:
    """Logarithm of the FWHM (MHz) of lines in weak drive, its spread, and where it comes from."""

    log_width: float
    spread: float
    source: str


def features_of(solution: HuntSolution) -> list[Features]:
    """Return the features of all fitted peaks, in order of frequency."""
    made = []
    p = solution.fit.parameters
    doubt = POOR_SHAPE if solution.noise.wander > MOST_WANDER else 0.0
    for k in range(1, solution.count + 1):
        centre = p[f"centre_{k}_mhz"]
        centre = centre + new_cause("slope of the RF power", U_SLOPE * math.exp(p[f"log_fwhm_{k}"].n) ** 2 / 5.545)
        if solution.motion is not None:
            centre = centre + solution.motion
        log_fwhm, drive = p[f"log_fwhm_{k}"], float(p[f"drive_ratio_{k}"].n)
        narrower = float(passband_fwhm(min(max(drive, 0.0), 2.2))) / _WEAK
        width = log_fwhm - math.log(narrower) + new_cause("shape of the passband", doubt)
        fwhm = math.exp(log_fwhm.n) * (1.0 + (log_fwhm - log_fwhm.n))
        height = p[f"height_{k}_mw"]
        made.append(Features(k - 1, centre, fwhm, width, height, drive, float(height.n / height.s)))
    return made


def width_of_lines(peaks: list[Features], told_mhz: float | None) -> WidthOfLines:
    """Return the width that lines have: as told, else the median over the higher half of the peaks."""
    if told_mhz is not None:
        return WidthOfLines(math.log(told_mhz), LINE_WIDTH_SPREAD, TOLD)
    high = sorted(peaks, key=lambda p: -p.height_mw.n)[: max((len(peaks) + 1) // 2, 1)]
    widths = [p.log_width.n for p in high]
    return WidthOfLines(float(np.median(widths)), LINE_WIDTH_SPREAD, f"of the {len(high)} highest peaks")


def normal(value: float, mean: float, u: float) -> float:
    """Return the logarithm of the normal density."""
    return -0.5 * ((value - mean) / u) ** 2 - math.log(u * math.sqrt(2.0 * math.pi))
