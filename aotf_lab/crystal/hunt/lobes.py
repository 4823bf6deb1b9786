"""The first sidelobes of each passband, where the sweep shows them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat, ufloat

from aotf_lab.crystal.hunt.fit import HuntSolution
from aotf_lab.crystal.hunt.model import LAG, PER_PEAK, SHARED, SKEW
from aotf_lab.crystal.scan.model import detuning_of, passband
from aotf_lab.physics.coupled_waves import sidelobe_level_db

__all__ = ["Lobe", "shown_lobes"]

_HIDDEN = 1.0


@dataclass(frozen=True)
class Lobe:
    """The first sidelobe of the peak of ``index`` on one ``side`` (-1 below, +1 above).

    ``offset`` is its place from the centre in FWHM, ``width`` its own FWHM in that of the peak, ``share`` its height
    over the peak's, ``relative`` its light over what coupled waves give, ``theory_db`` the latter's level.
    """

    index: int
    side: int
    offset: float
    width: float
    share: float
    relative: UFloat
    theory_db: float


def shown_lobes(solution: HuntSolution, least_z: float) -> list[Lobe]:
    """Return the first sidelobes that stand ``least_z`` of their u above nothing and that no other light covers."""
    sweep, table = solution.sweep, solution.sweep.model.table
    values, spread = sweep.values, solution.noise.spread_mw
    light = sweep.model.light(values)
    rest, lag = sweep.rest_mw, float(values[LAG])
    found = []
    for index, k in enumerate(range(SHARED, len(values), PER_PEAK)):
        centre, width, height, drive = values[k], float(np.exp(values[k + 1])), values[k + 2], float(values[k + 3])
        q2 = 0.25 * np.pi**2 * drive
        detuning = detuning_of(table.frequency_mhz, centre, width, float(values[SKEW]), drive)
        phase = np.sqrt(np.maximum(q2 + detuning**2, 0.0))
        others = light.sum(axis=1) - light[:, index]
        for side in (-1, 1):
            inside = (side * detuning > 0) & (phase > np.pi) & (phase < 2 * np.pi)
            if inside.sum() < 1 or np.max(others[inside]) > _HIDDEN * np.max(light[inside, index]):
                continue
            shape = table.trailing(np.where(inside, light[:, index], 0.0), max(lag, 0.0)) / spread
            square = float(shape @ shape)
            relative = 1.0 + float(shape @ (rest / spread)) / max(square, 1e-30)
            if square**0.5 * relative < least_z or height <= 0:
                continue
            offset, own, share = _shape(side, float(values[SKEW]), drive)
            number = ufloat(relative, square**-0.5, tag="scatter of the sweep")
            theory = float(sidelobe_level_db(min(max(drive, 0.0), 2.4)))
            found.append(Lobe(index, side, offset, own, share, number, theory))
    return found


def _shape(side: int, skew: float, drive: float) -> tuple[float, float, float]:
    """Return place, FWHM (both in FWHM of the peak) and height of the first sidelobe of a peak of height 1."""
    x = side * np.linspace(0.4, 4.0, 1441)
    light = passband(x, 0.0, 1.0, skew, drive)
    null = int(np.argmax(np.diff(light) > 0))
    top = null + int(np.argmax(np.diff(light[null + 1 :]) < 0)) + 1
    half = 0.5 * light[top]
    end = top + int(np.argmax(light[top:] < half))
    start = top - int(np.argmax(light[top::-1] < half))
    return float(x[top]), float(abs(x[end] - x[start])), float(light[top])
