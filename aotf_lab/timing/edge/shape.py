"""Is the edge that of a Gaussian beam? What the fit leaves near the edges against the noise of the plateaus."""

from __future__ import annotations

import numpy as np
from scipy import special

from aotf_lab.estimation import SIGNIFICANCE, Check
from aotf_lab.timing.edge.model import FittedSteps
from aotf_lab.timing.edge.trace import FloatArray

__all__ = ["shape_check"]

_NEAR = 1.2
_DARK, _STILL = 0.1, 0.9
"""What of the step is a plateau, and how many of its samples say that it stands still."""


def cut_off_v(light: FittedSteps, signal_v: FloatArray) -> float | None:
    """Return the volts at which the scope's range cut the light off, None where nothing shows that it did.

    The samples ``signal_v`` (n,) of the bright plateau then stand still at the highest, where the dark ones move.
    """
    share = (signal_v - light.levels.low_v) / (light.levels.high_v - light.levels.low_v)
    top = float(np.max(signal_v))
    dark = signal_v[share < _DARK]
    still = float(np.mean(signal_v[share > 1.0 - _DARK] == top))
    moving = float(np.mean(dark == np.median(dark))) < _STILL / 2
    return top if still > _STILL and moving else None


def shape_check(light: FittedSteps, lag_us: float, cut_v: float | None = None) -> Check:
    """Return the check that residuals within 1.2 rise times of an edge are no larger than the plateaus' noise.

    Fisher's F: the mean square of the whitened residuals there over that of the plateaus. ``cut_v`` is where the scope
    cut the light off: the cure then says so.
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
    if cut_v is not None:
        cure = f"the scope cut the light off at {cut_v:.4g} V: save it again in a larger range"
    passed = ratio <= limit
    return Check("Gaussian edge", passed, detail if passed else f"{detail}; {cure}")
