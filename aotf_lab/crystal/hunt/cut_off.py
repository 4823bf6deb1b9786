"""Peaks that an end of the sweep cuts off: the light still rises, or has only just stopped, at the outermost reading.

Their top was not seen. A fit of the flank alone trades place, width and height for each other, and takes a narrow peak
within the sweep for a wide one beyond it: what is known is that the top is near the end or beyond, and that there is at
least as much light as was read.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.hunt.features import TOLD, USUAL_FWHM_MHZ, Features, WidthOfLines, width_of_lines
from aotf_lab.crystal.hunt.fit import HuntSolution
from aotf_lab.crystal.hunt.model import FLOORS
from aotf_lab.crystal.hunt.table import HuntTable
from aotf_lab.estimation import new_cause
from aotf_lab.estimation.problem import FloatArray

__all__ = ["unexplained_ends", "with_cut_off"]

_STILL = 0.9
"""Share of the highest light near an end that the outermost readings have, where the top was not passed."""

_NEAR = 1.0
"""How near to the end, in usual FWHM, such a peak is placed by its fit."""

_FAR = 3.0
"""How far from the ends, in usual FWHM, a peak shows the width of lines: sidelobes of one beyond are nearer."""

_SEEN = 10.0
"""Scatter that light at an end exceeds to be named."""

_INSIDE = 0.25
"""How far inside the sweep, in usual FWHM, the top can be when the light did not fall: a meter's lag included."""

_U_PLACE, _U_LOG_WIDTH, _U_HEIGHT = 0.5, 0.7, 0.5
"""u of the place in usual FWHM, of the logarithm of the width, and of the height relative to the highest light: so that
twice the u of the place reaches one FWHM further, where a peak would no longer show (common practice, no source)."""


def with_cut_off(peaks: list[Features], solution: HuntSolution, width: WidthOfLines) -> list[Features]:
    """Return the peaks, those that an end of the sweep cuts off with what is not known of them."""
    table = solution.sweep.model.table
    light = table.power_mw - solution.sweep.model.floors @ solution.sweep.values[:FLOORS]
    usual = _usual_mhz(peaks, width, table.range_mhz)
    result = list(peaks)
    for end, outward in zip(table.range_mhz, (-1.0, 1.0), strict=True):
        near = [p for p in result if abs(p.centre_mhz.n - end) < _NEAR * usual]
        most = _rising_to(end, table, light, usual) if near else None
        if most is not None:
            last = max(near, key=lambda p: outward * p.centre_mhz.n)
            result[result.index(last)] = _cut(last, end, outward, usual, most)
    return result


def _usual_mhz(peaks: list[Features], width: WidthOfLines, sweep_mhz: tuple[float, float]) -> float:
    """Return the FWHM of lines (MHz) as told, or as peaks far from the ends have it; else the usual one at least."""
    if width.source == TOLD:
        return math.exp(width.log_width)
    far = [p for p in peaks if min(abs(float(p.centre_mhz.n) - end) for end in sweep_mhz) > _FAR * USUAL_FWHM_MHZ]
    return math.exp(width_of_lines(far, None).log_width) if far else max(math.exp(width.log_width), USUAL_FWHM_MHZ)


def unexplained_ends(solution: HuntSolution) -> tuple[float, ...]:
    """Return the ends of the sweep (MHz) at which there is light of which no peak was made."""
    sweep, table = solution.sweep, solution.sweep.model.table
    light = table.power_mw - sweep.model.floors @ sweep.values[:FLOORS]
    found = []
    for end in table.range_mhz:
        outer = np.abs(table.frequency_mhz - end) < 1.5 * table.step_mhz
        seen, left = (float(np.max(values[outer], initial=0.0)) for values in (light, sweep.rest_mw))
        if left > max(_SEEN * sweep.floor_scatter_mw, 0.5 * seen):
            found.append(end)
    return tuple(found)


def _rising_to(end_mhz: float, table: HuntTable, light: FloatArray, usual_mhz: float) -> float | None:
    """Return the most light (mW) near an end of the sweep where it has not fallen before the end, else None."""
    away = np.abs(table.frequency_mhz - end_mhz)
    most = float(np.max(light[away < _NEAR * usual_mhz], initial=0.0))
    outer = float(np.max(light[away < 1.5 * table.step_mhz], initial=0.0))
    return most if outer >= _STILL * most > 0 else None


def _cut(peak: Features, end_mhz: float, outward: float, usual_mhz: float, most_mw: float) -> Features:
    inside = max(outward * (end_mhz - float(peak.centre_mhz.n)) - _INSIDE * usual_mhz, 0.0)
    place: UFloat = peak.centre_mhz + outward * inside
    return replace(
        peak,
        centre_mhz=place + new_cause("top of a peak beyond the sweep", _U_PLACE * usual_mhz),
        log_width=peak.log_width + new_cause("width of a peak cut off by the sweep", _U_LOG_WIDTH),
        height_mw=new_cause("height of a peak cut off by the sweep", _U_HEIGHT * most_mw, most_mw),
        cut_at_mhz=end_mhz,
    )
