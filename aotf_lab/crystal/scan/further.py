"""What more than one passband on a level floor do the readings ask for: a slope, ranges of the meter, a second peak?

Each is tried only where the fit without it leaves room for it, and kept only where it is beyond chance, so that a good
scan keeps its fit and the uncertainty of its centre.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from aotf_lab.crystal.scan.fit import ScanSolution, solve_again
from aotf_lab.crystal.scan.model import passband
from aotf_lab.crystal.scan.point import ScanPoint
from aotf_lab.crystal.scan.ranges import found_ranges
from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.checks import t_limit, z_limit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["BRANCH_LIMIT", "Further", "further"]

BRANCH_LIMIT = 40.0
"""Rise of twice the log likelihood from which a second passband is believed; LEAST_SHARE its least share of the light.
Calibrated on leaning and wandering scans with one peak (tests/benchmarks/scan.py)."""

LEAST_SHARE = 0.02

HINT = 3.0
"""Standard uncertainties of a second passband's light from which it is tried; costs time, not false alarms."""

NEAREST, _STARTS = 0.25, 3
"""Distance (FWHM) of the nearest second passband that is looked for, and how many places are tried."""


@dataclass(frozen=True)
class Further:
    """The fit that is believed, and what led to it.

    ``slope`` and ``u_slope`` (mW/MHz) are what a level floor leaves to a slope, ``moved_mhz`` by how much the slope
    moved the centre (None where it was not needed). ``gained`` is the rise of twice the log likelihood that a second
    passband brings (None where it was not tried). ``ranges_found`` says that ranges of the meter were seen in digits.
    """

    solution: ScanSolution
    point: ScanPoint
    slope: float
    u_slope: float
    moved_mhz: float | None = None
    gained: float | None = None
    ranges_found: bool = False


def further(solution: ScanSolution) -> Further:
    """Return the fit of the rows of ``solution`` with all that they ask for."""
    solution, ranges_found = _with_ranges(solution)
    point = ScanPoint.of(solution)
    result = _with_slope(Further(solution, point, 0.0, np.inf, ranges_found=ranges_found))
    two = _with_second(result)
    return result if two is None else two


def _limit(solution: ScanSolution, tests: int = 1) -> float:
    return z_limit(tests) if solution.fit.u_known else t_limit(solution.fit.dof, tests)


def _term(point: ScanPoint, column_mw: FloatArray) -> tuple[float, float]:
    """Return the size of a term and its u: scaled by the scatter that is left once the term is in."""
    size, u = point.term(column_mw)
    fit = point.solution.fit
    u /= fit.birge
    if not np.isfinite(u) or fit.dof <= 1:
        return size, np.inf
    rest = max(fit.chi2 - (size / u) ** 2, 0.0) / (fit.dof - 1)
    return size, u * (max(rest, 1.0) ** 0.5 if fit.u_known else rest**0.5)


def _with_slope(before: Further) -> Further:
    solution = before.solution
    centre = float(solution.fit.values[0])
    column = solution.model.trailing(solution.table.frequency_mhz - centre, solution.fit.values)
    slope, u = _term(before.point, column)
    level = replace(before, slope=slope, u_slope=u)
    if not abs(slope) > _limit(solution) * u:
        return level
    sloped = _tried(solution, {"sloped": True}, {"slope_mw_per_mhz": slope})
    if sloped is None:
        return level
    moved = float(sloped.fit.values[0]) - centre
    return replace(level, solution=sloped, point=ScanPoint.of(sloped), moved_mhz=moved)


def _with_ranges(solution: ScanSolution) -> tuple[ScanSolution, bool]:
    """Return the fit with ranges of the meter that its digits show, where they differ at the same light."""
    ranges = None if solution.table.ranges is not None or solution.table.log else found_ranges(solution.table)
    if ranges is None:
        return solution, False
    point, values = ScanPoint.of(solution), solution.fit.values
    shown = solution.model(solution.table.frequency_mhz, *values)
    columns = [c for k in range(1, int(ranges.max()) + 1) for c in ((ranges == k) * 1.0, (ranges == k) * shown)]
    limit = _limit(solution, len(columns))
    terms = [_term(point, c) for c in columns]
    if not any(abs(size) > limit * u for size, u in terms):
        return solution, False
    found = _tried(solution, {"ranges": ranges}, {})
    return (solution, False) if found is None else (found, True)


def _with_second(before: Further) -> Further | None:
    """Return the fit with two passbands, or None where one is enough."""
    places = _places(before.point)
    best: ScanSolution | None = None
    for apart, ratio in places:
        starts = {"separation_mhz": apart, "second_ratio": min(max(ratio, 0.02), 1.0)}
        two = _tried(before.solution, {"second": True}, starts)
        if two is not None and (best is None or _badness(two) < _badness(best)):
            best = two
    if best is None:
        return None
    if before.moved_mhz is not None:  # the slope may have stood for the second passband
        best = _flattened(best)
    gained = _badness(before.solution) - _badness(best)
    values = dict(zip(best.model.names, best.fit.values.tolist(), strict=True))
    share = values["second_ratio"] / (1.0 + values["second_ratio"])
    apart = abs(values["separation_mhz"]) / values["fwhm_mhz"]
    f, second = best.table.frequency_mhz, values["centre_mhz"] + values["separation_mhz"]
    inside = bool(f.min() <= second <= f.max() and apart >= NEAREST)
    if not (gained > BRANCH_LIMIT and share > LEAST_SHARE and inside):
        return None
    moved = before.moved_mhz if best.model.sloped else None
    return replace(before, solution=best, point=ScanPoint.of(best), gained=gained, moved_mhz=moved)


def _flattened(two: ScanSolution) -> ScanSolution:
    """Return ``two`` with a level floor where the second passband explains what the slope stood for."""
    level = _tried(two, {"sloped": False}, {})
    if level is None:
        return two
    centre = float(level.fit.values[0])
    slope, u = _term(ScanPoint.of(level), level.model.trailing(level.table.frequency_mhz - centre, level.fit.values))
    return two if abs(slope) > _limit(level) * u else level


def _places(point: ScanPoint) -> list[tuple[float, float]]:
    """Return the likeliest separations (MHz) and height ratios of a second passband beside the fitted one."""
    solution = point.solution
    values, f = solution.fit.values, solution.table.frequency_mhz
    centre, fwhm, peak, skew = values[0], values[1], values[2], values[4]
    steps = np.arange(np.floor((f.min() - centre) / (0.2 * fwhm)), np.ceil((f.max() - centre) / (0.2 * fwhm)) + 1)
    apart = 0.2 * fwhm * steps
    apart = apart[(np.abs(apart) > NEAREST * fwhm) & (centre + apart >= f.min()) & (centre + apart <= f.max())]
    if len(apart) == 0 or not peak > 0:
        return []
    light = passband(f[:, None] - apart, centre, fwhm, skew, solution.model.drive(values))
    columns = solution.noise.whitened(solution.model.trailing(solution.table.light[:, None] * light, values))
    if solution.fit.noise is not None:
        columns = columns / solution.fit.noise
    rows = len(columns)
    basis = np.linalg.qr(point.gradient)[0]
    rest = -basis @ (basis[:rows].T @ columns)
    rest[:rows] += columns
    square = np.einsum("ij,ij->j", rest, rest)
    product = point.residual @ rest
    z = product / np.sqrt(np.maximum(square, 1e-12 * float(np.max(square))))
    tried = [int(k) for k in np.argsort(-z) if z[k] > HINT]
    kept: list[int] = []
    for k in tried:
        if all(abs(apart[k] - apart[j]) > 0.5 * fwhm for j in kept) and len(kept) < _STARTS:
            kept.append(k)
    return [(float(apart[k]), float(product[k] / square[k] / peak)) for k in kept]


def _badness(solution: ScanSolution) -> float:
    """Return -2 log likelihood of a fit, up to what all fits of these rows share."""
    return float(solution.fit.chi2 - 2.0 * np.linalg.slogdet(solution.noise.root)[1])


def _tried(solution: ScanSolution, changes: Mapping[str, object], starts: Mapping[str, float]) -> ScanSolution | None:
    """Return the fit of the changed model, or None where there is none."""
    model = solution.model
    kept = {"sloped": model.sloped, "second": model.second, "ranges": model.ranges} | dict(changes)
    changed = replace(model, **kept)  # type: ignore[arg-type]
    try:
        return solve_again(solution, changed, starts)
    except (AotfLabError, np.linalg.LinAlgError):
        return None
