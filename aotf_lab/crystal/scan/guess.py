"""Where the peak of a scan is, roughly, without being told: every place and width tried by linear regression."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from aotf_lab.crystal.scan.model import ScanModel
from aotf_lab.crystal.scan.table import ScanTable
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.checks import SIGNIFICANCE
from aotf_lab.estimation.problem import FloatArray

__all__ = ["ScanGuess", "guess_scan"]

_WIDTH_RATIO = 1.35
_PLACES_PER_WIDTH = 4.0
_FWHM_PER_SIGMA = 2.3548
_POOR = 0.2
"""Share of the sum of squares that a peak without lag may leave before lags of the meter are tried too."""

_LAGS = (0.7, 1.5, 3.0, 6.0, 12.0)


@dataclass(frozen=True)
class ScanGuess:
    """A rough peak: centre and FWHM (MHz), height and floor (mW), lag of the meter in steps, scatter (mW).

    ``rest_mw2`` is the sum of squares that it leaves, ``trails_far`` whether the lag is half of the width or more.
    """

    centre_mhz: float
    fwhm_mhz: float
    peak_mw: float
    floor_mw: float
    lag_steps: float
    scatter_mw: float
    rest_mw2: float
    trails_far: bool

    def scale(self, name: str) -> float:
        """Return by how much the parameter ``name`` may typically move."""
        sizes = {"centre_mhz": self.fwhm_mhz, "fwhm_mhz": self.fwhm_mhz, "skew": 0.1, "separation_mhz": self.fwhm_mhz}
        if name == "slope_mw_per_mhz":
            return 0.1 * self.peak_mw / self.fwhm_mhz
        return sizes.get(name, self.peak_mw if name.endswith("_mw") else 1.0)


@dataclass(frozen=True)
class _Trial:
    """A Gaussian on a floor behind a meter that trails by ``lag_steps``, and the sum of squares that it leaves."""

    rest: float
    centre: float
    height: float
    floor: float
    width: float
    lag_steps: float = 0.0


def guess_scan(table: ScanTable) -> ScanGuess:
    """Return the Gaussian on a floor that leaves the least squares, over a grid of places and widths.

    Raises ``ReadingsError`` when no peak stands out of the scatter, when the light dips instead, and when the best
    place lies outside the scanned range.
    """
    f, y = table.frequency_mhz, table.power_mw
    best = _best(f, y, table.step_mhz)
    if best.rest > _POOR * float(np.sum((y - y.mean()) ** 2)):
        best = min([best, *_trailing(table, best.width)], key=lambda t: t.rest)
    if not _stands_out(f, y, best, table.step_mhz):
        _refuse_flat(table)
    low, high = float(f.min()), float(f.max())
    if not low <= best.centre <= high:
        raise ReadingsError(
            "the peak lies outside the scan", where=_files(table), found=f"about {best.centre:.6g} MHz",
            allowed=f"inside {low:.6g} to {high:.6g} MHz", cure="scan further to that side, two widths beyond the peak",
        )  # fmt: skip
    lag_steps, scatter = _lag_steps(table, best), _scatter(y, best)
    far = lag_steps * table.pace_mhz > 0.5 * best.width
    return ScanGuess(best.centre, best.width, best.height, best.floor, lag_steps, scatter, best.rest, far)


def _trailing(table: ScanTable, width: float) -> list[_Trial]:
    """Return the best Gaussians behind a meter that trails far.

    A trailing meter only widens a peak, so none wider than the ``width`` found without a lag is tried.
    """
    n, found = len(table.row), []
    model = ScanModel(table.lapse, np.ones(n), 0.5, None)
    for steps in _LAGS:
        trail = model.trailing(np.eye(n), (0.0, 1.0, 1.0, 0.0, 0.0, steps))
        found.append(
            replace(_best(table.frequency_mhz, table.power_mw, table.step_mhz, 1.01 * width, trail), lag_steps=steps)
        )
    return found


def _best(f: FloatArray, y: FloatArray, step: float, widest: float = np.inf, trail: FloatArray | None = None) -> _Trial:
    low, high = float(f.min()), float(f.max())
    count = 1 + int(np.ceil(np.log((high - low) / (1.5 * step)) / np.log(_WIDTH_RATIO)))
    widths = 1.5 * step * _WIDTH_RATIO ** np.arange(max(count, 2))
    widths = widths[widths <= max(widest, widths[0])]
    mean = float(y.mean())
    centred = y - mean
    trials = [
        _best_place(f, centred, mean, w, np.arange(low - 0.5 * w, high + 0.5 * w, w / _PLACES_PER_WIDTH), trail)
        for w in widths.tolist()
    ]
    return min(trials, key=lambda t: t.rest)


def _best_place(
    f: FloatArray,
    centred: FloatArray,
    mean_mw: float,
    width: float,
    places: FloatArray,
    trail: FloatArray | None = None,
) -> _Trial:
    """Return the upright Gaussian of this ``width`` that leaves the least squares, over ``places``.

    ``centred`` are the readings (n,) less their mean; ``trail`` (n, n) turns light into what the meter shows.
    """
    shape = np.exp(-0.5 * ((f - places[:, None]) * (_FWHM_PER_SIGMA / width)) ** 2)
    if trail is not None:
        shape = shape @ trail.T
    mean = shape.sum(axis=1) / len(f)
    product = shape @ centred
    norm = np.maximum(np.einsum("ij,ij->i", shape, shape) - len(f) * mean**2, 1e-9)
    k = int(np.argmax(np.where(product > 0, product**2 / norm, -1.0)))
    height = max(float(product[k] / norm[k]), 0.0)
    rest = float(centred @ centred) - height * float(product[k])
    return _Trial(rest, float(places[k]), height, float(mean_mw - height * mean[k]), width)


def _stands_out(f: FloatArray, y: FloatArray, best: _Trial, step: float) -> bool:
    """Return whether the peak explains more of the scatter than the luckiest of all places would by chance."""
    total, dof = float(np.sum((y - y.mean()) ** 2)), len(y) - 4
    chances = 10 * float(np.ptp(f)) / step
    limit = float(stats.f.isf(SIGNIFICANCE / chances, 3, dof))
    return total > 1e-24 * float(np.sum(y**2)) and total - best.rest > 3 * limit * best.rest / dof


def _refuse_flat(table: ScanTable) -> None:
    f, y = table.frequency_mhz, table.power_mw
    if _stands_out(f, -y, _best(f, -y, table.step_mhz), table.step_mhz):
        raise ReadingsError(
            "the light falls where the peak should be", where=_files(table),
            found=f"{y.min():.4g} mW at {f[np.argmin(y)]:.6g} MHz, {np.median(y):.4g} mW elsewhere",
            allowed="a scan of the diffracted beam, which rises at the peak",
            cure="move the power meter from the undiffracted beam to the diffracted one",
        )  # fmt: skip
    raise ReadingsError(
        "no peak found", where=_files(table), found=f"{y.min():.4g} to {y.max():.4g} mW without one",
        allowed="a peak that stands out of the scatter",
        cure=f"scan where this line is diffracted (this was {f.min():.6g} to {f.max():.6g} MHz), with RF on",
    )  # fmt: skip


def _files(table: ScanTable) -> str:
    return ", ".join(s.name for s in table.readings.sources)


def _lag_steps(table: ScanTable, best: _Trial) -> float:
    """Return the lag: half of the distance between the peak on the way up and on the way down."""
    if table.one_way or best.lag_steps > 0:
        return best.lag_steps
    places = np.arange(best.centre - best.width, best.centre + best.width, best.width / 16)
    found = []
    for way in (1, -1):
        rows = table.direction == way
        mean = float(table.power_mw[rows].mean())
        trial = _best_place(table.frequency_mhz[rows], table.power_mw[rows] - mean, mean, best.width, places)
        found.append(trial.centre)
    return (found[0] - found[1]) / 2 / table.pace_mhz


def _scatter(y: FloatArray, best: _Trial) -> float:
    """Return a rough scatter (mW): of the second differences, which see little of the curve where steps are fine."""
    differences = np.abs(np.diff(y, 2))
    scatter = 1.4826 * float(np.median(differences)) / 6**0.5
    rest = float(best.rest / len(y)) ** 0.5
    return float(min(scatter, rest) if scatter > 0 else max(rest, 1e-9 * best.height))
