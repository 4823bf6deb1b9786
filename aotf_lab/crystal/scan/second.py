"""Do the readings of a scan ask for a second passband, and where is it: inside the scan, or beyond its end?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.scan.attempts import asked_for, limit, strained, tried
from aotf_lab.crystal.scan.fit import ScanSolution, settled
from aotf_lab.crystal.scan.places import NEAREST, end_places, second_places, two_peak_starts
from aotf_lab.crystal.scan.point import ScanPoint
from aotf_lab.crystal.scan.valley import walk
from aotf_lab.errors import AotfLabError

__all__ = ["BRANCH_LIMIT", "Second", "second_passband"]

BRANCH_LIMIT = 40.0
"""Rise of twice the log likelihood from which a second passband is believed; LEAST_SHARE its least share of the light.
Calibrated on leaning and wandering scans with one peak (tests/benchmarks/scan.py)."""

LEAST_SHARE = 0.02

_HOPE = 0.25
"""Share of ``BRANCH_LIMIT`` from which deeper minima are looked for."""

_DEEPER, _WALKS = 0.5, 3


@dataclass(frozen=True)
class Second:
    """A fit with two passbands.

    ``gained`` is the rise of twice the log likelihood over the fit without, ``parameters`` the fitted ones, with the
    uncertainty of the whole valley where ``believed``: where the gain is beyond ``BRANCH_LIMIT`` and the second a
    passband of its own. ``inside`` says whether its peak lies within the scan.
    """

    solution: ScanSolution
    gained: float
    parameters: Mapping[str, UFloat]
    believed: bool
    inside: bool


def second_passband(without: ScanSolution, level: ScanSolution, point: ScanPoint) -> Second | None:
    """Return the best fit with two passbands, or None where nothing asks for a second one.

    ``without`` is the fit believed so far and ``level`` that on a level floor, about which ``point`` is; both are one
    where no slope is needed. A slope may stand for the flank of a second passband, which is therefore always tried.
    """
    sloped = without.model.sloped
    places = second_places(point)
    if places or sloped or strained(without):
        places += two_peak_starts(level.table, level.told.guess, level.model)
    first = tried(level, {"second": True}, *places) if places else None
    hoped = first is not None and without.badness - first.badness > _HOPE * BRANCH_LIMIT
    found = _each(level, places) if hoped or sloped else []
    if sloped:
        found += _each(without, second_places(ScanPoint.of(without)))
        found += _each(without, end_places(without.table, float(without.fit.values[0])), sloped=False)
    if not found:
        return None
    best = min(found, key=lambda s: s.badness)
    if best.model.sloped:
        best = _flattened(best)
    return _judged(without, best)


def _each(
    solution: ScanSolution, places: Sequence[Mapping[str, float]], sloped: bool | None = None
) -> list[ScanSolution]:
    """Return the fits with a second passband from each of ``places``, their scatter judged about themselves."""
    changes = {"second": True} | ({} if sloped is None else {"sloped": sloped})
    found: list[ScanSolution] = []
    for place in places:
        two = tried(solution, changes, place)
        if two is not None and not any(_same(two, other) for other in found):
            found.append(two)
    return [_settled(two) for two in found]


def _same(one: ScanSolution, other: ScanSolution) -> bool:
    u = np.sqrt(np.diag(one.fit.covariance))
    return bool(np.all(np.abs(one.fit.values - other.fit.values) <= 0.1 * u))


def _settled(solution: ScanSolution) -> ScanSolution:
    try:
        again = settled(solution)
    except (AotfLabError, np.linalg.LinAlgError):
        return solution
    return again if again.failure is None else solution


def _judged(without: ScanSolution, best: ScanSolution) -> Second:
    parameters = best.fit.parameters
    for _ in range(_WALKS if without.badness - best.badness > _HOPE * BRANCH_LIMIT else 0):
        valley = walk(best)
        parameters = valley.parameters
        if valley.depth < _DEEPER:
            break
        best = _settled(replace(best, fit=replace(best.fit, values=valley.deepest)))
    gained = without.badness - best.badness
    values = dict(zip(best.model.names, best.fit.values.tolist(), strict=True))
    share = values["second_ratio"] / (1.0 + values["second_ratio"])
    apart = abs(values["separation_mhz"]) / values["fwhm_mhz"]
    f, second = best.table.frequency_mhz, values["centre_mhz"] + values["separation_mhz"]
    believed = gained > BRANCH_LIMIT and share > LEAST_SHARE and apart >= NEAREST
    return Second(best, gained, parameters, bool(believed), bool(f.min() <= second <= f.max()))


def _flattened(two: ScanSolution) -> ScanSolution:
    """Return ``two`` with a level floor where the second passband explains what the slope stood for."""
    level = tried(two, {"sloped": False}, {})
    if level is None:
        return two
    centre = float(level.fit.values[0])
    column = level.model.trailing(level.table.frequency_mhz - centre, level.fit.values)
    slope, u = asked_for(ScanPoint.of(level), column)
    return two if abs(slope) > limit(level) * u else level
