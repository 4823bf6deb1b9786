"""Oscillator curve, tuning law and stated wavelengths as one set of unknowns, with every reading a row on it.

Unknowns: the curve at its nodes (MHz) and the up/down difference (V), as ``fit_smooth`` leaves them after a few
readings of a typical curve; scale, tilt and bend of the tuning law with their weak priors, the scale by 5 %; the error
(nm) of each line's stated wavelength. A setting's error is the curve at the line's voltage less the line's frequency,
f(wavelength) + slope times the error of the wavelength. The counter's time base is in both and cancels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.crystal.tuning.law import SHAPE_PRIORS, TuningLaw
from aotf_lab.estimation.problem import FloatArray, differences
from aotf_lab.estimation.smooth.curve import SmoothFit, fit_smooth
from aotf_lab.planning.session_plan.typical import Prospect, typical_drive_v, typical_frequency_mhz
from aotf_lab.reading.instruments import Instruments

__all__ = ["Joint", "joint_unknowns"]

_U_SCALE = 0.05
_DEFAULT_U_MHZ = 0.005
_STEP_NM = 0.01


@dataclass(frozen=True)
class Joint:
    """The unknowns' ``covariance`` (k, k) after the oscillator's readings at ``drive_v`` (n,) approached from ``side``.

    ``settings`` (l, k) are the lines' setting errors, ``peaks`` (l, k) their peaks, ``u_side_mhz`` (l,) what not
    knowing the side of approach adds to a setting.
    """

    names: tuple[str, ...]
    covariance: FloatArray
    settings: FloatArray
    peaks: FloatArray
    u_side_mhz: FloatArray
    line_v: FloatArray
    line_mhz: FloatArray
    curve: SmoothFit
    two_sided: bool

    def u_settings(self, covariance: FloatArray) -> FloatArray:
        """Return the standard uncertainty (l,) of each line's setting (MHz)."""
        square = np.einsum("ij,jk,ik->i", self.settings, covariance, self.settings)
        return np.asarray(np.sqrt(np.clip(square, 0.0, None) + self.u_side_mhz**2))

    def oscillator_rows(self, drive_v: FloatArray, side: FloatArray) -> FloatArray:
        """Return the rows (n, k) of readings at ``drive_v`` (n,), from ``side`` (+0.5 up, -0.5 down)."""
        rows = np.zeros((len(drive_v), len(self.covariance)))
        m = len(self.curve.nodes)
        rows[:, :m] = self.curve.rows(drive_v)
        if self.two_sided:
            rows[:, m] = side * self.curve.slope(drive_v)
        return rows

    def oscillator_u(self, instruments: Instruments, drive_v: FloatArray) -> FloatArray:
        """Return the noise (n,) of readings at ``drive_v`` in MHz."""
        return np.hypot(_u_count(instruments), self.curve.slope(drive_v) * instruments.u_drive_v)


def joint_unknowns(instruments: Instruments, prospect: Prospect, drive_v: FloatArray, side: FloatArray) -> Joint:
    """Return the unknowns after oscillator readings at ``drive_v`` (n,), and no scan."""
    names = tuple(prospect.lines)
    nm = np.array([line.wavelength_nm for line in prospect.lines.values()])
    u_nm = np.array([line.u_wavelength_nm for line in prospect.lines.values()])
    mhz = prospect.frequency_mhz(nm)
    line_v = typical_drive_v(prospect, mhz)
    two_sided = prospect.backlash_v > 0 and bool(np.ptp(side) > 0)
    curve = _curve(instruments, prospect, drive_v, side, two_sided)
    gradient, slope = _tuning_rows(prospect, nm, mhz)
    p, lines = len(curve.values), len(nm)
    covariance = np.zeros((p + 3 + lines, p + 3 + lines))
    covariance[:p, :p] = curve.scatter + curve.form
    covariance[range(p, p + 3), range(p, p + 3)] = [_U_SCALE**2, *(u**2 for u in SHAPE_PRIORS.values())]
    covariance[range(p + 3, p + 3 + lines), range(p + 3, p + 3 + lines)] = u_nm**2
    peaks = np.zeros((lines, len(covariance)))
    peaks[:, p : p + 3] = gradient
    peaks[:, p + 3 :] = np.diag(slope)
    settings = -peaks
    settings[:, : len(curve.nodes)] = curve.rows(line_v)
    u_side = np.zeros(lines) if prospect.one_sided else 0.5 * prospect.backlash_v * curve.slope(line_v)
    if two_sided and prospect.one_sided:
        settings[:, len(curve.nodes)] = 0.5 * curve.slope(line_v)
    return Joint(names, covariance, settings, peaks, u_side, line_v, mhz, curve, two_sided)


def _u_count(instruments: Instruments) -> float:
    return _DEFAULT_U_MHZ if np.isnan(instruments.u_frequency_mhz) else instruments.u_frequency_mhz


def _curve(
    instruments: Instruments, prospect: Prospect, drive_v: FloatArray, side: FloatArray, two_sided: bool
) -> SmoothFit:
    """Return the fit of a typical curve, read at ``drive_v`` without error but with the readings' uncertainties."""
    shape = np.ones_like(drive_v)
    return fit_smooth(
        drive_v,
        typical_frequency_mhz(prospect, drive_v),
        instruments.u_drive_v * shape,
        _u_count(instruments) * shape,
        shifts=side[:, None] if two_sided else None,
    )


def _tuning_rows(prospect: Prospect, nm: FloatArray, mhz: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return how frequency moves with (ln scale, tilt, bend): (l, 3) in MHz, and with the wavelength: (l,) MHz/nm."""
    law = TuningLaw(prospect.material, float(np.round(1 / np.mean(1 / nm))))
    unit = float(np.median(mhz / law(nm, 1.0, 0.0, 0.0)))

    def at(values: FloatArray) -> FloatArray:
        return law(nm, unit * float(np.exp(values[0])), float(values[1]), float(values[2]))

    gradient = differences(at, np.zeros(3), np.full(3, 1e-5))
    slope = (law(nm + _STEP_NM, unit, 0.0, 0.0) - law(nm - _STEP_NM, unit, 0.0, 0.0)) / (2 * _STEP_NM)
    return gradient, np.asarray(slope)
