"""A reading that two exchanged digits explain: 4.054 V written for 4.504 V."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from aotf_lab.driver.vco_table import VcoTable
from aotf_lab.estimation.problem import FloatArray

__all__ = ["digits_exchanged", "exchanged"]

_NEAR = 0.1
"""How near to what the other rows say the mended number must come, as a share of how far it was off (our own)."""

_WITHIN = 3.0


def exchanged(number: float, decimals: int) -> list[float]:
    """Return the numbers that ``number``, written with ``decimals``, becomes when two digits in a row are exchanged.

    >>> exchanged(4.57, 3)
    [5.47, 4.75, 4.507]
    """
    text = f"{number:.{decimals}f}"
    digits = [k for k, sign in enumerate(text) if sign.isdigit()]
    pairs = [(a, b) for a, b in pairwise(digits) if text[a] != text[b]]
    return [float(text[:a] + text[b] + text[a + 1 : b] + text[a] + text[b + 1 :]) for a, b in pairs]


def digits_exchanged(table: VcoTable, k: int) -> str:
    """Return in words which exchange of digits would put row ``k`` where the other rows say, "" for none.

    What they say is read off straight lines between them: of the voltage at which they have this frequency, and of
    the frequency that they have at this voltage.
    """
    others = np.arange(len(table)) != k
    drive, frequency = table.drive_v[others], table.frequency_mhz[others]
    asked = (
        (drive, frequency, table.drive_v, table.u_drive_v, table.frequency_mhz[k], "V"),
        (frequency, drive, table.frequency_mhz, table.u_frequency_mhz, table.drive_v[k], "MHz"),
    )
    for wanted, by, shown, u, at, unit in asked:
        meant = _between(by, wanted, float(at))
        near = max(_NEAR * abs(float(shown[k]) - meant), _WITHIN * float(u[k]))
        for number in exchanged(float(shown[k]), _decimals(shown)):
            if abs(number - meant) <= near < abs(float(shown[k]) - meant):
                return f"two digits exchanged would explain it: {number:g} {unit} for {shown[k]:g} {unit}"
    return ""


def _decimals(values: FloatArray) -> int:
    """Return with how many decimals a column was written, six at the most."""
    return next((n for n in range(6) if np.allclose(values, np.round(values, n), rtol=0.0, atol=1e-9)), 6)


def _between(x: FloatArray, y: FloatArray, at: float) -> float:
    """Return y at ``at`` by straight lines, NaN outside."""
    order = np.argsort(x, kind="stable")
    return float(np.interp(at, x[order], y[order], left=np.nan, right=np.nan))
