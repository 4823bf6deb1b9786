"""Scan a line once more, scan a new line of known wavelength, or state an anchor's wavelength better."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from uncertainties import UFloat
from uncertainties.core import AffineScalarFunc, LinearCombination

from aotf_lab.crystal import Scan, Tuning
from aotf_lab.estimation import FittedFunction
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.planning.curves import Curves
from aotf_lab.planning.next_reading.look import CALIBRATION, Candidate, Look

__all__ = ["NEW_LINE", "SCAN", "line_readings"]

SCAN, NEW_LINE = "scan", "new known line"
_USUAL_SCAN = 60
_NEW_LINES = 13
_WAVEMETER_NM = 0.01


def line_readings(curves: Curves) -> Iterator[Candidate]:
    """Yield a further scan of every scanned line, of every anchor, and of new lines within the tuning curve's range.

    A further scan of an anchor averages down the scatter of its peak, never the error of its stated wavelength. The
    counter's time base and the power meter's lag are in every scan alike. What a peak tells of the tuning curve and of
    its own line counts as two things: the fit of the tuning curve holds the peaks' scatter apart.
    """
    anchors = {} if curves.tuning is None else _anchor_looks(curves.tuning)
    for name in dict.fromkeys([*curves.scans, *anchors]):
        looks = [anchors[name][0]] if name in anchors else []
        if name in curves.scans:
            looks.insert(0, _of_peak(curves.scans[name]))
        cost = len(curves.scans[name].readings.table) if name in curves.scans else _usual_cost(curves)
        nm = (anchors[name][1],) if name in anchors else ()
        yield Candidate(SCAN, f"scan line {name} once more", tuple(looks), cost, nm, name)
    if curves.tuning is not None:
        yield from _new_lines(curves.tuning, _usual_cost(curves))
        yield from _stated_better(curves.tuning)


def _usual_cost(curves: Curves) -> int:
    counts = [len(s.readings.table) for s in curves.scans.values()]
    return int(np.median(counts)) if counts else _USUAL_SCAN


def _of_peak(scan: Scan) -> Look:
    """Return what a further scan shows: this one's scatter is its own; every other cause both share."""
    parts = scan.centre_mhz.derivatives
    own = {v: d for v, d in parts.items() if (v.tag or "").startswith("scatter of")}
    u = float(sum((d * v.s) ** 2 for v, d in own.items()) ** 0.5)
    return Look(AffineScalarFunc(scan.centre_mhz.n, LinearCombination(own)), u)


def _anchor_looks(tuning: Tuning) -> dict[str, tuple[Look, float]]:
    """Return for each line of the curve a further reading of it, as indicated, and its wavelength (nm)."""
    labels, nm, shown, u_mhz, u_nm = _anchors(tuning)
    return {
        label: (Look(s, float(u), float(w), 1), float(x))
        for label, s, u, w, x in zip(labels, shown, u_mhz, u_nm, nm, strict=True)
    }


def _anchors(tuning: Tuning) -> tuple[list[str], FloatArray, list[UFloat], FloatArray, FloatArray]:
    """Return label, wavelength (nm), indicated frequency, and u of it by scatter and by the stated wavelength (MHz)."""
    problem, fit = tuning.problem, tuning.fit
    function = FittedFunction(fit, tuning.law)
    table = tuning.readings.table
    labels = [str(v) for v in table["label"]] if "label" in table.columns else [f"{x:.2f} nm" for x in problem.x]
    slope = np.abs(problem.slope(problem.x, fit.values))
    u_y = np.full_like(problem.y, fit.noise or 0.0) if problem.u_y is None else problem.u_y
    u_x = np.zeros_like(problem.y) if problem.u_x is None else problem.u_x
    return labels, problem.x, list(function(problem.x)), fit.birge * u_y, fit.birge * slope * u_x


def _new_lines(tuning: Tuning, cost: int) -> Iterator[Candidate]:
    """Yield lines stated and scanned as well as the median anchor."""
    _, _, _, u_mhz, _ = _anchors(tuning)
    problem, fit = tuning.problem, tuning.fit
    nm = np.linspace(*tuning.range_nm, _NEW_LINES)
    u_nm = 0.0 if problem.u_x is None else float(np.median(problem.u_x))
    shifts = fit.birge * u_nm * np.abs(problem.slope(nm, fit.values))
    shown = FittedFunction(tuning.fit, tuning.law)(nm)
    for x, s, shift in zip(nm.tolist(), shown, shifts.tolist(), strict=True):
        look = Look(s, float(np.median(u_mhz)), shift)
        yield Candidate(NEW_LINE, f"scan a new line of known wavelength near {x:.0f} nm", (look,), cost, (x,))


def _stated_better(tuning: Tuning) -> Iterator[Candidate]:
    """Yield, for each anchor, its wavelength measured with a wavemeter of 0.01 nm."""
    if tuning.problem.u_x is None:
        return
    rows = zip(*_anchors(tuning), tuning.problem.u_x.tolist(), strict=True)
    for label, nm, shown, u_mhz, u_shift, u_nm in rows:
        if u_nm <= _WAVEMETER_NM:
            continue
        now, then = u_mhz**2 + u_shift**2, u_mhz**2 + (u_shift * _WAVEMETER_NM / u_nm) ** 2
        u = float((1 / then - 1 / now) ** -0.5)
        words = f"state the wavelength of anchor {label} to {_WAVEMETER_NM} nm, by its catalogue or a wavemeter"
        yield Candidate(CALIBRATION, words, (Look(shown, u),), 1, (float(nm),), label)
