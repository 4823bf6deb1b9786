"""What a fitted scan is asked before it is believed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.scan.fit import ScanSolution
from aotf_lab.crystal.scan.known import MOST_LEAD_STEPS
from aotf_lab.crystal.scan.point import ScanPoint
from aotf_lab.crystal.scan.sidelobes import Sidelobe
from aotf_lab.estimation import Check, Fit
from aotf_lab.estimation.checks import chi2_limit, z_limit
from aotf_lab.estimation.fit import standardised

__all__ = ["explained", "scan_checks"]

_CAUSES = {"wander": "clipped", "meter ranges": "clipped", "up and down": "wander", "single readings": "wander"}
"""Check -> the one whose failure brings its own along: a plateau looks like wander and like a second range."""

MOST_STANDING = 6.0
"""Standard deviations that a single reading may stand out by when the light wanders: how much it does is a guess."""

LEAST_REACH = 0.6
"""How far a scan is to reach beyond the centre on either side, in FWHM, so that it sees both half heights."""

LEAST_POINTS = 4.0
MOST_LAG = 0.5
MOST_LAG_DOUBT = 0.02
"""Doubt about a one-way lag, in FWHM, from which it counts: twice that off the peak costs 0.4 % of the light."""

MOST_WANDER = 0.03
MOST_RISE = 0.05
"""Change of the fitted light, over its peak, that three equal highest readings cannot owe to scatter alone."""

_LEAN_FORM = 0.17
"""Shift of the centre, over skew times FWHM, when the lean has another form: found by fitting passbands that lean as
D (1 - skew tanh(D/2)), D (1 - skew sign D) and D (1 - skew D/(1 + |D|))."""


def scan_checks(point: ScanPoint, lag_mhz: UFloat, u_motion_mhz: float, sidelobes: Sequence[Sidelobe]) -> list[Check]:
    """Return the checks of a scan beyond those that every fit gets."""
    solution = point.solution
    checks = [
        _lag_check(solution, lag_mhz, u_motion_mhz),
        _reach_check(solution),
        _step_check(solution),
        _clip_check(solution),
        _wander_check(solution),
        _lean_check(solution),
    ]
    if not solution.table.one_way:
        checks.append(_ways_check(point))
    checks += [_sidelobe_check(s) for s in sidelobes]
    if solution.table.mislabelled:
        checks.append(_label_check(solution))
    return checks


def explained(fit: Fit) -> Fit:
    """Return ``fit``, those of its checks passed that failed by what another one names: one cause, one failed check."""
    failed = {c.name for c in fit.checks if not c.passed}
    standing = float(np.max(np.abs(standardised(fit)[fit.leverage < 1 - 1e-6])))
    return replace(fit, checks=tuple(_explained(check, failed, standing) for check in fit.checks))


def _explained(check: Check, failed: set[str], standing: float) -> Check:
    cause = _CAUSES.get(check.name)
    if check.passed or cause not in failed:
        return check
    if check.name == "up and down" and "differ in frequency" in check.detail:
        return check
    if check.name == "single readings" and standing > MOST_STANDING:
        return check
    return replace(check, passed=True, detail=f"explained by {cause!r}, which fails: {check.detail}")


def _lag_check(solution: ScanSolution, lag_mhz: UFloat, u_motion_mhz: float) -> Check:
    shift = f"{1e3 * lag_mhz.n:.3g} +- {1e3 * lag_mhz.s:.2g} kHz"
    limit = z_limit()
    if not solution.table.one_way:
        least = -0.9 * MOST_LEAD_STEPS * solution.table.pace_mhz
        if lag_mhz.n < min(-limit * lag_mhz.s, 0.0) / solution.fit.birge or lag_mhz.n < least:
            detail = f"up and down lie {shift} each on the wrong side of the other, limit {limit:.1f} times that u"
            cure = "the peak moved between the two, or the directions are exchanged; let all warm up, scan again"
            return Check("lag", False, f"{detail}; {cure}", abs(lag_mhz.n))
        share, detail = lag_mhz.n / solution.fit.values[1], f"the power meter trails by {shift} each way"
        if share > MOST_LAG:
            detail = f"{detail}, {share:.2g} of the FWHM, limit {MOST_LAG:g}"
            return Check("lag", False, f"{detail}; scan more slowly: lag, lean and width are hard to tell apart")
        return Check("lag", True, f"{detail}, which up and down together cancel")
    if solution.model.lag_steps is not None:
        return Check("lag", True, f"measured one way only, with a power meter stated to trail by {shift}")
    centre, alone = _centre_u(solution)
    whole = float(np.hypot(centre, u_motion_mhz))
    detail = f"centre widened by {1e3 * (whole - alone):.2g} kHz, from {1e3 * alone:.2g} to {1e3 * whole:.2g} kHz"
    if solution.lag_stated:
        detail = f"measured one way only, the power meter trailing by {shift}: {detail}"
        doubt = (whole**2 - alone**2) ** 0.5 / solution.fit.values[1]
        detail = f"{detail}; of that {1e2 * doubt:.2g} % of the FWHM from the lag, limit {1e2 * MOST_LAG_DOUBT:g} %"
        if doubt <= MOST_LAG_DOUBT:
            return Check("lag", True, detail)
        return Check("lag", False, f"{detail}; scan back as well, or more slowly", whole)
    cure = "the FWHM rests on it too; scan back as well, or state the meter's time constant with a time_s column"
    return Check("lag", False, f"measured one way only: lag not separable, {detail}; {cure}", whole)


def _centre_u(solution: ScanSolution) -> tuple[float, float]:
    """Return the standard uncertainty of the centre (MHz), and what it were if the lag were known."""
    covariance = solution.fit.covariance
    k = solution.model.names.index("lag_steps")
    known = covariance[0, 0] - covariance[0, k] ** 2 / covariance[k, k]
    return float(covariance[0, 0]) ** 0.5, float(max(known, 0.0)) ** 0.5


def _reach_check(solution: ScanSolution) -> Check:
    f, (centre, fwhm) = solution.table.frequency_mhz, solution.fit.values[:2]
    below, above = (centre - f.min()) / fwhm, (f.max() - centre) / fwhm
    detail = f"the scan reaches {below:.2g} FWHM below the centre and {above:.2g} above, limit {LEAST_REACH:g}"
    passed = bool(min(below, above) >= LEAST_REACH)
    used = LEAST_REACH / max(min(below, above), 1e-9)
    return Check("range", passed, detail if passed else f"{detail}; scan two widths to either side", of_limit=used)


def _step_check(solution: ScanSolution) -> Check:
    fwhm, step = solution.fit.values[1], solution.table.step_mhz
    detail = f"{fwhm / step:.3g} readings over the FWHM in steps of {1e3 * step:.3g} kHz, limit {LEAST_POINTS:g}"
    passed = bool(fwhm >= LEAST_POINTS * step)
    used = float(LEAST_POINTS * step / fwhm)
    return Check("step", passed, detail if passed else f"{detail}; scan in finer steps", of_limit=used)


def _clip_check(solution: ScanSolution) -> Check:
    """Look for readings that stop at one value where the fitted peak would still have risen."""
    table, values = solution.table, solution.fit.values
    y = table.power_mw
    top = y >= y.max() - 1e-9 * abs(y.max())
    expected = solution.model(table.frequency_mhz, *values)
    different = np.unique(y)
    digit = float(np.min(np.diff(different))) if len(different) > 1 else 0.0
    rise = float(np.ptp(expected[top]))
    scatter = 2.5 * float(
        np.median(solution.noise.u_mw[top])
    )  # a plateau itself raises it: a share of the peak bounds it
    limit = max(min(scatter, MOST_RISE * float(values[2])), 4.0 * digit)
    clipped = bool(top.sum() >= 3 and rise > limit)
    if not clipped:
        return Check(
            "clipped", True, f"the highest value, {y.max():.4g} mW, was read {top.sum()} times, not on a plateau"
        )
    detail = f"{top.sum()} readings stop at {y.max():.6g} mW, over which the peak would vary by {rise:.2g} mW"
    return Check("clipped", False, f"{detail}, limit {limit:.2g}; take a higher range of the power meter")


def _wander_check(solution: ScanSolution) -> Check:
    size, limit = solution.noise.wander, chi2_limit(2)
    measured = bool(np.any(solution.table.light != 1.0))
    light = "the light, its measured part divided out," if measured else "the light"
    detail = f"{light} wanders by {1e2 * size:.2g} %, which the scatter carries; limit {1e2 * MOST_WANDER:g} %"
    passed = size <= MOST_WANDER or solution.noise.gain <= limit
    cure = "log incident_power_mw beside it, or wait for the laser to settle"
    used = min(size / MOST_WANDER, max(solution.noise.gain, 0.0) / limit)
    return Check("wander", passed, detail if passed else f"{detail}; {cure}", of_limit=used)


def _lean_check(solution: ScanSolution) -> Check:
    """State what the form of the lean, a convention, could do to the centre; fail beyond 1 % of the light."""
    skew, fwhm = abs(float(solution.fit.values[4])), float(solution.fit.values[1])
    shift, limit = _LEAN_FORM * skew * fwhm, 0.062 * fwhm
    detail = f"the passband leans by {1e2 * skew:.2g} %; a lean of another form would move its centre by up to"
    detail = f"{detail} about {1e3 * shift:.2g} kHz, limit {1e3 * limit:.2g} kHz (1 % of the light)"
    passed = shift <= limit
    cure = "align the crystal, or look for a second line"
    return Check("lean", passed, detail if passed else f"{detail}; {cure}", shift, shift / limit)


def _ways_check(point: ScanPoint) -> Check:
    """Do up and down differ beyond the lag, in frequency or in height?"""
    table, model, values = point.solution.table, point.solution.model, point.solution.fit.values
    step = 1e-3 * values[1]
    f, point = point.adjusted_mhz(), point.adjusted()
    slope = (model.signal(f - step, *values) - model.signal(f + step, *values)) / (2 * step)
    shift, u_shift = point.term(model.trailing(table.light * slope * table.direction, values))
    height, u_height = point.term(model.trailing(table.light * model.signal(f, *values) * table.direction, values))
    limit = z_limit(2)
    detail = f"up less down, beyond the lag: {2e3 * shift:.2g} +- {2e3 * u_shift:.2g} kHz in frequency and"
    detail = f"{detail} {2e2 * height:.2g} +- {2e2 * u_height:.2g} % in height, limit {limit:.1f} times these u"
    moved = abs(shift) > limit * u_shift
    passed = not moved and abs(height) <= limit * u_height
    detail += ": they differ in frequency" * moved
    cure = "something changed between the two; scan again once the crystal and the laser are warm"
    used = max(abs(part) / (limit * u) for part, u in ((shift, u_shift), (height, u_height)))
    return Check("up and down", passed, detail if passed else f"{detail}; {cure}", abs(shift), used)


def _sidelobe_check(sidelobe: Sidelobe) -> Check:
    excess, limit = sidelobe.relative.n - 1.0, z_limit(2) * sidelobe.relative.s
    detail = f"{sidelobe.relative.n:.3g} +- {sidelobe.relative.s:.2g} of the light that coupled waves give, {sidelobe}"
    passed = excess <= max(limit, 0.05)
    cure = "a second line, a second order or an uneven sound field adds light there"
    used = max(excess, 0.0) / max(limit, 0.05)
    return Check(f"{sidelobe.side} sidelobe", passed, detail if passed else f"{detail}; {cure}", of_limit=used)


def _label_check(solution: ScanSolution) -> Check:
    detail = f"{solution.table.mislabelled} readings go against the direction that they state, 0 allowed"
    return Check("direction", False, f"{detail}; the order of time was used: exchange the labels, or check the clock")
