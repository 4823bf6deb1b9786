"""From fitted passbands and their explanations to the list of peaks, sidelobes among them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy import signal
from uncertainties import UFloat

from aotf_lab.crystal.hunt.checks import FEWEST_OVER_FWHM
from aotf_lab.crystal.hunt.decide import Decision
from aotf_lab.crystal.hunt.features import Features
from aotf_lab.crystal.hunt.fit import HuntSolution
from aotf_lab.crystal.hunt.lobes import Lobe, shown_lobes
from aotf_lab.crystal.hunt.model import LAG, lights
from aotf_lab.crystal.hunt.newton import light_now
from aotf_lab.crystal.hunt.peak import Explanation, Peak
from aotf_lab.crystal.hunt.seeds import detection_height_mw, z_needed
from aotf_lab.crystal.scan.model import passband
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings

__all__ = ["detection_mw", "found_peaks"]

_EDGE = 0.6
_WIDTH_KNOWN = 0.5


def detection_mw(solution: HuntSolution, fwhm_mhz: float) -> float:
    """Return the height (mW) of a peak of this FWHM that is found with a chance of 95 % away from other light.

    That of the worst place between two steps.
    """
    sweep, table = solution.sweep, solution.sweep.model.table
    calm = light_now(sweep.model, sweep.values) < sweep.floor_scatter_mw
    rows = np.asarray(np.arange(-40, 41) * table.step_mhz, dtype=float)
    shapes = [passband(rows - part * table.step_mhz, 0.0, fwhm_mhz) for part in (0.0, 0.25, 0.5)]
    shapes = [np.where(np.abs(rows) < fwhm_mhz, shape, 0.0) for shape in shapes]
    a = max(float(sweep.values[LAG]), 0.0)
    kept = a / (1.0 + a)
    trailed = [signal.lfilter([1.0 - kept], [1.0, -kept], shape) for shape in shapes]
    return max(detection_height_mw(table, sweep.rest_mw, calm, shape) for shape in trailed)


def found_peaks(solution: HuntSolution, features: list[Features], decided: Mapping[int, Decision]) -> tuple[Peak, ...]:
    """Return all peaks in order of frequency, numbered; numbers of partners follow."""
    readings = solution.sweep.model.table.readings
    main = [_main(solution, readings, f, decided[f.index]) for f in features]
    least = z_needed(solution.sweep.model.table)
    lobes = [_lobe(solution, readings, features[lobe.index], lobe) for lobe in shown_lobes(solution, least)]
    listed = [(p, k) for k, p in enumerate(main)] + [(p, -1) for p in lobes]
    listed.sort(key=lambda pair: float(pair[0].frequency_mhz.n))
    number = {k + 1: n for n, (_, k) in enumerate(listed, start=1) if k >= 0}
    indicated = [float(features[k].centre_mhz.n) if k >= 0 else float(p.frequency_mhz.n) for p, k in listed]
    prominence = _prominences(solution, np.array(indicated))
    return tuple(
        Peak(
            n, p.frequency_mhz, p.fwhm_mhz, p.power_mw, float(prominence[n - 1]), p.significance, p.kind,
            tuple(_renumbered(e, number) for e in p.explanations), p.notes,
        )
        for n, (p, _) in enumerate(listed, start=1)
    )  # fmt: skip


def _renumbered(explanation: Explanation, number: Mapping[int, int]) -> Explanation:
    """Return the explanation with the peak that it speaks of under its number in the list."""
    old = explanation.partner
    if old is None:
        return explanation
    words = explanation.statement.replace(f"peak {old};", f"peak {number[old]};")
    words = words.replace(f"peak {old},", f"peak {number[old]},")
    return Explanation(explanation.kind, explanation.share, words, number[old], explanation.order, explanation.name)


def _true(readings: Readings, column: str, value: UFloat, *, offsets: bool = True) -> UFloat:
    for error in readings.common_errors(column):
        if offsets or error.kind == "relative":
            value = error.applied_to(value)
    return value


def _main(solution: HuntSolution, readings: Readings, peak: Features, decision: Decision) -> Peak:
    kind, explanations = decision
    table = solution.sweep.model.table
    low, high = table.range_mhz
    notes = []
    centre, width = float(peak.centre_mhz.n), float(peak.fwhm_mhz.n)
    if peak.cut_at_mhz is not None:
        beyond = f"near or {'below' if peak.cut_at_mhz == low else 'above'} {peak.cut_at_mhz:.2f} MHz"
        notes.append(f"cut off by the edge of the sweep: its top is {beyond}, with the light read or more")
    elif min(centre - low, high - centre) < _EDGE * width:
        notes.append("at the edge of the sweep")
    if peak.cut_at_mhz is None and width < FEWEST_OVER_FWHM * table.step_mhz:
        notes.append(f"{width / table.step_mhz:.3g} readings over its FWHM, {FEWEST_OVER_FWHM:g} wanted")
    known = peak.cut_at_mhz is None and peak.fwhm_mhz.s < _WIDTH_KNOWN * width
    return Peak(
        number=0,
        frequency_mhz=_true(readings, "frequency_mhz", peak.centre_mhz),
        fwhm_mhz=_true(readings, "frequency_mhz", peak.fwhm_mhz, offsets=False) if known else None,
        power_mw=_true(readings, "optical_power_mw", peak.height_mw, offsets=False),
        prominence_mw=0.0,
        significance=peak.significance,
        kind=kind,
        explanations=explanations,
        notes=tuple(notes),
    )


def _lobe(solution: HuntSolution, readings: Readings, peak: Features, lobe: Lobe) -> Peak:
    place = peak.centre_mhz + lobe.offset * peak.fwhm_mhz
    height = lobe.share * peak.height_mw * lobe.relative
    side = "below" if lobe.side < 0 else "above"
    statement = (
        f"first {side} peak {peak.index + 1}, {lobe.relative:.2uS} of the light that coupled waves give at its drive, "
        f"{lobe.theory_db:.1f} dB"
    )
    return Peak(
        number=0,
        frequency_mhz=_true(readings, "frequency_mhz", place),
        fwhm_mhz=_true(readings, "frequency_mhz", lobe.width * peak.fwhm_mhz, offsets=False),
        power_mw=_true(readings, "optical_power_mw", height, offsets=False),
        prominence_mw=0.0,
        significance=float(lobe.relative.n / lobe.relative.s),
        kind="sidelobe",
        explanations=(Explanation("sidelobe", 1.0, statement, peak.index + 1, 1),),
    )


def _prominences(solution: HuntSolution, indicated_mhz: FloatArray) -> FloatArray:
    """Return the prominence (mW) of each place in the fitted sweep, behind no meter; zero for a shoulder."""
    low, high = solution.sweep.model.table.range_mhz
    grid = np.arange(low - 1.0, high + 1.0, 0.02)
    light = lights(grid, solution.sweep.values).sum(axis=1) if len(indicated_mhz) else np.zeros_like(grid)
    tops = signal.find_peaks(light)[0]
    heights = signal.peak_prominences(light, tops)[0]
    result = np.zeros(len(indicated_mhz))
    for k, place in enumerate(indicated_mhz.tolist()):
        near = np.flatnonzero(np.abs(grid[tops] - place) < 0.06)
        if near.size:
            result[k] = float(heights[near].max())
    return result
