"""The highest RF power that is sure to stay below the crystal's rating."""

from __future__ import annotations

from collections.abc import Iterable

from scipy import stats
from scipy.optimize import brentq
from uncertainties import UFloat

from aotf_lab.errors import Said, UnsafeDriveError
from aotf_lab.estimation import CommonError

__all__ = ["CONFIDENCE", "highest_safe_power", "require_safe", "true_power", "upper_bound"]

CONFIDENCE = 0.975
"""One-sided: the true power stays below the rating with this confidence."""


def true_power(indicated_w: float, scale: Iterable[CommonError]) -> UFloat | float:
    """Return the true power when the bench's own scope indicates ``indicated_w``."""
    power: UFloat | float = indicated_w
    for error in scale:
        power = error.applied_to(power)
    return power


def upper_bound(power_w: UFloat | float) -> float:
    """Return the one-sided upper bound of ``power_w`` at ``CONFIDENCE`` (the number itself when exact)."""
    if not isinstance(power_w, UFloat):
        return float(power_w)
    return float(power_w.n + stats.norm.ppf(CONFIDENCE) * power_w.s)


def highest_safe_power(rated_w: float, scale: Iterable[CommonError]) -> float:
    """Return the indicated power whose upper bound just meets the rating.

    ``scale`` holds the power scale's shared errors: where each is relative the bound is a factor. Raises
    ``UnsafeDriveError`` when an error in watts alone could exceed the rating.
    """
    errors = tuple(scale)
    if all(error.kind == "relative" for error in errors):
        return rated_w / upper_bound(true_power(1.0, errors))
    require_safe(true_power(0.0, errors), rated_w, "no RF power at all")
    return float(brentq(lambda w: upper_bound(true_power(w, errors)) - rated_w, 0.0, 2.0 * rated_w, xtol=1e-12))


def require_safe(power_w: UFloat | float, rated_w: float, where: str) -> None:
    """Raise ``UnsafeDriveError`` when the upper bound of ``power_w`` exceeds the rating."""
    bound = upper_bound(power_w)
    if not bound <= rated_w * (1 + 1e-9):  # what is no number is not safe
        raise UnsafeDriveError(
            "RF power could exceed the crystal's rating",
            where=where,
            found=Said(f"{power_w:.3g} W, up to {bound:.3g} W at {100 * CONFIDENCE:g} %"),
            allowed=f"at most {rated_w:g} W",
            cure="ask for less power, or calibrate the power scale",
        )
