"""Does each line's own saturation power agree with what the other lines say by the law of wavelength?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from uncertainties import covariance_matrix

from aotf_lab.crystal.efficiency.curve import SLOPE_ONLY
from aotf_lab.crystal.efficiency.one_line import Efficiency
from aotf_lab.crystal.efficiency.shared import EXPONENT, REFERENCE_NM, U_EXPONENT
from aotf_lab.estimation import Check
from aotf_lab.estimation.checks import z_limit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["wavelength_check"]

_NAME = "wavelength law"


def wavelength_check(lines: Sequence[Efficiency]) -> Check:
    """Return the check that the lines' own saturation powers lie on one power of the wavelength.

    Each line in turn is given a shift of its own, which leaves the law to the others; the line named
    is the one without which the others agree best. Lines at level "slope only" have no say.
    """
    judged = [e for e in lines if e.level != SLOPE_ONLY]
    if len(judged) < 2:
        return Check(_NAME, True, "fewer than two lines driven beyond 0.4 P_sat: the law cannot be checked")
    shifts = _shifts(judged)
    limit = z_limit(len(judged))
    if all(abs(shift) <= limit * u for shift, u, _ in shifts):
        worst = max(abs(shift) / u for shift, u, _ in shifts)
        return Check(_NAME, True, f"P_sat of each line agrees with the others' law: {worst:.1f} standard uncertainties "
                     f"at the most, limit {limit:.1f}")  # fmt: skip
    guilty = min(range(len(judged)), key=lambda i: shifts[i][2])
    shift, u, _ = shifts[guilty]
    if len(judged) > 2:
        what = f"P_sat of line {judged[guilty].line} alone is {100 * np.expm1(shift):+.2g} % from the law of the others"
    else:
        names = f"{judged[0].line} and {judged[1].line}"
        what = f"P_sat of lines {names} differ by {100 * np.expm1(abs(shift)):.2g} % more than the law says"
    detail = f"{what}, {abs(shift) / u:.1f} standard uncertainties; limit {limit:.1f}"
    return Check(_NAME, False, f"{detail}; check the wavelength, the tuning and the RF power there")


def _shifts(lines: Sequence[Efficiency]) -> list[tuple[float, float, float]]:
    """Return of each line its shift in ln P_sat off the others' law, the u of that, and the others' chi-square."""
    powers = [e.saturation_power_w for e in lines]
    nominal = np.array([p.n for p in powers])
    covariance = np.array(covariance_matrix(powers)) / np.outer(nominal, nominal)
    ratio = np.log(np.array([float(e.wavelength_nm or REFERENCE_NM) for e in lines]) / REFERENCE_NM)
    whiten = np.linalg.inv(np.linalg.cholesky(covariance))
    y = np.append(whiten @ np.log(nominal), EXPONENT / U_EXPONENT)
    found = []
    for own in np.eye(len(lines)):
        design = np.vstack([whiten @ np.column_stack([np.ones_like(ratio), ratio, own]), [0, 1 / U_EXPONENT, 0]])
        found.append(_last(design, y))
    return found


def _last(design: FloatArray, y: FloatArray) -> tuple[float, float, float]:
    """Return the last parameter of a least-squares fit, its standard uncertainty, and the sum of squares left."""
    inverse = np.linalg.inv(design.T @ design)
    values = inverse @ design.T @ y
    return float(values[-1]), float(np.sqrt(inverse[-1, -1])), float(np.sum((y - design @ values) ** 2))
