"""What a spectrum is asked before it is believed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from uncertainties import nominal_value, std_dev

from aotf_lab.crystal.spectrum.spectrum import Spectrum
from aotf_lab.estimation import Check
from aotf_lab.estimation.checks import z_limit

__all__ = ["spectrum_checks"]

MOST_FLATTENED = 0.05
"""By what share of the highest density the passband may flatten the spectrum before a check says so."""


def spectrum_checks(spectrum: Spectrum, *, corrected: bool) -> tuple[Check, ...]:
    """Return the checks of a spectrum; ``corrected`` says whether the diffraction efficiency was divided out."""
    return (
        spectrum.rows_used.scatter, _range(spectrum), _sampling(spectrum), _lag(spectrum), *_ways(spectrum),
        *spectrum.passband.checks, _width(spectrum), _below_zero(spectrum), _flattened(spectrum),
        _harmonics(spectrum), _efficiency(corrected),
    )  # fmt: skip


def _range(spectrum: Spectrum) -> Check:
    beyond, n = spectrum.rows_used.beyond, len(spectrum.rows_used.table.row)
    low, high = spectrum.axis.tuning.range_nm
    detail = (
        f"{len(beyond)} of {n} readings lie beyond what tuning curve ({low:.1f} to {high:.1f} nm) and responses cover"
    )
    if not beyond:
        return Check("range", True, detail)
    named = ", ".join(beyond[:6]) + (f" and {len(beyond) - 6} more" if len(beyond) > 6 else "")
    return Check("range", False, f"{detail}, 0 allowed, and were not used: {named}; scan anchor lines further out")


def _sampling(spectrum: Spectrum) -> Check:
    f = np.unique(spectrum.rows_used.indicated_mhz)
    step = spectrum.rows_used.table.step_mhz
    gaps = np.diff(f)
    width = spectrum.passband.nominal_fwhm_mhz(0.5 * (f[1:] + f[:-1]))
    worst = int(np.argmax(gaps / width))
    share = float(gaps[worst] / width[worst])
    nm = float(spectrum.axis.nominal_nm(np.array([f[worst]]))[0])
    detail = (
        f"readings lie up to {share:.2g} of the passband's FWHM apart (near {nm:.1f} nm; typical step {step:.3g} MHz)"
    )
    passed = share <= 0.5
    cure = "light between them is not seen: scan in steps of half the resolution or less"
    return Check("sampling", passed, f"{detail}, limit 0.5" + ("" if passed else f"; {cure}"))


def _lag(spectrum: Spectrum) -> Check:
    lag = spectrum.rows_used.lag
    size, u = 1e3 * nominal_value(lag.mhz), 1e3 * std_dev(lag.mhz)
    shift = f"{size:.3g} +- {u:.2g} kHz"
    if lag.known == "measured":
        if size < -z_limit() * u:
            cure = "the lamp drifted, or the directions are exchanged; scan both ways again"
            return Check("lag", False, f"up and down lie {shift} each on the wrong side of the other; {cure}")
        return Check("lag", True, f"the power meter trails by {shift} each way, which was taken out")
    if lag.known == "stated":
        return Check("lag", True, f"the power meter is stated to trail by {shift} each way, which was taken out")
    cure = "scan back as well, or state the meter's time constant with a time_s column"
    return Check("lag", False, f"scanned one way only: {shift} of lag was assumed; {cure}")


def _ways(spectrum: Spectrum) -> Iterator[Check]:
    ratio = spectrum.rows_used.lag.ratio
    if ratio is None:
        return
    gap, u = 100 * (ratio[0] - 1.0), 100 * ratio[1]
    limit = max(z_limit() * u, 0.5)
    detail = f"the way up shows {gap:+.2g} +- {u:.2g} % more light than the way down, limit {limit:.2g} %"
    passed = abs(gap) <= limit
    yield Check("up and down", passed, detail if passed else f"{detail}; let lamp and crystal warm up, scan again")


def _width(spectrum: Spectrum) -> Check:
    seen, f = spectrum.passband.seen_mhz, spectrum.rows_used.indicated_mhz
    if seen is None:
        return Check("passband", True, "one stated passband width was taken for all frequencies")
    margin = 0.5 * max(seen[1] - seen[0], 10.0)
    out = int(np.sum((f < seen[0] - margin) | (f > seen[1] + margin)))
    detail = f"{out} of {len(f)} readings lie more than {margin:.3g} MHz beyond the passbands that were scanned "
    detail += f"({seen[0]:.4g} to {seen[1]:.4g} MHz), 0 allowed"
    cure = "scan a laser line near the spectrum's ends, for the width of the passband there"
    return Check("passband", out == 0, detail if out == 0 else f"{detail}; {cure}")


def _below_zero(spectrum: Spectrum) -> Check:
    light = np.array([v.n for v in spectrum.rows_used.light_mw])
    u = np.array([v.s for v in spectrum.rows_used.light_mw])
    z = light / u
    k, limit = int(np.argmin(z)), z_limit(len(z))
    detail = f"the lowest reading is {light[k]:.3g} mW above dark and floor, {z[k]:.1f} of its u, limit {-limit:.1f}"
    passed = bool(z[k] >= -limit)
    cure = f"dark reading or floor is too high ({spectrum.rows_used.places[k]}); measure it with RF off, lamp on"
    return Check("zero", passed, detail if passed else f"{detail}; {cure}")


def _flattened(spectrum: Spectrum) -> Check:
    most = float(spectrum.nominal_density.max())
    used = spectrum.rows_used
    lobe = np.array([v.n for v in used.light_mw]) - spectrum.stray.all_mw
    u = np.abs(used.u_noise_mw / used.table.light[used.row] * spectrum.nominal_density / np.where(lobe == 0, 1.0, lobe))
    over = np.abs(spectrum.smoothing_mw_per_nm) - z_limit(len(u)) * u
    k = int(np.argmax(over))
    share = max(float(over[k]) / most, 0.0)
    nm = float(spectrum.nominal_nm[k])
    detail = f"the passband flattens the spectrum by up to {100 * share:.2g} % of its highest density (at {nm:.1f} nm)"
    passed = share <= MOST_FLATTENED
    cure = "features as narrow as the resolution are not resolved: ask lines() for their place and power"
    return Check("structure", passed, f"{detail}, limit {100 * MOST_FLATTENED:g} %" + ("" if passed else f"; {cure}"))


def _harmonics(spectrum: Spectrum) -> Check:
    """Say where the second harmonic of the drive diffracts light of half the wavelength's frequency, so to speak."""
    f = spectrum.rows_used.indicated_mhz
    most = spectrum.axis.tuning.range_mhz[1]
    both = f[2 * f <= most]
    if both.size == 0:
        return Check(
            "harmonics", True, "twice the lowest frequency lies beyond the tuning curve: no light of a harmonic"
        )
    nm = spectrum.axis.nominal_nm(np.array([both[0], both[-1]]))
    other = spectrum.axis.nominal_nm(2 * np.array([both[0], both[-1]]))
    detail = f"{both.size} readings from {nm[1]:.1f} to {nm[0]:.1f} nm, 0 allowed, also hold what the drive's second"
    detail += f" harmonic diffracts, light of {other[1]:.1f} to {other[0]:.1f} nm"
    return Check("harmonics", False, f"{detail}; put a filter before the lamp, or leave that end out")


def _efficiency(corrected: bool) -> Check:
    if corrected:
        return Check("efficiency", True, "the diffraction efficiency against wavelength was divided out")
    return Check("efficiency", True, "no efficiency was given: the spectrum is that of the diffracted light")
