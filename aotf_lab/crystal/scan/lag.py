"""The meter's lag of a fitted scan, and what a one-way lag leaves in doubt."""

from __future__ import annotations

import math
from collections.abc import Mapping

from uncertainties import UFloat

from aotf_lab.crystal.scan.fit import ScanSolution
from aotf_lab.estimation import new_cause

__all__ = ["exactly", "lag_steps", "motion_within_a_step"]


def exactly(parameters: Mapping[str, UFloat], value: float | None) -> UFloat:
    """Return ``value`` as a number without uncertainty."""
    return next(iter(parameters.values())) * 0.0 + (0.0 if value is None else value)


def lag_steps(solution: ScanSolution) -> UFloat:
    """Return by how many steps the meter trails."""
    parameters = solution.fit.parameters
    return parameters.get("lag_steps", exactly(parameters, solution.model.lag_steps))


def motion_within_a_step(solution: ScanSolution) -> UFloat | None:
    """Return the doubt (MHz) about a one-way lag from not knowing how the frequency moved within each step.

    A meter that trails by m steps behind a standing frequency trails by 1 / ln(1 + 1/m) behind a gliding one, up to
    half a step more. Standing is assumed; were gliding as likely, the mean square of the error is half of that squared.
    """
    steps = lag_steps(solution).n
    if not (solution.table.one_way and steps > 0):
        return None
    u_steps = (1.0 / math.log1p(1.0 / steps) - steps) / math.sqrt(2.0)
    return new_cause("motion within a step", u_steps * solution.table.pace_mhz)
