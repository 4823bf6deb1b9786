"""From the frequencies that a sampled trace shows to the true ones, by what they do as the drive rises.

Sampling at fs shows a frequency f as |f - k fs|, k the whole number that brings it to fs / 2 or less
(Oppenheim & Schafer, Discrete-Time Signal Processing, 3rd ed., section 4.2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.reading.sanity.scatter import Floats

__all__ = ["Unfolded", "folded", "knots", "unfold"]

_FOLDS = 6
_MOST = 400
_NEAR = 0.25


@dataclass(frozen=True)
class Unfolded:
    """True frequencies (MHz) of the rows, the bends left in them (MHz), and whether they rise with the drive.

    A bend is the gap of a row from the line between its neighbours: ninth decile and largest.
    """

    true_mhz: Floats
    roughness_mhz: float
    largest_bend_mhz: float
    rises: bool


def folded(frequency_mhz: Floats, sample_rate_mhz: float) -> Floats:
    """Return the frequency (MHz) that a trace sampled at ``sample_rate_mhz`` shows.

    >>> folded(np.array([30.0, 64.0, 110.0]), 100.0)
    array([30., 36., 10.])
    """
    return np.asarray(np.abs(frequency_mhz - sample_rate_mhz * np.round(frequency_mhz / sample_rate_mhz)))


def unfold(drive_v: Floats, shown_mhz: Floats, sample_rate_mhz: float) -> Unfolded:
    """Return the true frequencies (MHz) of rows in order of drive: the smoothest curve that rises.

    All of it may lie any whole multiple of the sample rate higher; the lowest is returned.

    >>> true = np.linspace(41.0, 95.0, 19)
    >>> bool(np.allclose(unfold(np.arange(19.0), folded(true, 100.0), 100.0).true_mhz, true))
    True
    """
    apart = knots(drive_v)
    at, shown = drive_v[apart], shown_mhz[apart]
    k = np.arange(_FOLDS + 1) * sample_rate_mhz
    choices = np.concatenate([k[:, None] + shown, k[1:, None] - shown])
    path = choices[_smoothest(at, choices), np.arange(apart.size)]
    path = path - sample_rate_mhz * np.floor(path[0] / sample_rate_mhz + 1e-9)
    k = np.arange(-1, _FOLDS + 2) * sample_rate_mhz
    every = np.concatenate([k[:, None] + shown_mhz, k[:, None] - shown_mhz])
    true = _nearest(every, np.interp(drive_v, at, path))
    for _ in range(2):
        true = _nearest(every, _from_neighbours(drive_v, true))
    steps = np.diff(path)
    return Unfolded(true, *_bends(at, path), bool(np.mean(steps > 0) > 0.95))


def _nearest(choices: Floats, wanted: Floats) -> Floats:
    return np.asarray(choices[np.argmin(np.abs(choices - wanted), axis=0), np.arange(wanted.size)])


def _from_neighbours(drive_v: Floats, true_mhz: Floats) -> Floats:
    """Return what a parabola through the six nearest rows says of each row."""
    many = drive_v.size
    said = true_mhz.copy()
    for row in range(many):
        first = min(max(row - 3, 0), max(many - 7, 0))
        near = np.array([r for r in range(first, min(first + 7, many)) if r != row])
        away = drive_v[near] - drive_v[row]
        if np.unique(away).size > 3:
            design = np.stack([np.ones(near.size), away, away**2], axis=1)
            said[row] = np.linalg.lstsq(design, true_mhz[near], rcond=None)[0][0]
    return said


def knots(drive_v: Floats) -> np.ndarray:
    """Return rows that lie clearly apart in drive, at most ``_MOST``."""
    gaps = np.diff(drive_v)
    least = max(_NEAR * float(np.median(gaps[gaps > 0])), np.ptp(drive_v) / _MOST)
    kept = [0]
    for row in range(1, drive_v.size):
        if drive_v[row] - drive_v[kept[-1]] >= least:
            kept.append(row)
    return np.array(kept)


def _smoothest(at: Floats, choices: Floats) -> np.ndarray:
    """Return the choice of each knot: least sum of bends, and no fall, by dynamic programming over pairs of knots."""
    gaps = np.diff(at)
    many, size = choices.shape
    slope = (choices[None, :, 1] - choices[:, None, 0]) / gaps[0]  # from, to
    cost = np.where(slope < 0, 1e6, 0.01 * np.abs(slope)) + 1e-3 * (choices[:, None, 0] + choices[None, :, 1])
    came = np.zeros((size, many, many), dtype=np.intp)
    for k in range(2, size):
        nxt = (choices[None, :, k] - choices[:, None, k - 1]) / gaps[k - 1]
        bend = np.abs(nxt[None, :, :] - slope[:, :, None]) * min(gaps[k - 1], gaps[k - 2])
        total = cost[:, :, None] + bend + np.where(nxt < 0, 1e6, 0.0)[None, :, :]
        came[k] = np.argmin(total, axis=0)
        cost, slope = np.take_along_axis(total, came[k][None], axis=0)[0], nxt
    path = np.zeros(size, dtype=np.intp)
    path[-2], path[-1] = np.unravel_index(int(np.argmin(cost)), cost.shape)
    for k in range(size - 1, 1, -1):
        path[k - 2] = came[k, path[k - 1], path[k]]
    return path


def _bends(at: Floats, path: Floats) -> tuple[float, float]:
    """Return the ninth decile and the largest of the bends of a curve through knots."""
    share = (at[1:-1] - at[:-2]) / (at[2:] - at[:-2])
    bends = np.abs(path[1:-1] - path[:-2] - share * (path[2:] - path[:-2]))
    return (float(np.quantile(bends, 0.9)), float(np.max(bends))) if bends.size else (0.0, 0.0)
