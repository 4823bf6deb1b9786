"""Is a response broad enough for a plain modulator, or is it the passband of a filter?"""

from __future__ import annotations

import numpy as np

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.problem import FloatArray

__all__ = ["LEAST_BANDWIDTH", "half_light_mhz", "half_light_words", "require_broad"]

LEAST_BANDWIDTH = 0.02
"""Bandwidth over carrier below which nothing is a plain modulator: a Klein-Cook parameter of 555 by the law of
``physics.bragg``, where modulators have 10 to 100 (common practice, no source). A filter's passband has some 0.005.
"""


def half_light_mhz(frequency_mhz: FloatArray, light: FloatArray) -> tuple[float, float]:
    """Return the carrier (MHz) of most light among readings (n,), and the most (MHz) that its half width can be.

    That is from one reading below half of the light to the other: coarse steps make it wide.
    """
    order = np.argsort(frequency_mhz, kind="stable")
    f, net = frequency_mhz[order], light[order] - np.min(light)
    high = np.flatnonzero(net > 0.5 * np.max(net))
    if not high.size:
        return float(f[0]), float(f[-1] - f[0])
    outer = f[min(int(high[-1]) + 1, len(f) - 1)] - f[max(int(high[0]) - 1, 0)]
    return float(f[int(np.argmax(net))]), float(outer)


def half_light_words(carrier_mhz: float, width_mhz: float) -> str:
    """Return the two numbers in words.

    >>> half_light_words(86.34, 0.31)
    'half of the light within 0.31 MHz, 0.36 % of the carrier of 86.34 MHz'
    """
    share = 100 * width_mhz / carrier_mhz
    return f"half of the light within {width_mhz:.2g} MHz, {share:.2g} % of the carrier of {carrier_mhz:.4g} MHz"


def require_broad(frequency_mhz: FloatArray, light: FloatArray, where: str) -> None:
    """Raise ``ReadingsError`` where a response (n,) is too narrow for the law of a modulator, which would not fit."""
    carrier_mhz, width_mhz = half_light_mhz(frequency_mhz, light)
    if width_mhz < LEAST_BANDWIDTH * carrier_mhz:
        raise ReadingsError(
            "the response is too narrow for a plain modulator", where=where,
            found=Said(half_light_words(carrier_mhz, width_mhz)),
            allowed=f"{100 * LEAST_BANDWIDTH:g} % of the carrier or more",
            cure='if the crystal is a tunable filter, say [crystal] kind = "filter" in session.toml; else step the '
            "carrier through the whole response",
        )  # fmt: skip
