"""From a scan of a source of light to its spectrum."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.crystal.spectrum.axis import SpectralAxis
from aotf_lab.crystal.spectrum.checks import spectrum_checks
from aotf_lab.crystal.spectrum.density import light_per_mhz
from aotf_lab.crystal.spectrum.kernel import Passband, passband_law
from aotf_lab.crystal.spectrum.response import Response
from aotf_lab.crystal.spectrum.rows import SpectrumReadings, spectrum_rows
from aotf_lab.crystal.spectrum.spectrum import Spectrum
from aotf_lab.crystal.tuning.common import true_value
from aotf_lab.crystal.tuning.curve import Tuning
from aotf_lab.estimation.linear import linear, nominals

__all__ = ["fit_spectrum"]


def fit_spectrum(
    readings: SpectrumReadings,
    tuning: Tuning,
    *,
    passband: Passband,
    response: Response | UFloat | float | None = None,
    efficiency: Response | UFloat | float | None = None,
    floor_mw: UFloat | float | None = None,
    time_constant_s: UFloat | float | None = None,
    drive_ratio: UFloat | float | None = None,
    label: str = "",
) -> Spectrum:
    """Turn a scan of a source of light into its ``Spectrum`` and return it.

    ``readings`` is a table, or a list of them (the way up, the way down), with ``frequency_mhz`` and
    ``optical_power_mw``, and what ``fit_scan`` understands beside them; ``dark_power_mw`` is subtracted. ``tuning``
    makes wavelengths of frequencies.

    ``passband``: scans of laser lines at the same RF power, or the FWHM in MHz. Power is turned into power per nm by
    the passband's main lobe: P less the light that the sidelobes bring from elsewhere is S times the integral of the
    lobe over wavelength. ``drive_ratio`` (P / P_sat in the middle of the tuning curve) replaces the scans'; the
    sidelobes grow with it. ``response``: indicated over true power, against wavelength. ``efficiency``: diffracted over
    incident light in tune, against wavelength at the RF power used; without it the spectrum is that of the diffracted
    light. A filter passes one polarisation: the spectrum is that of the light it takes. ``floor_mw``: what the meter
    shows with RF off and the source on, in place of the dark reading. ``time_constant_s``: that of the meter, whose lag
    shifts each way of the sweep. ``label`` names the source.

    Readings that tuning curve or responses do not reach are not used, and the check "range" names them. Raises
    ``ReadingsError`` for readings that cannot be, or too few of them.
    """
    axis = SpectralAxis(tuning)
    factors = [f for f in (response, efficiency) if f is not None]
    tables = [f for f in factors if isinstance(f, Response)]
    law = passband_law(passband, drive_ratio, axis)
    width = float(law.nominal_fwhm_mhz(np.array([law.reference_mhz]))[0])
    rows = spectrum_rows(readings, axis, tables, floor_mw, time_constant_s, width)
    nm = axis.wavelength_nm(rows.frequency_mhz)
    indicated, stray = light_per_mhz(rows.indicated_mhz, rows.light_mw, law, axis)
    per_mhz = _without(true_value(rows.scale, indicated), [f(nm) if isinstance(f, Response) else f for f in factors])
    slope = axis.mhz_per_nm(nm)
    density = linear(nominals(per_mhz) * nominals(slope), (nominals(slope), per_mhz), (nominals(per_mhz), slope))
    spectrum = Spectrum(label, axis, law, rows, nm, per_mhz, density, tuple(factors), stray, ())
    return replace(spectrum, checks=spectrum_checks(spectrum, corrected=efficiency is not None))


def _without(light: NDArray[np.object_], factors: list[Any]) -> NDArray[np.object_]:
    """Return ``light`` (n,) over each of ``factors``, a number for all or one (n,) for each."""
    for factor in factors:
        plain, by = nominals(light), nominals(np.broadcast_to(np.asarray(factor, dtype=object), light.shape))
        light = linear(plain / by, (1 / by, light), (-plain / by**2, factor))
    return light
