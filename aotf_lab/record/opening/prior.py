"""What a link may have done since it was measured, before any reading says so."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.opening.judge import Judgement
from aotf_lab.record.oscillator import OscillatorRecord

__all__ = ["CRYSTAL_DRIFT", "OSCILLATOR_DRIFT", "DriftPrior", "changes", "crystal_columns", "oscillator_columns"]


@dataclass(frozen=True)
class DriftPrior:
    """Standard uncertainties of what happened since (common practice, no source).

    ``shift`` is in the unit of the columns (MHz, or a share of the frequency); ``tilt_share`` and ``bend_share`` are
    those of a tilt and of a bend, at the ends of the range, as shares of the shift that was found. A shift beyond
    ``reach`` times the first is no drift.
    """

    shift: float
    tilt_share: float = 0.25
    bend_share: float = 0.10
    reach: float = 3.0


OSCILLATOR_DRIFT = DriftPrior(0.3)
"""Some kelvin, some tens of millivolts of supply, months of ageing: hundreds of kHz."""

CRYSTAL_DRIFT = DriftPrior(1e-3, tilt_share=0.10, bend_share=0.03)
"""Twenty kelvin of paratellurite, or a slight turn of it, move its peaks by some 0.1 %.

By exact phase matching a turn moves all lines of the visible by the same share of their frequency, to a few per cent.
"""


def oscillator_columns(record: OscillatorRecord) -> FloatArray:
    """Return the change of the curve (n, 3) by a shift, and by a tilt and a bend at the ends of the range, of 1 MHz."""
    low, high = record.range_v
    return _legendre((2 * record.drive_v - low - high) / (high - low))


def crystal_columns(record: CrystalRecord) -> FloatArray:
    """Return the change (n, 3) of all numbers by a shift, a tilt and a bend of all frequencies by their own size."""
    names, values = record.numbers.names, record.numbers.values
    moves = np.array([k < len(record.wavelengths_nm) or n.startswith("peak ") for k, n in enumerate(names)])
    low, high = values[moves].min(), values[moves].max()
    x = (2 * values - low - high) / max(high - low, 1e-9)
    return np.where(moves[:, None], values[:, None] * _legendre(np.where(moves, x, 0.0)), 0.0)


def changes(columns: FloatArray, found: Judgement, prior: DriftPrior) -> FloatArray:
    """Return one u of each change (n, 3) that the update allows for: a tilt that was found is as free as the shift."""
    size = float(np.hypot(found.sizes[0], found.u[0]))
    tilt = prior.shift if len(found.sizes) > 1 else prior.tilt_share * size
    return np.asarray(columns * np.array([prior.shift, tilt, prior.bend_share * size]))


def _legendre(x: FloatArray) -> FloatArray:
    return np.stack([np.ones_like(x), x, (3 * x**2 - 1) / 2], axis=1)
