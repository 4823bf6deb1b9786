"""Was the frequency sampled too slowly, so that it shows folded?"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.beside import beyond
from aotf_lab.reading.sanity.scatter import Floats, numbers
from aotf_lab.reading.sanity.suspicion import Suspicion, lines_of, listed
from aotf_lab.reading.sanity.unfold import Unfolded, knots, unfold

__all__ = ["aliased", "fold_frequency"]

_FEWEST = 6
_FALLING = 0.02
_ROUGH = 0.03
_BEND = 0.1
_CUSP = 0.5
_CURE = "sample at more than twice the highest frequency, or use a counter"


def aliased(
    readings: Readings,
    *,
    sample_rate_mhz: float | None = None,
    band_mhz: tuple[float, float] | None = None,
    explained: Collection[int] = (),
) -> tuple[Suspicion, ...]:
    """Return the rows whose ``frequency_mhz`` shows folded: falls while ``drive_v`` rises, and is smooth unfolded.

    Readings of one file. ``sample_rate_mhz`` is that of the traces (samples per microsecond); with it the true
    frequency of each row is named, the lowest that fits, or the only one within ``band_mhz`` (lowest and highest
    frequency of the oscillator). Without it, the frequency about which the rows look folded is estimated, and true
    frequencies are named only when ``band_mhz`` leaves one choice. Rows in ``explained`` (0-based) are passed over.
    """
    rows = _usable(readings, explained)
    if rows.size < _FEWEST:
        return ()
    drive = numbers(readings.table["drive_v"])[rows]
    shown = numbers(readings.table["frequency_mhz"])[rows]
    step = np.diff(shown)
    if -float(np.sum(step[step < 0])) < _FALLING * float(np.sum(np.abs(step))):
        return ()
    rate, u_rate = sample_rate_mhz, 0.0
    if rate is None:
        fold = fold_frequency(drive, shown)
        if fold is None:
            return ()
        rate, u_rate = max(2.0 * fold[0], 2.0 * float(np.max(shown))), 2.0 * fold[1]
    if np.max(shown) > 0.5 * rate * 1.001:
        return ()
    found = unfold(drive, shown, rate)
    wrong = np.abs(found.true_mhz - shown) > 1e-6 * rate
    span = float(np.ptp(found.true_mhz))
    smooth = found.roughness_mhz < _ROUGH * span and found.largest_bend_mhz < _BEND * span
    if not (found.rises and smooth and np.any(wrong)):
        return ()
    if sample_rate_mhz is None:
        return (_folded_about(readings, rows[wrong], found.true_mhz[wrong], 0.5 * rate, 0.5 * u_rate, band_mhz),)
    return (_alias(readings, rows, shown, found, rate, band_mhz),)


def _usable(readings: Readings, explained: Collection[int]) -> NDArray[np.intp]:
    """Return rows with drive and frequency, in order of drive; none when a column is missing."""
    if not {"drive_v", "frequency_mhz"} <= set(readings.table.columns):
        return np.array([], dtype=np.intp)
    drive, shown = (numbers(readings.table[c]) for c in ("drive_v", "frequency_mhz"))
    usable = np.isfinite(drive) & np.isfinite(shown) & (shown >= 0)
    usable[list(explained)] = False
    rows = np.flatnonzero(usable)
    if rows.size >= _FEWEST:
        rows = rows[~beyond(drive[rows])]
    if np.unique(drive[rows]).size < _FEWEST:
        return np.array([], dtype=np.intp)
    return rows[np.argsort(drive[rows], kind="stable")]


def fold_frequency(drive_v: Floats, shown_mhz: Floats) -> tuple[float, float] | None:
    """Return the frequency (MHz) about which readings in order of drive look folded, and its u; None when they do not.

    At a fold the slope keeps its size and changes its sign; at a true maximum it goes through zero.
    """
    apart = knots(drive_v)
    drive_v, shown_mhz = drive_v[apart], shown_mhz[apart]
    top = int(np.argmax(shown_mhz))
    best: tuple[float, float, float] | None = None
    for first in (top, top + 1):  # the highest reading stands beyond the fold, or on this side of it
        left, right = slice(max(first - 4, 0), first), slice(first, first + 4)
        if first < 3 or shown_mhz.size - first < 2:
            continue
        x = np.concatenate([drive_v[left], drive_v[right]]) - drive_v[first]
        y = np.concatenate([shown_mhz[left], shown_mhz[right]])
        side = np.where(np.arange(y.size) < first - left.start, 1.0, -1.0)
        if y.size < 6 or np.unique(x).size < 6:
            continue
        design = np.stack([side, side * x, side * x**2, 1.0 - side], axis=1)  # right of the fold: 2 f0 - true
        found = np.linalg.lstsq(design, y, rcond=None)[0]
        rest = float(np.sqrt(np.sum((y - design @ found) ** 2) / (y.size - 4)))
        spread = float(np.linalg.pinv(design.T @ design)[3, 3]) ** 0.5
        apart = (shown_mhz[first - 1] - shown_mhz[left.start]) / (drive_v[first - 1] - drive_v[left.start])
        turns = found[1] < _CUSP * apart or rest > _ROUGH * np.ptp(y)
        if not turns and (best is None or rest < best[2]):
            best = (float(found[3]), rest * spread, rest)
    if best is None:
        return None
    return max(best[0], float(np.max(shown_mhz))), max(best[1], 1e-4 * best[0])


def _higher(true_mhz: Floats, rate: float, band_mhz: tuple[float, float] | None) -> list[float]:
    """Return the multiples of the sample rate by which the whole curve may lie higher, within the band."""
    if band_mhz is None:
        return [0.0]
    low, high = band_mhz
    return [k * rate for k in range(12) if np.min(true_mhz) + k * rate >= low and np.max(true_mhz) + k * rate <= high]


def _alias(
    readings: Readings, rows: NDArray[np.intp], shown: Floats, found: Unfolded, rate: float,
    band_mhz: tuple[float, float] | None,
) -> Suspicion:  # fmt: skip
    shifts = _higher(found.true_mhz, rate, band_mhz)
    true = found.true_mhz + (shifts[0] if shifts else 0.0)
    wrong = np.abs(true - shown) > 1e-6 * rate
    concerned = np.sort(rows[wrong])
    by_row = dict(zip(rows[wrong].tolist(), true[wrong].tolist(), strict=True))
    only = len(shifts) == 1 and band_mhz is not None
    more = "" if only else f" (or any multiple of {rate:g} MHz higher, all rows together)"
    return Suspicion(
        "the frequency is an alias", lines_of(readings, concerned.tolist()),
        f"it falls while the drive rises, and folded out about multiples of {0.5 * rate:g} MHz"
        f" (half of the sample rate) it is smooth to {found.roughness_mhz:.2g} MHz",
        f"sampled at {rate:g} MS/s, too slowly: true " + listed([f"{by_row[r]:.7g} MHz" for r in concerned]) + more,
        _CURE, tuple(concerned.tolist()), unusable=True,
    )  # fmt: skip


def _folded_about(
    readings: Readings, rows: NDArray[np.intp], true: Floats, fold: float, u_fold: float,
    band_mhz: tuple[float, float] | None,
) -> Suspicion:  # fmt: skip
    concerned = np.sort(rows)
    by_row = dict(zip(rows.tolist(), true.tolist(), strict=True))
    words = "the true frequencies cannot be told without the sample rate"
    if band_mhz is not None and len(_higher(true, 2.0 * fold, band_mhz)) == 1:
        shift = _higher(true, 2.0 * fold, band_mhz)[0]
        words = "true about " + listed([f"{by_row[r] + shift:.4g} MHz" for r in concerned])
    return Suspicion(
        "the frequency looks folded, as an alias", lines_of(readings, concerned.tolist()),
        f"it turns at {fold:.5g} +- {u_fold:.1g} MHz with the same slope downwards while the drive rises",
        f"sampled at about {2 * fold:.4g} MS/s or a fraction of it, too slowly; {words}",
        f"state the sample rate; {_CURE}", tuple(concerned.tolist()), unusable=True,
    )  # fmt: skip
