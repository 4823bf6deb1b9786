"""Is the edge that of a Gaussian beam? What the fit leaves near the edges against the noise of the plateaus."""

from __future__ import annotations

import numpy as np
from scipy import special

from aotf_lab.estimation import SIGNIFICANCE, Check
from aotf_lab.timing.edge.model import FittedSteps

__all__ = ["shape_check"]

_NEAR = 1.2


def shape_check(light: FittedSteps, lag_us: float) -> Check:
    """Return the check that residuals within 1.2 rise times of an edge are no larger than the plateaus' noise.

    Fisher's F: the mean square of the whitened residuals there over that of the plateaus.
    """
    order = len(light.noise.weights)
    time, left = light.time_us[order:], light.noise.whiten(light.value_v - light.expected_v)
    near = np.zeros(len(time), dtype=bool)
    for k, edge in enumerate(light.levels.steps):
        near |= np.abs(time - light.centre(k).n - lag_us) < _NEAR * edge.rise_us
    rows = int(np.sum(near))
    used = sum(1 for name in light.fit.parameters if name.endswith("_us")) * 1.0
    if rows <= used + 2:
        return Check("Gaussian edge", True, f"{rows} samples on the edges are too few to judge their form")
    ratio = float(np.sum(left[near] ** 2)) / (rows - used) / light.noise.innovation_v**2
    limit = float(special.fdtri(rows - used, max(light.noise.samples - 1, 1), 1.0 - SIGNIFICANCE))
    detail = f"near the edges the fit leaves {ratio:.2f} times the variance of the plateaus, limit {limit:.2f}"
    cure = ("not the edge of a Gaussian beam behind the stated poles: state the bandwidth of detector, scope and port, "
            "make the drive's step faster or smaller, or look at the beam's profile")  # fmt: skip
    passed = ratio <= limit
    return Check("Gaussian edge", passed, detail if passed else f"{detail}; {cure}")
