"""Dwells that give every line the light energy that is wanted of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal import Scan
from aotf_lab.crystal.passbands.passbands import Passbands
from aotf_lab.errors import AotfLabError, Said

__all__ = ["equal_dwells", "incident_of"]

_LEAST_DRIVE = 0.02
"""Below this drive a scan's light says little of the incident power."""


def incident_of(
    scans: Mapping[str, Scan], passbands: Passbands, lines: Sequence[str], stated: Mapping[str, float] | None
) -> tuple[dict[str, float] | None, str]:
    """Return the incident power (mW) of each line, None where it is not known of all; and how it is known.

    A scan shows it: its light over the efficiency at the drive that it found. Raises ``AotfLabError`` for a stated
    power that is missing or not above zero.
    """
    if stated is not None:
        bad = [n for n in lines if not (n in stated and np.isfinite(stated[n]) and stated[n] > 0)]
        if bad:
            raise AotfLabError(
                "no incident power of a line", found=Said(", ".join(bad)),
                allowed="a number above 0 mW for every line", cure="state it for all lines, or for none",
            )  # fmt: skip
        return {n: float(stated[n]) for n in lines}, "as stated"
    found = {}
    for name in lines:
        scan = scans.get(name)
        ratio = 0.0 if scan is None else float(scan.drive_ratio.n)
        if scan is None or ratio < max(_LEAST_DRIVE, 2 * float(scan.drive_ratio.s)):
            return None, "not known: all lines taken alike"
        power = ratio * float(passbands.saturation_power_w(name).n)
        light = float(np.asarray(passbands.nominal(name, float(passbands.peak_mhz(name).n), power)))
        found[name] = float(scan.peak_power_mw.n) / light
    return found, "as the scans show it"


def equal_dwells(
    total_us: float, light: Sequence[UFloat | float], weights: Sequence[float], edges_us: Sequence[float]
) -> tuple[float, ...]:
    """Return the dwells (us), ``total_us`` in all, with light * (dwell + edge) in the ratio of ``weights``.

    ``light`` is each step's light while good (any unit), ``edges_us`` the full light that it gets outside the dwell.
    Raises ``AotfLabError`` where a dwell would have to be none.

    >>> equal_dwells(90.0, [2.0, 1.0], [1.0, 1.0], [0.0, 0.0])
    (30.0, 60.0)
    """
    level = np.array([float(getattr(v, "n", v)) for v in light])
    share = np.asarray(weights, dtype=float) / level
    edge = np.asarray(edges_us, dtype=float)
    dwell = (total_us + edge.sum()) * share / share.sum() - edge
    if not (dwell > 0).all():
        raise AotfLabError(
            "a dwell that would have to be none, for equal light", found=Said(f"{dwell.min():.3g} us"),
            allowed="above 0 us", cure="lengthen the sequence, or lower the weight of the other lines",
        )  # fmt: skip
    return tuple(float(d) for d in dwell)
