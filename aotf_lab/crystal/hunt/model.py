"""What a sweep with several passbands looks like: their light, a floor, and one meter that trails behind all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.crystal.hunt.table import HuntTable
from aotf_lab.crystal.scan.model import detuning_of, passband
from aotf_lab.estimation.problem import FloatArray

__all__ = ["FLOORS", "LAG", "PER_PEAK", "SHARED", "SKEW", "HuntModel", "envelope", "peak_names"]

FLOORS = 3
"""Terms of the floor, a parabola over the order of the rows."""

LAG, SKEW = FLOORS, FLOORS + 1
SHARED = FLOORS + 2
PER_PEAK = 4
"""Parameters of a peak: centre (MHz), logarithm of the FWHM, height (mW), drive ratio."""

_SMALL = 1e-4
_REACH = 25.0
"""How many FWHM a passband is followed to either side; beyond, its sidelobes stay below 1e-3 of its height."""


def peak_names(count: int) -> tuple[str, ...]:
    """Return the names of all parameters for ``count`` peaks, in order."""
    names = ["floor_mw", "floor_slope_mw", "floor_bend_mw", "lag_steps", "skew"]
    for k in range(count):
        names += [f"centre_{k + 1}_mhz", f"log_fwhm_{k + 1}", f"height_{k + 1}_mw", f"drive_ratio_{k + 1}"]
    return tuple(names)


@dataclass(frozen=True)
class HuntModel:
    """The indicated power at each row of ``table``, by parameters as ``peak_names`` has them."""

    table: HuntTable

    @property
    def floors(self) -> FloatArray:
        """The terms (n, 3) of the floor."""
        order = np.linspace(-1.0, 1.0, len(self.table.power_mw))
        return np.asarray(np.polynomial.legendre.legvander(order, FLOORS - 1), dtype=float)

    def light(self, values: FloatArray) -> FloatArray:
        """Return the light (n, k) of each peak before the meter, floor left out."""
        return lights(self.table.frequency_mhz, values)

    def shown(self, values: FloatArray) -> FloatArray:
        """Return the power (n,) that the meter shows."""
        light = self.table.trailing(self.light(values).sum(axis=1), float(values[LAG]))
        return np.asarray(light + self.floors @ values[:FLOORS])

    def gradient(self, values: FloatArray) -> FloatArray:
        """Return d shown / d parameter (n, p): the centre and the width from one derivative by (f - centre)/FWHM."""
        f, lag, skew = self.table.frequency_mhz, float(values[LAG]), float(values[SKEW])
        inner = np.zeros((len(f), len(values)))
        total = np.zeros(len(f))
        for k in range(SHARED, len(values), PER_PEAK):
            centre, width, height, drive = _peak(values, k)
            near = np.flatnonzero(np.abs(f - centre) < _REACH * width)
            x = f[near]
            shape = passband(x, centre, width, skew, drive)
            step = _SMALL * width
            rise = passband(x + step, centre, width, skew, drive) - passband(x - step, centre, width, skew, drive)
            along = rise / (2 * _SMALL)
            inner[near, k] = -height * along / width
            inner[near, k + 1] = -height * along * (x - centre) / width
            inner[near, k + 2] = shape
            inner[near, k + 3] = height * (passband(x, centre, width, skew, drive + 1e-3) - shape) / 1e-3
            inner[near, SKEW] += height * (passband(x, centre, width, skew + 1e-3, drive) - shape) / 1e-3
            total[near] += height * shape
        result = self.table.trailing(inner, lag)
        result[:, :FLOORS] = self.floors
        more = self.table.trailing(total, lag + _SMALL)
        result[:, LAG] = (more - self.table.trailing(total, lag)) / _SMALL
        return result


def _peak(values: FloatArray, k: int) -> tuple[float, float, float, float]:
    return float(values[k]), float(np.exp(values[k + 1])), float(values[k + 2]), float(values[k + 3])


def lights(frequency_mhz: FloatArray, values: FloatArray) -> FloatArray:
    """Return the light (n, k) of each peak at any frequencies (n,), before the meter."""
    result = np.zeros((len(frequency_mhz), (len(values) - SHARED) // PER_PEAK))
    for column, k in enumerate(range(SHARED, len(values), PER_PEAK)):
        centre, width, height, drive = _peak(values, k)
        near = np.flatnonzero(np.abs(frequency_mhz - centre) < _REACH * width)
        result[near, column] = height * passband(frequency_mhz[near], centre, width, float(values[SKEW]), drive)
    return result


def envelope(frequency_mhz: FloatArray, values: FloatArray) -> FloatArray:
    """Return the line (n,) on which the tops of all sidelobes lie; zero within the main lobes.

    eta = q^2 sin^2(s)/s^2 touches q^2/s^2 at each top (``physics.coupled_waves``).
    """
    result = np.zeros(len(frequency_mhz))
    for k in range(SHARED, len(values), PER_PEAK):
        centre, width, height, drive = _peak(values, k)
        q2 = max(0.25 * np.pi**2 * drive, 1e-3)
        s2 = q2 + detuning_of(frequency_mhz, centre, width, float(values[SKEW]), drive) ** 2
        in_tune = np.sinc(np.sqrt(q2) / np.pi) ** 2
        result += np.where(s2 > np.pi**2, abs(height) / (s2 * max(in_tune, 0.05)), 0.0)
    return result
