"""How well a scan tells its peak, before it is made: by its number of points and its width."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.estimation.problem import FloatArray, differences
from aotf_lab.physics.coupled_waves import diffraction_efficiency, passband_fwhm
from aotf_lab.planning.session_plan.typical import Prospect
from aotf_lab.reading.instruments import Instruments

__all__ = ["ScanShape", "best_scan", "peak_u_mhz"]

_WIDTHS = np.linspace(2.0, 4.0, 9)
"""In FWHM: both flanks and the floor beside them must be seen (common practice, no source)."""
_U_SKEW = 0.1
_DRIVE = 0.5
_SINGULAR = 1e10


@dataclass(frozen=True)
class ScanShape:
    """``readings`` in all, half of them up and half down, over ``width_mhz`` about the peak; u of the peak in MHz."""

    readings: int
    width_mhz: float
    u_peak_mhz: float


def best_scan(instruments: Instruments, prospect: Prospect, readings: int) -> ScanShape:
    """Return the width (2 to 4 FWHM) over which ``readings`` tell the peak best."""
    found = [(peak_u_mhz(instruments, prospect, readings, float(w)), float(w)) for w in _WIDTHS]
    u, width = min(found)
    return ScanShape(readings, width * prospect.fwhm_mhz, u)


def peak_u_mhz(instruments: Instruments, prospect: Prospect, readings: int, width_fwhm: float) -> float:
    """Return the standard uncertainty (MHz) of a peak by the information of a scan up and down.

    Unknown with the peak: width, height, floor, lean (0 +- 0.1) and lag, which up and down tell apart. The noise of a
    reading is that of the power meter, of the laser, and of the counter times the slope.
    """
    half = np.linspace(-0.5, 0.5, max(readings // 2, 2)) * width_fwhm * prospect.fwhm_mhz
    f, way = np.concatenate([half, half]), np.repeat([1.0, -1.0], len(half))

    def light(values: FloatArray) -> FloatArray:
        centre, fwhm, height, floor, skew, lag = values
        detuning = np.pi * float(passband_fwhm(_DRIVE)) * (f - centre - way * lag) / fwhm
        leaning = detuning * (1 - skew * np.tanh(detuning))
        return np.asarray(
            floor + height * diffraction_efficiency(leaning, _DRIVE) / diffraction_efficiency(0.0, _DRIVE)
        )

    values = np.array([0.0, prospect.fwhm_mhz, 1.0, 0.0, 0.0, 0.0])
    gradient = differences(light, values, np.full(6, 1e-4))
    meter = instruments.power_meter
    relative = 0.01 * float(np.hypot(meter.u_reading_percent or 1.0, prospect.wander_percent))
    floor_u = 0.003 if meter.floor_uw is None else 1e-3 * meter.floor_uw / prospect.peak_power_mw
    counter = 0.0 if np.isnan(instruments.u_frequency_mhz) else instruments.u_frequency_mhz
    u = np.sqrt((relative * light(values)) ** 2 + floor_u**2 + (gradient[:, 0] * counter) ** 2)
    rows = np.vstack([gradient / u[:, None], [0, 0, 0, 0, 1 / _U_SKEW, 0]])
    information = rows.T @ rows
    scale = np.sqrt(np.diag(information))
    scaled = information / np.outer(scale, scale)
    if np.linalg.cond(scaled) > _SINGULAR:
        return float("inf")
    return float(np.sqrt(np.linalg.inv(scaled)[0, 0]) / scale[0])
