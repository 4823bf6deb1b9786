"""A check: one named question about a result, its answer, and the numbers behind the answer."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import special

__all__ = ["SIGNIFICANCE", "Check", "chi2_check", "chi2_limit", "failed_words", "t_limit", "z_check", "z_limit"]

SIGNIFICANCE = 0.002
"""Chance that one check fails although nothing is wrong: two false alarms in a thousand."""


@dataclass(frozen=True)
class Check:
    """A named question about a result.

    ``detail`` states, in a sentence, the number found, the limit, and where it failed what to do.
    ``at_stake_mhz`` is the frequency error that a failure could mean, where one can be stated; the
    report translates it into light. ``of_limit`` is how much of its limit is used up, above 1 where it
    failed and only there; None where no one number decides.
    """

    name: str
    passed: bool
    detail: str
    at_stake_mhz: float | None = None
    of_limit: float | None = None

    def __str__(self) -> str:
        return f"{'ok' if self.passed else 'FAILED'} {self.name}: {self.detail}"


def failed_words(number: int, reasons: int = 0) -> str:
    """Return how many checks failed, and for how many reasons where several failed for one.

    >>> failed_words(1), failed_words(2, 2), failed_words(17, 7), failed_words(3, 1)
    ('1 check failed', '2 checks failed', '17 checks failed, for 7 reasons', '3 checks failed, for 1 reason')
    """
    words = f"{number} check{'s' * (number != 1)} failed"
    return f"{words}, for {reasons} reason{'s' * (reasons != 1)}" if 0 < reasons < number else words


def chi2_limit(dof: float) -> float:
    """Return the chi-square that ``dof`` degrees of freedom exceed with chance ``SIGNIFICANCE``.

    >>> round(chi2_limit(8), 2)
    24.35
    """
    return float(special.chdtri(dof, SIGNIFICANCE))


def chi2_check(chi2: float, dof: float, what: str) -> Check:
    """Return the check "scatter": is chi-square small enough for the stated uncertainties?

    >>> chi2_check(8.0, 10, "the readings").passed
    True
    """
    if dof < 0.5:
        return Check("scatter", True, f"no degrees of freedom left: the scatter of {what} cannot be judged")
    limit = chi2_limit(dof)
    detail = f"chi2 = {chi2:.1f} on {dof:.3g} degrees of freedom for {what}, limit {limit:.1f}"
    if chi2 <= limit:
        return Check("scatter", True, detail, of_limit=chi2 / limit)
    factor = (chi2 / dof) ** 0.5
    return Check(
        "scatter",
        False,
        f"{detail}: the readings scatter {factor:.2f} times more than their stated uncertainties, "
        "which were scaled up; look for an outlier, a drift or a wrong instrument accuracy",
        of_limit=chi2 / limit,
    )


def z_limit(tests: int = 1) -> float:
    """Return the two-sided limit of the largest of ``tests`` standard normal values."""
    return float(-special.ndtri(SIGNIFICANCE / (2 * max(tests, 1))))


def t_limit(dof: float, tests: int = 1) -> float:
    """Return the two-sided limit of the largest of ``tests`` Student t values; infinite below half a degree."""
    return float(-special.stdtrit(dof, SIGNIFICANCE / (2 * max(tests, 1)))) if dof >= 0.5 else float("inf")


def z_check(name: str, value: float, u: float, what: str, unit: str, cure: str, tests: int = 1) -> Check:
    """Return the check that ``value`` with standard uncertainty ``u`` agrees with zero.

    Without any u only zero itself does; what is not a number agrees with nothing.
    """
    if math.isnan(value) or not u >= 0:
        number = f"{value:.3g} +- {u:.2g} {unit}".rstrip()
        return Check(name, False, f"{what} cannot be judged: {number} is no number with a standard uncertainty; {cure}")
    if u == 0 and value != 0:
        number = f"{value:.3g} {unit}".rstrip()
        return Check(name, False, f"{what} is {number} and has no uncertainty, so that only zero is allowed; {cure}")
    z = value / u if u > 0 else 0.0
    limit = z_limit(tests)
    detail = (
        f"{what} is {value:.3g} +- {u:.2g} {unit}".rstrip()
        + f", {abs(z):.1f} standard uncertainties; limit {limit:.1f}"
    )
    passed = abs(z) <= limit
    return Check(name, passed, detail if passed else f"{detail}; {cure}", of_limit=abs(z) / limit)
