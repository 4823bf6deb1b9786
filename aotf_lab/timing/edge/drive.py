"""From the drive's step to the light's: the delay of the sound."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from uncertainties import UFloat

from aotf_lab.errors import FitError, ReadingsError, Said
from aotf_lab.estimation import Check, new_cause
from aotf_lab.estimation.checks import chi2_limit
from aotf_lab.physics.edges import RISE_PER_DEVIATION
from aotf_lab.timing.edge.model import FittedSteps, fit_steps
from aotf_lab.timing.edge.steps import find_steps
from aotf_lab.timing.edge.trace import Trace
from aotf_lab.timing.numbers import Number

__all__ = ["delay_of", "mean_of", "require_drive_first"]

_FITTED_SAMPLES = 5.0
"""A drive that takes more samples than this from 10 to 90 % is fitted; a faster one stepped between two samples."""


def mean_of(values: list[UFloat]) -> UFloat:
    """Return the mean of ``values``, weighted by their variances."""
    weights = np.array([v.s**-2.0 for v in values])
    return sum(float(w) * v for w, v in zip(weights / weights.sum(), values, strict=True))


def _drive_steps(trace: Trace, scope: Mapping[str, Number]) -> list[UFloat]:
    """Return when (us) the drive stepped, without the scope's lag."""
    assert trace.drive_v is not None
    levels = find_steps(trace.time_us, trace.drive_v, "the drive")
    if min(s.rise_us for s in levels.steps) > _FITTED_SAMPLES * trace.step_us:
        fitted = fit_steps(trace.time_us, trace.drive_v, scope, "the drive")
        return [fitted.centre(k) for k in range(len(fitted.levels.steps))]
    late = math.log(2.0) * sum(scope.values(), 0.0)  # a step behind a pole is half way after ln 2 time constants
    sampling = new_cause("sampling of the drive's step", trace.step_us / 12.0**0.5)
    return [s.centre_us - late + sampling for s in levels.steps]


def require_drive_first(trace: Trace) -> None:
    """Raise ``ReadingsError`` for light that steps before, and faster than, what is said to drive it."""
    if trace.drive_v is None:
        return
    try:
        light = find_steps(trace.time_us, trace.light_v, "the light").steps
        drive = find_steps(trace.time_us, trace.drive_v, "the drive").steps
    except FitError:
        return
    fast, slow = (float(np.median([s.rise_us for s in steps])) for steps in (light, drive))
    earlier = len(light) == len(drive) and all(a.centre_us < b.centre_us for a, b in zip(light, drive, strict=True))
    if earlier and fast < 0.5 * slow:
        raise ReadingsError(
            "the light steps before its drive, and faster", where=trace.readings.place(0),
            found=Said(f"light in {fast:.3g} us, {drive[0].centre_us - light[0].centre_us:.3g} us before the drive "
                       f"in {slow:.3g} us"),
            allowed="light that follows the drive",
            cure="exchange the two columns: map signal and drive in a layout",
        )  # fmt: skip


def delay_of(trace: Trace, light: FittedSteps, scope: Mapping[str, Number]) -> tuple[UFloat | None, tuple[Check, ...]]:
    """Return the delay (us) from drive to light, None without a drive or an edge of it before the light's; checks."""
    if trace.drive_v is None:
        return None, ()
    try:
        steps = _drive_steps(trace, scope)
    except (FitError, ReadingsError) as error:
        return None, (Check("delay", False, f"the drive shows no edge to count from: {error}"),)
    delays = []
    for k, edge in enumerate(light.levels.steps):
        middle = light.centre(k)
        before = [s for s in steps if s.n < middle.n + edge.rise_us / RISE_PER_DEVIATION]
        if before:
            delays.append(middle - before[-1])
    if not delays:
        return None, (Check("delay", False, "no edge of the drive comes before one of the light; "
                            "save the trace from before the drive's step"),)  # fmt: skip
    mean = mean_of(delays)
    if len(delays) == 1:
        return mean, ()
    chi2, dof = sum(((d - mean).n / d.s) ** 2 for d in delays), len(delays) - 1
    said = ", ".join(f"{d:.2uS}" for d in delays)
    detail = f"from drive to light {said} us: chi2 = {chi2:.1f} on {dof}, limit {chi2_limit(dof):.1f}"
    cure = ("the edges are late by different times: the drive passes the line's peak at another time on the way in "
            "than on the way out, or the light belongs to another edge of the drive")  # fmt: skip
    passed = bool(chi2 <= chi2_limit(dof))
    return mean, (Check("delays agree", passed, detail if passed else f"{detail}; {cure}"),)
