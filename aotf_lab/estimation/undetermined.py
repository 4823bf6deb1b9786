"""Fits that readings cannot decide: parameters left free, and searches that run away."""

from __future__ import annotations

from aotf_lab.errors import FitError, Said
from aotf_lab.estimation.problem import FloatArray, Problem

__all__ = ["SINGULAR", "ran_away", "singular_names", "undetermined"]

SINGULAR = 1e-8
"""Smallest singular value (columns scaled to one) that finite differences can tell from zero."""


def singular_names(names: list[str], s: FloatArray, vt: FloatArray) -> list[str]:
    """Return the parameters that a scaled Jacobian with singular values ``s`` cannot tell apart, if any."""
    if len(s) == len(names) and s[-1] > SINGULAR * s[0]:
        return []
    return [n for n, v in zip(names, vt[-1], strict=True) if abs(v) > 0.1] or names


def ran_away(problem: Problem, sum_squares: float) -> FitError:
    """Return the error that the search ran to where the model has no value."""
    return FitError(
        f"the fit of {problem.scatter} ran to where its model has no value",
        found=Said(f"a sum of squares of {sum_squares:g}"),
        allowed="a finite one",
        cure="start nearer to the answer, or bound the parameters",
    )


def undetermined(problem: Problem, names: list[str]) -> FitError:
    """Return the error that the readings do not determine ``names``."""
    return FitError(
        f"{problem.scatter} do not determine {' and '.join(names)}",
        found=Said(f"{len(problem.y)} readings that leave them free"),
        allowed="readings that change when each parameter changes",
        cure="measure where the parameters act, or start nearer to the answer",
    )
