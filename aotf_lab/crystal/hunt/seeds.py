"""Where light stands out of the scatter: every place and some widths tried, with one rate of false alarms for all.

Each leg of the sweep is passed through upright Gaussians of six widths, less their mean. What comes out is set over
its own scatter, which is taken from the rows themselves, so that scatter that neighbours share counts too. Where light
was found before, the doubt about its shape is added. The limit is that of the largest of all independent trials.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal, special

from aotf_lab.crystal.hunt.table import HuntTable
from aotf_lab.estimation.checks import SIGNIFICANCE
from aotf_lab.estimation.problem import FloatArray

__all__ = ["SHAPE_DOUBT", "Doubt", "Seed", "detection_height_mw", "find_seeds", "row_scatter", "z_needed"]

_WIDTHS = (1.0, 1.7, 2.9, 4.9, 8.3, 14.0)
"""FWHM tried, in rows."""

_SIGMA = 1.0 / 2.3548
SHAPE_DOUBT = 0.25
"""Share by which a sidelobe may differ from coupled waves before it counts as light of its own."""

_TRIALS_PER_WIDTH = 1.6
"""Independent places in one width, and with it how many trials a sweep holds; found with scatter alone."""


@dataclass(frozen=True)
class Doubt:
    """What is known before a search: light (n,) that was found before, and lobes (n,) beside it, in mW.

    ``relative`` is how much the light wanders, as a share of it.
    """

    light_mw: FloatArray
    lobes_mw: FloatArray
    relative: float


@dataclass(frozen=True)
class Seed:
    """A place that stands out: frequency and FWHM (MHz), height (mW), height over its scatter."""

    frequency_mhz: float
    fwhm_mhz: float
    height_mw: float
    z: float


def row_scatter(rest_mw: FloatArray) -> float:
    """Return the scatter (mW) of one row against its neighbours, which light, few rows of it, cannot move."""
    second = np.diff(rest_mw, 2) / 6**0.5
    spread = 1.4826 * float(np.median(np.abs(second - np.median(second))))
    return spread if spread > 0 else max(1e-9 * float(np.ptp(rest_mw)), 1e-15)


def z_needed(table: HuntTable) -> float:
    """Return the height over scatter that the scatter alone exceeds anywhere in ``SIGNIFICANCE`` of the sweeps.

    Student t, for the scatter itself is known from a limited number of rows.
    """
    rows = len(table.power_mw)
    trials = sum(_TRIALS_PER_WIDTH * rows / max(w, 1.0) for w in _WIDTHS)
    return float(-special.stdtrit(max(rows / 6.0, 10.0), SIGNIFICANCE / trials))


def _bank(rows: int) -> Iterator[tuple[float, FloatArray]]:
    """Yield each width (rows) with its upright kernel, less its mean."""
    for width in _WIDTHS:
        reach = int(np.ceil(2.2 * width)) + 1
        if 2 * reach + 1 < rows // 3:
            shape = np.exp(-0.5 * (np.arange(-reach, reach + 1) / (_SIGMA * width)) ** 2)
            yield width, shape - shape.mean()


def _filtered(rest: FloatArray, kernel: FloatArray) -> FloatArray:
    """Return the height (n,) of the kernel's shape at each row, by least squares."""
    reach = len(kernel) // 2
    padded = np.pad(rest, reach, mode="reflect")
    return np.asarray(np.convolve(padded, kernel[::-1], mode="valid") / float(kernel @ kernel))


def _scale(heights: FloatArray, calm: NDArray[np.bool_]) -> float:
    """Return the standard deviation of the filter's output over calm rows, the few that stand out left aside."""
    values = heights[calm] if calm.sum() > 30 else heights
    scale = 1.4826 * float(np.median(np.abs(values)))
    for _ in range(6):
        inside = values[np.abs(values) < 3.5 * scale]
        if inside.size < 20:
            break
        scale = 1.0015 * float(np.sqrt(np.mean(inside**2)))
    return max(scale, 1e-15)


def find_seeds(table: HuntTable, rest_mw: FloatArray, doubt: Doubt) -> list[Seed]:
    """Return the places where ``rest_mw`` (n,), what is left of the readings, stands out; the surest first.

    Of places within one width of each other the surest stays.
    """
    limit, found = z_needed(table), []
    noise = row_scatter(rest_mw)
    calm = doubt.relative * doubt.light_mw + SHAPE_DOUBT * doubt.lobes_mw < 0.3 * noise
    for leg in table.legs:
        rows = leg.stop - leg.start
        if rows < 20:
            continue
        f, step = table.frequency_mhz[leg], _local_step(table.frequency_mhz[leg])
        for width, kernel in _bank(rows):
            heights = _filtered(rest_mw[leg], kernel)
            scale = _scale(heights, calm[leg])
            weight = np.abs(kernel) / float(kernel @ kernel)
            unsure = doubt.relative * doubt.light_mw[leg] + SHAPE_DOUBT * doubt.lobes_mw[leg]
            extra = np.convolve(np.pad(unsure, len(kernel) // 2, mode="edge"), weight, mode="valid")
            z = heights / np.hypot(scale, extra)
            top = signal.find_peaks(np.pad(z, 1, constant_values=-np.inf), height=limit)[0] - 1
            found += [Seed(float(f[k]), float(width * step[k]), float(heights[k]), float(z[k])) for k in top]
    return _apart(found)


def _local_step(f: FloatArray) -> FloatArray:
    """Return the step (n,) about each row, smoothed, never zero."""
    steps = np.abs(np.gradient(f))
    smooth = np.convolve(np.pad(steps, 4, mode="edge"), np.full(9, 1 / 9), mode="valid")
    return np.asarray(np.maximum(smooth, 1e-3 * float(np.median(steps)) + 1e-9))


def _apart(seeds: list[Seed]) -> list[Seed]:
    kept: list[Seed] = []
    for seed in sorted(seeds, key=lambda s: -s.z):
        near = [abs(seed.frequency_mhz - k.frequency_mhz) < 0.9 * max(seed.fwhm_mhz, k.fwhm_mhz) for k in kept]
        if not any(near):
            kept.append(seed)
    return kept


def detection_height_mw(table: HuntTable, rest_mw: FloatArray, calm: NDArray[np.bool_], shape_mw: FloatArray) -> float:
    """Return the height (mW) that a peak must have to be found with a chance of 95 % away from others.

    ``shape_mw`` (m,) is what the meter shows, row by row, of a peak of 1 mW.
    """
    leg = max(table.legs, key=lambda s: s.stop - s.start)
    best = 0.0
    for _, kernel in _bank(leg.stop - leg.start):
        scale = _scale(_filtered(rest_mw[leg], kernel), calm[leg])
        padded = np.pad(shape_mw, len(kernel))
        height = float(np.max(np.convolve(padded, kernel[::-1], mode="valid"))) / float(kernel @ kernel)
        best = max(best, height / scale)
    return (z_needed(table) + 1.645) / best
