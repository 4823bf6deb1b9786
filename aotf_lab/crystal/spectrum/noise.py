"""How the readings of a spectrum scatter: by what no passband lets through.

In weak drive the passband is a sinc^2 in frequency, whose Fourier transform is a triangle: no spectrum whatever makes
the readings vary faster than sin(2 D), D the detuning (at full drive: hardly). Steps of half the passband's FWHM are
just fine enough to see that; in finer steps, what varies from reading to reading is noise. An eighth difference looks
at that part alone.
"""

from __future__ import annotations

from math import comb

import numpy as np

from aotf_lab.crystal.scan.table import ScanTable
from aotf_lab.estimation import Check
from aotf_lab.estimation.checks import chi2_limit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["reading_noise"]

_ORDER = 8
_WEIGHTS = np.array([(-1.0) ** k * comb(_ORDER, k) for k in range(_ORDER + 1)])
_SIZE = float(np.sqrt(np.sum(_WEIGHTS**2)))

_FEW = 6
_SHARE = 0.37 * comb(2 * _ORDER, _ORDER) ** 2 / comb(4 * _ORDER, 2 * _ORDER)
"""Independent readings of scatter per difference: for their overlap, times 0.37 for the median."""


def reading_noise(table: ScanTable) -> tuple[FloatArray, Check]:
    """Return the standard uncertainty (n,) in mW of each reading by its own scatter, and the check of it.

    Stated ones stay, or are scaled up when neighbours scatter more; unstated ones are estimated.
    """
    stated = table.u_power_mw
    u = np.ones(len(table.row)) if stated is None else stated
    gaps, sizes, levels = [], [], []
    for way in (1, -1):
        rows = np.flatnonzero(table.direction == way)
        rows = rows[np.argsort(table.frequency_mhz[rows], kind="stable")]
        if len(rows) > _ORDER:
            window = np.lib.stride_tricks.sliding_window_view
            gaps.append(window(table.power_mw[rows], _ORDER + 1) @ _WEIGHTS)
            levels.append(table.power_mw[rows][_ORDER // 2 : -(_ORDER // 2)])
            sizes.append(np.sqrt(window(u[rows] ** 2, _ORDER + 1) @ _WEIGHTS**2))
    if not gaps:
        return _unjudged(table)
    relative = np.abs(np.concatenate(gaps) / np.concatenate(sizes))
    ratio = float(np.median(relative)) / 0.67449
    if stated is None:
        return _estimated(table, np.concatenate(gaps), np.concatenate(levels), ratio)
    dof = max(_SHARE * len(relative), 1.0)
    limit = (chi2_limit(dof) / dof) ** 0.5
    detail = f"neighbouring readings scatter by {ratio:.2f} of their stated uncertainty, limit {limit:.2f}"
    if ratio <= limit:
        return u, Check("scatter", True, detail)
    cure = "u was scaled up by it; finer steps would tell noise from narrow lines"
    return u * ratio, Check("scatter", False, f"{detail}; {cure}")


def _unjudged(table: ScanTable) -> tuple[FloatArray, Check]:
    """Return what stands in where too few readings of one way tell nothing of their scatter."""
    if table.u_power_mw is not None:
        return table.u_power_mw, Check("scatter", True, "too few readings of one way: their scatter cannot be judged")
    guess = 0.1 * float(np.ptp(table.power_mw)) or 1e-300
    detail = (
        f"no uncertainty was stated and too few readings tell it: {guess:.3g} mW, a tenth of their range, was taken"
    )
    return np.full(len(table.row), guess), Check(
        "stated uncertainty", False, f"{detail}; state the instrument's accuracy"
    )


def _estimated(table: ScanTable, gaps: FloatArray, levels: FloatArray, typical: float) -> tuple[FloatArray, Check]:
    """Return u (n,) of a floor and a share of the light, each from the scatter where it rules, and the check."""
    size = np.abs(gaps) / _SIZE
    floor = max(typical, 1e-9 * float(np.abs(table.power_mw).max()), 1e-300)
    base, top = float(np.median(levels)), float(levels.max())
    high = levels - base > 0.5 * (top - base)
    share = 0.0
    if high.sum() >= _FEW:
        share = max(float(np.median(size[high])) / 0.67449, floor) ** 2 - floor**2
        share = share**0.5 / float(np.median(np.abs(levels[high])))
    detail = f"no uncertainty was stated for the readings: {floor:.3g} mW and {100 * share:.2g} % of the light were"
    detail += " estimated from the scatter of neighbours; state the instrument's accuracy"
    return np.hypot(floor, share * table.power_mw), Check("stated uncertainty", False, detail)
