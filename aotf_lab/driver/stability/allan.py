"""Allan deviation with confidence intervals, by allantools.

sigma_y^2(tau) is half the mean square of the difference of two neighbouring averages over tau of y = (f - f0) / f0
(IEEE Std 1139). The interval is that of chi-square with the equivalent degrees of freedom of C. A. Greenhall and
W. J. Riley (Proc. 35th PTTI Meeting, 267 (2003)), for the kind of noise that the lag-1 autocorrelation shows
(W. J. Riley and C. A. Greenhall, Proc. 18th European Frequency and Time Forum (2004)).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.problem import FloatArray

__all__ = ["FEWEST", "Allan", "allan_deviation"]

FEWEST = 16
_AVERAGES = 4
"""Fewest averages over tau that must fit into the log."""
_FOR_NOISE = 32
"""Fewest averages from which the autocorrelation tells the kind of noise."""
_SLOPES = {-1.0: 2, -0.5: 0, 0.0: -1, 0.5: -2}
"""Slope of log sigma over log tau -> exponent of the spectrum of y."""


@dataclass(frozen=True)
class Allan:
    """Arrays over tau (k,): ``tau_s``, ``deviation`` of y with its interval ``low`` to ``high`` and degrees of freedom
    ``dof``; ``exponent`` of the spectrum of y that these rest on (2 white phase ... 0 white, -1 flicker, -2 random walk
    of the frequency).
    """

    tau_s: FloatArray
    deviation: FloatArray
    low: FloatArray
    high: FloatArray
    dof: FloatArray
    exponent: NDArray[np.int64]


def allan_deviation(
    y: FloatArray, rate_hz: float, *, overlapping: bool = True, factors: FloatArray | None = None,
    confidence: float = 0.95,
) -> Allan:  # fmt: skip
    """Return the Allan deviation of ``y`` (n,), fractional frequency at ``rate_hz``.

    ``factors`` are the averaging factors; None: octaves as long as four averages fit in. Raises ``ReadingsError`` for
    fewer than 16 values or values without any scatter.
    """
    import allantools

    if len(y) < FEWEST or float(np.ptp(y)) == 0:
        raise ReadingsError(
            "no Allan deviation from these readings", found=len(y) if len(y) < FEWEST else float(y[0]),
            allowed=f"at least {FEWEST} readings, evenly spaced, that are not all the same",
            cure="log longer, or with more digits",
        )  # fmt: skip
    m = 2 ** np.arange(int(np.log2(len(y) / _AVERAGES)) + 1) if factors is None else np.asarray(factors, dtype=int)
    call = allantools.oadev if overlapping else allantools.adev
    tau, deviation, _, _ = call(np.asarray(y), rate=rate_hz, data_type="freq", taus=m / rate_hz)
    exponent, dof = _noise(np.asarray(y), m[: len(tau)], np.asarray(deviation), overlapping)
    limits = [allantools.confidence_interval(d, e, confidence) for d, e in zip(deviation, dof, strict=True)]
    low, high = np.array(limits, dtype=float).T
    return Allan(np.asarray(tau), np.asarray(deviation), low, high, dof, exponent)


def _noise(
    y: FloatArray, m: NDArray[np.int64], deviation: FloatArray, overlapping: bool
) -> tuple[NDArray[np.int64], FloatArray]:
    """Return the exponent of the noise and the degrees of freedom at each averaging factor.

    Where the averages are too few for the autocorrelation, the kind seen last and the one that the slope shows are both
    possible: the fewer degrees of freedom are taken.
    """
    import allantools

    exponents: list[int] = []
    dof = []
    for k, factor in enumerate(m.tolist()):
        told = len(y) // factor >= _FOR_NOISE
        if told:
            exponents.append(int(allantools.autocorr_noise_id(y, factor, data_type="freq", dmin=0, dmax=2)[0]))
        else:
            exponents.append(_by_slope(m, deviation, k))
        possible = {exponents[-1]} if told or k == 0 else {exponents[-1], exponents[-2]}
        dof.append(min(_dof(max(e, -2), factor, len(y) + 1, overlapping) for e in possible))
    return np.array(exponents), np.array(dof)


def _by_slope(m: NDArray[np.int64], deviation: FloatArray, k: int) -> int:
    """Return the exponent that the slope up to the averaging factor at ``k`` shows."""
    if k == 0:
        return 0
    first = max(k - 2, 0)
    slope = np.log(deviation[k] / deviation[first]) / np.log(m[k] / m[first])
    return _SLOPES[min(_SLOPES, key=lambda s: abs(s - slope))]


def _dof(exponent: int, factor: int, points: int, overlapping: bool) -> float:
    import allantools

    exponent = min(exponent, 2)
    if exponent == 2 and points / factor <= 4:
        exponent = 1  # the closed form for white phase noise needs more averages
    found = allantools.edf_greenhall(exponent, 2, factor, points, overlapping=overlapping, modified=False)
    if exponent == 0 and overlapping:
        # its tables hold for many readings in an average; for few they promise up to 17 % too much of white noise
        found = min(found, allantools.edf_simple(points, factor, 0))
    return max(float(found), 1.0)
