"""Where the search for the saturation power starts, and whether the readings show a rising branch at all.

For a given saturation power the law is linear in the peak efficiency, so chi-square can be seen over all
saturation powers at once. That leaves nothing to the luck of a first guess. Drives up to four times the
saturation power are looked at, where the law comes back to darkness; readings that lie beyond the peak alone
would suit further lobes as well and are refused.
"""

from __future__ import annotations

import numpy as np

from aotf_lab.crystal.efficiency.law import QUARTER_PERIOD
from aotf_lab.crystal.efficiency.readings import DriveReadings
from aotf_lab.errors import FitError, ReadingsError, Said
from aotf_lab.estimation.problem import FloatArray

__all__ = ["starting_values"]

_REACHES = np.concatenate([np.geomspace(0.01, 0.5, 25)[:-1], np.arange(0.5, 3.96, 0.02)])
"""Largest drive over P_sat: up to just below 4, where the law comes back to darkness."""

_LOWEST_RISE = 0.9
"""A lowest reading above this drive ratio has less than 1 % of the light to rise: no rising branch was seen."""

_CLEAR_FALL = 3.0


def starting_values(drive: DriveReadings) -> tuple[float, float]:
    """Return (slope per W, curvature) near the minimum of chi-square.

    Raises ``FitError`` when the readings lie beyond the peak alone, ``ReadingsError`` when efficiency
    falls from the lowest drive on.
    """
    top = float(drive.power_w.max())
    chi2, peaks = _profile(drive, _REACHES / top)
    best = int(np.argmin(chi2))
    lowest = float(drive.power_w[drive.power_w > 0].min())
    if lowest / top * _REACHES[best] > _LOWEST_RISE:
        raise FitError(
            f"only overdrive: all of {drive.scatter} lie beyond the peak of efficiency, so its branch is unknown",
            where=drive.places[int(np.argmin(np.where(drive.power_w > 0, drive.power_w, np.inf)))],
            found=Said(f"a lowest drive of {lowest:.4g} W"),
            allowed=f"some readings well below {top / _REACHES[best]:.3g} W, where efficiency rises",
            cure="measure at lower drive as well",
        )
    _refuse_falling(drive)
    rate, peak = _REACHES[best] / top, float(peaks[best])
    return QUARTER_PERIOD * rate * peak, 1 / peak


def _refuse_falling(drive: DriveReadings) -> None:
    """Raise when efficiency is highest at the lowest drive and falls from there."""
    driven = np.flatnonzero(drive.power_w > 0)
    order = driven[np.argsort(drive.power_w[driven], kind="stable")]
    first, last = float(drive.efficiency[order[0]]), float(drive.efficiency[order[-1]])
    u_fall = 0.02 * first if drive.u_efficiency is None else float(np.hypot(*drive.u_efficiency[order[[0, -1]]]))
    if first < _LOWEST_RISE * drive.efficiency.max() or first - last <= _CLEAR_FALL * u_fall:
        return
    raise ReadingsError(
        f"efficiency falls as the drive rises among {drive.scatter}",
        where=drive.places[int(order[0])],
        found=Said(
            f"{first:.3g} at {drive.power_w[order[0]]:.3g} W and {last:.3g} at {drive.power_w[order[-1]]:.3g} W"
        ),
        allowed="efficiency that rises from the lowest drive on",
        cure="check which column is which and the RF frequency; if all of it is overdrive, measure lower drives too",
    )


def _profile(drive: DriveReadings, rates: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return chi-square (m,) and the peak efficiency (m,) that suits each of ``rates`` = 1 / P_sat (m,)."""
    weight = drive.rough_weight()
    basis = np.sin(np.pi / 2 * np.sqrt(np.outer(rates, drive.power_w))) ** 2
    peaks = np.clip((basis @ (weight * drive.efficiency)) / np.maximum(basis**2 @ weight, 1e-300), 1e-6, 0.9999)
    return ((drive.efficiency - peaks[:, None] * basis) ** 2) @ weight, peaks
