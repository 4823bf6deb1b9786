"""Light behind a turning analyser: the law of Malus with a floor.

P(a) = P0 [(1 - e) cos^2(a - axis) + e sin^2(a - axis)]: the two polarisations, each by the law of Malus (Born & Wolf,
Principles of Optics; any textbook of optics).
"""

from __future__ import annotations

import numpy as np

from aotf_lab.estimation.problem import FloatArray

__all__ = ["analyser_law"]


def analyser_law(analyser_deg: FloatArray, power_mw: float, axis_deg: float, contrast: float) -> FloatArray:
    """Return the light (mW) behind an analyser at ``analyser_deg`` (n,); ``contrast`` is 1 - 2 e.

    >>> analyser_law(np.array([0.0, 30.0, 90.0]), 1.0, 0.0, 1.0).round(6).tolist()
    [1.0, 0.75, 0.0]
    """
    twice = np.radians(2.0 * (np.asarray(analyser_deg, dtype=float) - axis_deg))
    return np.asarray(0.5 * power_mw * (1.0 + contrast * np.cos(twice)))
