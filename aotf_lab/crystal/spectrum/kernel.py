"""The passband as a source of light meets it: its width against frequency, its shape, and its area.

Light of one line in a scan has the passband's shape; light of a continuous spectrum has the passband's area. With
P the indicated power above the floor, g the indicated power per frequency, and h the passband (1 in tune),

    P(f) = integral of g(F) h((f - F) / width(F)) dF = g(f) A + stray(f),

A the area of the main lobe in MHz, over which g is taken as straight, and stray(f) what the sidelobes bring from all
over the spectrum. Per wavelength that is S = g |dF/d wavelength|.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.scan.model import DRIVE_LIMITS, passband
from aotf_lab.crystal.scan.passband import Scan
from aotf_lab.crystal.spectrum.axis import SpectralAxis
from aotf_lab.crystal.spectrum.lobes import lobe_area, stray
from aotf_lab.errors import AotfLabError, ReadingsError, Said
from aotf_lab.estimation import Check, Fit, FittedFunction, Parameter, new_cause, weighted_fit
from aotf_lab.estimation.linear import linear
from aotf_lab.estimation.problem import FloatArray, differences

__all__ = ["Passband", "PassbandLaw", "blurred", "passband_law"]

Passband: TypeAlias = Scan | Sequence[Scan] | Mapping[str, Scan] | UFloat | float
"""What a passband may be known from: scans of laser lines made at the same RF power, or its FWHM in MHz."""

WIDTH_SLOPE = 0.006
"""Weak prior on the relative change of the FWHM per MHz, 0 +- this (common practice, no source: the width of a filter
in MHz goes with the angle of the beams and changes by a few per cent over the visible)."""

WIDTH_FORM = 0.003
"""How far, as a share, the width may leave that straight line: drive narrows it, and not evenly."""

WEAK_SKEW = 0.05
UNKNOWN_DRIVE = (0.5, 0.4)


@dataclass(frozen=True)
class PassbandLaw:
    """FWHM (MHz) as a straight line in frequency, drive ratio as wavelength^-2, and a lean.

    ``width`` is the fit of ``fwhm_mhz = level (1 + slope (f - reference_mhz))``; ``drive`` is P / P_sat at
    ``reference_nm``; ``seen_mhz`` the span of frequencies at which the width was measured (None: stated for all).
    """

    width: Fit
    reference_mhz: float
    drive: UFloat | float
    reference_nm: float
    skew: UFloat | float
    seen_mhz: tuple[float, float] | None
    checks: tuple[Check, ...]

    def _width(self, f: FloatArray, level: float, slope: float) -> FloatArray:
        return np.asarray(level * (1.0 + slope * (f - self.reference_mhz)))

    def fwhm_mhz(self, frequency_mhz: Any) -> Any:
        """Return the FWHM (MHz) at frequencies (MHz): a ``ufloat`` or an object array (n,) of them."""
        return FittedFunction(self.width, self._width)(frequency_mhz)

    def nominal_fwhm_mhz(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the plain FWHM (n,) in MHz."""
        return self._width(frequency_mhz, *self.width.values)

    def drive_at(self, wavelength_nm: FloatArray) -> FloatArray:
        """Return the plain drive ratio (n,) at vacuum wavelengths (n,): one RF power, P_sat as wavelength^2."""
        ratio = nominal_value(self.drive) * (self.reference_nm / wavelength_nm) ** 2
        return np.asarray(np.clip(ratio, 0.0, DRIVE_LIMITS[1]))

    def shape(
        self, frequency_mhz: FloatArray, centre_mhz: float, wavelength_nm: float, wider: float = 1.0
    ) -> FloatArray:
        """Return the passband (n,), 1 at its centre, for light of ``wavelength_nm``; its width times ``wider``."""
        fwhm = wider * float(self.nominal_fwhm_mhz(np.array([centre_mhz]))[0])
        drive = float(self.drive_at(np.array([wavelength_nm]))[0])
        return passband(frequency_mhz, centre_mhz, fwhm, nominal_value(self.skew), drive)

    def area_mhz(self, frequency_mhz: FloatArray, wavelength_nm: FloatArray) -> NDArray[np.object_]:
        """Return the main lobe's area in MHz (n,), ``ufloat``s."""
        drive, skew = nominal_value(self.drive), nominal_value(self.skew)
        share = (self.reference_nm / wavelength_nm) ** 2

        def ratio(values: FloatArray) -> FloatArray:
            return lobe_area(np.clip(values[0] * share, 0.0, DRIVE_LIMITS[1]), float(values[1]))

        at = np.array([drive, skew])
        slopes = differences(ratio, at, np.array([1e-3, 1e-3]), np.array([0.0, -1.0]), np.array([DRIVE_LIMITS[1], 1.0]))
        share_of_fwhm, fwhm = ratio(at), self.nominal_fwhm_mhz(frequency_mhz)
        by_drive, by_skew = slopes.T * fwhm
        return linear(
            share_of_fwhm * fwhm, (by_drive, self.drive), (by_skew, self.skew),
            (share_of_fwhm, self.fwhm_mhz(frequency_mhz)),
        )  # fmt: skip

    def stray_of(
        self, frequency_mhz: FloatArray, light_mhz: FloatArray, light_nm: FloatArray, more_drive: float = 0.0
    ) -> FloatArray:
        """Return how much (n, m) of light at ``light_mhz`` (m,) the sidelobes show at ``frequency_mhz`` (n,).

        ``more_drive`` is added to the drive ratio at ``reference_nm``.
        """
        drive = (nominal_value(self.drive) + more_drive) * (self.reference_nm / light_nm) ** 2
        away = (frequency_mhz[:, None] - light_mhz) / self.nominal_fwhm_mhz(light_mhz)
        return stray(away, np.clip(drive, 0.0, DRIVE_LIMITS[1]), nominal_value(self.skew))


def blurred(lag_in_fwhm: float) -> float:
    """Return the FWHM of a passband that a trailing meter blurs by an exponential, over that of the passband alone.

    >>> blurred(0.0), round(blurred(0.2), 3)
    (1.0, 1.06)
    """
    if abs(lag_in_fwhm) < 0.01:
        return 1.0
    x = np.linspace(-6.0, 6.0, 2401)
    late = np.exp(-np.maximum(x, 0.0) / abs(lag_in_fwhm)) * (x >= 0)
    shape = np.convolve(passband(x, 0.0, 1.0), late, mode="same")
    above = x[shape >= 0.5 * shape.max()]
    return float(above[-1] - above[0])


def passband_law(known: Passband, drive_ratio: UFloat | float | None, axis: SpectralAxis) -> PassbandLaw:
    """Return the passband against frequency from scans, or from one FWHM (MHz) that is stated for all.

    ``drive_ratio`` in the middle of the tuning curve's lines replaces what scans say of the drive. Raises
    ``ReadingsError`` for no scan at all, ``AotfLabError`` for a width or a drive that cannot be.
    """
    reference_nm = axis.tuning.law.reference_nm
    scans = _scans(known)
    _require_drive(drive_ratio)
    if scans is None:
        return _stated(known, drive_ratio, reference_nm, float(np.mean(axis.tuning.range_mhz)))
    centres = np.array([s.centre_mhz.n for s in scans])
    widths = np.array([s.fwhm_mhz.n for s in scans])
    middle = float(centres.mean())
    u_widths = np.array([np.hypot(s.fwhm_mhz.s, WIDTH_FORM * s.fwhm_mhz.n) for s in scans])
    fit = weighted_fit(
        lambda f, level, slope: level * (1.0 + slope * (f - middle)),
        [Parameter("fwhm_mhz", float(widths.mean())),
         Parameter("slope_per_mhz", 0.0, prior=new_cause("weak prior on the passband's width", WIDTH_SLOPE))],
        centres, widths, u_widths, scatter="the passbands' widths",
    )  # fmt: skip
    nm = axis.nominal_nm(centres)
    drives = [s.drive_ratio * float(w / reference_nm) ** 2 for s, w in zip(scans, nm, strict=True)]
    drive = drive_ratio if drive_ratio is not None else _mean(drives)
    span = (float(centres.min()), float(centres.max()))
    checks = tuple(replace(c, name="passband widths") for c in fit.checks if c.name == "scatter")
    return PassbandLaw(fit, middle, drive, reference_nm, _mean([s.skew for s in scans]), span, checks)


def _scans(known: Passband) -> list[Scan] | None:
    if isinstance(known, UFloat | float | int):
        return None
    scans = [known] if isinstance(known, Scan) else list(known.values() if isinstance(known, Mapping) else known)
    if not scans:
        raise ReadingsError(
            "no passband to turn power into power per nm", found=0, allowed="a scan of a laser line, or a FWHM in MHz",
            cure="scan one laser line at the RF power of the spectrum",
        )  # fmt: skip
    return scans


def _require_drive(drive_ratio: UFloat | float | None) -> None:
    if drive_ratio is not None and not 0.0 <= nominal_value(drive_ratio) <= DRIVE_LIMITS[1]:
        raise AotfLabError(
            "drive ratio P / P_sat of a spectrum", found=float(nominal_value(drive_ratio)),
            allowed=f"0 to {DRIVE_LIMITS[1]:g}", cure="give RF power over the power of full diffraction",
        )  # fmt: skip


def _stated(known: Any, drive_ratio: UFloat | float | None, reference_nm: float, reference_mhz: float) -> PassbandLaw:
    nominal = nominal_value(known)
    if not nominal > 0:
        raise AotfLabError(
            "FWHM of the passband", found=Said(f"{nominal:g} MHz"), allowed="above 0 MHz",
            cure="give the passband's full width at half of its peak in MHz, or scans of laser lines",
        )  # fmt: skip
    u = known.s if isinstance(known, UFloat) else 1e-6 * nominal
    fit = weighted_fit(
        lambda f, level, slope: level * (1.0 + slope * (f - reference_mhz)),
        [Parameter("fwhm_mhz", nominal, prior=known if isinstance(known, UFloat) and known.s > 0 else None),
         Parameter("slope_per_mhz", 0.0, prior=new_cause("weak prior on the passband's width", WIDTH_SLOPE))],
        np.array([reference_mhz]), np.array([nominal]), np.array([1e3 * u if isinstance(known, UFloat) else u]),
        scatter="the stated width",
    )  # fmt: skip
    drive = (
        new_cause("drive ratio, unknown", UNKNOWN_DRIVE[1], UNKNOWN_DRIVE[0]) if drive_ratio is None else drive_ratio
    )
    skew = new_cause("lean of the passband, unknown", WEAK_SKEW)
    return PassbandLaw(fit, reference_mhz, drive, reference_nm, skew, None, ())


def _mean(values: Sequence[UFloat]) -> UFloat:
    """Return the mean weighted by what each is known to; values that are exact count alone."""
    exact = [v for v in values if v.s == 0]
    if exact:
        return sum(exact[1:], exact[0]) / len(exact)
    weights = [v.s**-2 for v in values]
    return sum((w * v for w, v in zip(weights[1:], values[1:], strict=True)), weights[0] * values[0]) / sum(weights)
