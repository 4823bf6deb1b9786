"""Which cause makes how much of an uncertainty."""

from __future__ import annotations

from collections.abc import Mapping

from uncertainties import UFloat

__all__ = ["effective_dof", "largest_cause", "u_by_cause", "variance_shares"]


def u_by_cause(value: UFloat) -> dict[str, float]:
    """Return the standard uncertainty that each named cause gives ``value``, largest first.

    A cause is the tag of the shared variables; variables without one count as "other".
    """
    squares: dict[str, float] = {}
    for variable, component in value.error_components().items():
        tag = variable.tag or "other"
        squares[tag] = squares.get(tag, 0.0) + component**2
    return {tag: square**0.5 for tag, square in sorted(squares.items(), key=lambda item: -item[1])}


def variance_shares(value: UFloat) -> dict[str, float]:
    """Return the share (0 to 1) of ``value``'s variance that each named cause makes.

    >>> from uncertainties import ufloat
    >>> variance_shares(ufloat(1, 3, tag="gain") + ufloat(0, 4, tag="noise"))
    {'noise': 0.64, 'gain': 0.36}
    """
    parts = u_by_cause(value)
    total = sum(u**2 for u in parts.values())
    return {tag: u**2 / total for tag, u in parts.items()} if total > 0 else {}


def largest_cause(value: UFloat) -> str:
    """Return the name of the cause that makes most of ``value``'s variance ("none" when exact)."""
    return next(iter(variance_shares(value)), "none")


def effective_dof(value: UFloat, dof_of: Mapping[str, float]) -> float:
    """Return the effective degrees of freedom of ``value`` (Welch-Satterthwaite, GUM G.4.1).

    ``dof_of`` gives the degrees of freedom of each cause; a cause not named there has infinitely many.
    """
    total = value.s**2
    denominator = sum(u**4 / dof_of[tag] for tag, u in u_by_cause(value).items() if tag in dof_of)
    return float(total**2 / denominator) if denominator > 0 else float("inf")
