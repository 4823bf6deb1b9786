"""Bit errors by Gaussian noise: Q is the distance of the levels over the sum of their rms noise, BER = erfc(Q/sqrt2)/2.

With the threshold where both kinds of error are alike (Agrawal, Fiber-Optic Communication Systems, receiver
sensitivity; from memory).
"""

from __future__ import annotations

import numpy as np
from scipy import optimize, special

from aotf_lab.errors import AotfLabError

__all__ = ["bit_error_rate", "q_factor", "q_needed"]


def q_factor(opening: float, noise_on: float, noise_off: float) -> float:
    """Return Q of levels ``opening`` apart, all in shares of the light when on; infinite without noise."""
    noise = noise_on + noise_off
    if noise == 0:
        return float("inf") if opening > 0 else 0.0
    return max(opening, 0.0) / noise


def bit_error_rate(q: float) -> float:
    """Return the chance that a bit is read wrong.

    >>> f"{bit_error_rate(6.0):.1e}", bit_error_rate(0.0)
    ('9.9e-10', 0.5)
    """
    return float(0.5 * special.erfc(q / np.sqrt(2.0)))


def q_needed(limit: float) -> float:
    """Return the Q at which the bit error rate is ``limit``; raises ``AotfLabError`` outside 0 to 0.5.

    >>> round(q_needed(1e-9), 3)
    5.998
    """
    if not 0 < limit < 0.5:
        raise AotfLabError("bit error rate", found=limit, allowed="above 0, below 0.5", cure="state for example 1e-9")
    return float(optimize.brentq(lambda q: np.log(bit_error_rate(q)) - np.log(limit), 0.0, 37.0, xtol=1e-10))
