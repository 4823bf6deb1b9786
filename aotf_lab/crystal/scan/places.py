"""Where a second passband could be: starts for a fit with two."""

from __future__ import annotations

import numpy as np

from aotf_lab.crystal.scan.guess import ScanGuess
from aotf_lab.crystal.scan.model import ScanModel, passband
from aotf_lab.crystal.scan.point import ScanPoint
from aotf_lab.crystal.scan.table import ScanTable

__all__ = ["HINT", "NEAREST", "end_places", "second_places", "two_peak_starts"]

HINT = 3.0
"""Standard uncertainties of a second passband's light from which it is tried; costs time, not false alarms."""

NEAREST, _STARTS, _BEYOND = 0.25, 3, 0.8
"""Distance (FWHM) of the nearest second passband that is looked for, how many places are tried, and how far (FWHM)
beyond the ends of the scan, where only a flank of it is seen."""

_SHIFTS, _WIDTHS = (-0.4, -0.2, 0.0, 0.2, 0.4), (0.7, 0.85, 1.0)
_APART = (-2.0, -1.5, -1.2, -0.9, -0.6, 0.6, 0.9, 1.2, 1.5, 2.0)
"""Centres, widths and separations, all in guessed widths, of two peaks that are tried from scratch."""


def second_places(point: ScanPoint) -> list[dict[str, float]]:
    """Return starts for a second passband beside the fitted one, where its light would be beyond ``HINT``."""
    solution = point.solution
    values, f = solution.fit.values, solution.table.frequency_mhz
    centre, fwhm, peak, skew = values[0], values[1], values[2], values[4]
    low, high = (f.min() - centre) / fwhm - _BEYOND, (f.max() - centre) / fwhm + _BEYOND
    apart = 0.2 * fwhm * np.arange(np.floor(low / 0.2), np.ceil(high / 0.2) + 1)
    apart = apart[np.abs(apart) > NEAREST * fwhm]
    if len(apart) == 0 or not peak > 0:
        return []
    light = passband(f[:, None] - apart, centre, fwhm, skew, solution.model.drive(values))
    columns = solution.noise.whitened(solution.model.trailing(solution.table.light[:, None] * light, values))
    if solution.fit.noise is not None:
        columns = columns / solution.fit.noise
    rows = len(columns)
    basis = np.linalg.qr(point.gradient)[0]
    rest = -basis @ (basis[:rows].T @ columns)
    rest[:rows] += columns
    square = np.einsum("ij,ij->j", rest, rest)
    product = point.residual @ rest
    z = product / np.sqrt(np.maximum(square, 1e-12 * float(np.max(square))))
    tried = [int(k) for k in np.argsort(-z) if z[k] > HINT]
    kept: list[int] = []
    for k in tried:
        if all(abs(apart[k] - apart[j]) > 0.5 * fwhm for j in kept) and len(kept) < _STARTS:
            kept.append(k)
    return [_start(apart[k], product[k] / square[k] / peak) for k in kept]


def end_places(table: ScanTable, centre_mhz: float) -> list[dict[str, float]]:
    """Return starts for a second passband, a tenth as high, that peaks at either end of the scan."""
    f = table.frequency_mhz
    return [_start(float(end) - centre_mhz, 0.1) for end in (f.min(), f.max())]


def two_peak_starts(table: ScanTable, guess: ScanGuess, model: ScanModel) -> list[dict[str, float]]:
    """Return the two upright passbands of one width on a level floor that leave the least squares, over a grid."""
    f, y = table.frequency_mhz, table.power_mw
    plain = ScanModel(
        table.lapse, table.light, 0.5, max(guess.lag_steps, 0.0) if model.lag_steps is None else model.lag_steps
    )
    values = (0.0, 1.0, 1.0, 0.0, 0.0)
    found: list[tuple[float, dict[str, float]]] = []
    steps = np.add.outer(_SHIFTS, (0.0, *_APART)).round(3)
    grid, which = np.unique(steps, return_inverse=True)
    places, which = guess.centre_mhz + guess.fwhm_mhz * grid, which.reshape(steps.shape)
    for width in (w * guess.fwhm_mhz for w in _WIDTHS):
        light = table.light[:, None] * passband(f[:, None] - places, 0.0, width, 0.0, 0.5)
        shown = plain.trailing(light, values)
        for first, second in ((row[0], k) for row in which for k in row[1:]):
            columns = np.stack([shown[:, first], shown[:, second], np.ones_like(y)], axis=1)
            size, *_ = np.linalg.lstsq(columns, y, rcond=None)
            if size[0] > 0 and 0 < size[1] <= 1.2 * size[0]:
                start = _start(places[second] - places[first], size[1] / size[0])
                start |= {"centre_mhz": float(places[first]), "fwhm_mhz": width, "peak_power_mw": float(size[0])}
                start |= {"skew": 0.0}
                found.append((float(np.sum((y - columns @ size) ** 2)), start | {"floor_mw": float(size[2])}))
    return [start for _, start in sorted(found, key=lambda pair: pair[0])[:2]]


def _start(apart_mhz: float, ratio: float) -> dict[str, float]:
    return {"separation_mhz": float(apart_mhz), "second_ratio": min(max(float(ratio), 0.02), 1.0)}
