"""The lobes of (sin s / s)^2 where their exact place is not known.

By coupled waves all light of a passband lies on q^2 (sin s / s)^2 with s^2 = q^2 + D^2 (see ``coupled_waves``). Its
maxima beyond the main lobe are the roots of tan s = s.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.physics.domain import Values, as_values

__all__ = ["from_here_on", "phase_spread", "sinc_square"]


def sinc_square(s: ArrayLike) -> Values:
    """Return (sin s / s)^2, 1 at s = 0."""
    return as_values(np.sinc(as_values(s) / np.pi) ** 2)


def from_here_on(s: ArrayLike) -> Values:
    """Return the largest (sin s' / s')^2 of all s' at or beyond ``s`` (rad, 0 or more): the lobes without their nulls.

    That is the function itself where it falls, else the next lobe's top. The tops are placed by the asymptotic series
    of the roots of tan s = s, within 5e-5 rad for the first, where the value is good to 1e-9.

    >>> [round(float(v), 4) for v in from_here_on([0.0, 1.3916, np.pi, 4.4934, 2 * np.pi])]
    [1.0, 0.5, 0.0472, 0.0472, 0.0165]
    """
    here = as_values(s)
    lobe = np.maximum(np.floor(here / np.pi), 1.0)
    lobe = lobe + (here > _top(lobe))
    return np.maximum(sinc_square(here), sinc_square(_top(lobe)))


def _top(lobe: Values) -> Values:
    """Return the root of tan s = s in lobe number 1, 2, ..."""
    b = (lobe + 0.5) * np.pi
    return as_values(b - 1.0 / b - 2.0 / (3.0 * b**3) - 13.0 / (15.0 * b**5))


def phase_spread(s: ArrayLike, u: ArrayLike) -> Values:
    """Return the root mean square of sin^2(s + d) - sin^2(s) for a normal d of standard deviation ``u`` (rad).

    From E cos(2 d) = exp(-2 u^2), cos(2s + 2d) has mean cos(2s) e1 and mean square (1 + cos(4s) e1^4) / 2 with
    e1 = exp(-2 u^2). To first order it is |sin 2s| u; at a null, where that is zero, it is 3^(1/2) u^2; for a phase of
    which nothing is known 8^(-1/2) about the mean 1/2.

    >>> round(float(phase_spread(np.pi, 0.01) / 0.01**2), 2)
    1.73
    """
    place, kept = as_values(s), np.exp(-2.0 * as_values(u) ** 2)
    c = np.cos(2 * place)
    square = (1.0 + np.cos(4 * place) * kept**4) / 2 - 2.0 * c * c * kept + c * c
    return as_values(np.sqrt(np.maximum(square, 0.0)) / 2)
