"""Which wavelengths a band of frequencies can pick, from the crystal's published data alone."""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.physics.indices import optical_range_nm
from aotf_lab.physics.phase_matching import phase_matched_frequency

__all__ = ["optical_window"]


def optical_window(
    band_mhz: tuple[float, float],
    incidence_deg: float,
    acoustic_angle_deg: float,
    velocity_m_s: float | None = None,
    material: str = "TeO2",
) -> tuple[float, float]:
    """Return the shortest and the longest vacuum wavelength (nm) that phase matching gives within ``band_mhz``.

    ``band_mhz`` is the lowest and the highest frequency (MHz) at which the crystal is driven, say where its match is
    good. ``incidence_deg`` (from the optic axis, inside the crystal) and ``acoustic_angle_deg`` (from [110]) are those
    of the cut, from the crystal's papers; ``velocity_m_s`` (m/s) is the sound's, None that of the slow shear wave at
    that angle; ``material`` a crystal with packaged indices. The higher frequency picks the shorter wavelength. The
    window ends where the packaged indices end.

    The wavelength is that at which ``phase_matched_frequency``, the closed triangle of wave vectors (its source stands
    there), gives the frequency. Raises ``AotfLabError`` for a band that is not rising from above 0, or that picks no
    wavelength of those; ``MaterialError`` for another material; else as ``phase_matched_frequency``.
    """
    low_mhz, high_mhz = band_mhz
    if not 0 < low_mhz < high_mhz:
        raise AotfLabError(
            "band of frequencies", found=Said(f"{low_mhz:g} to {high_mhz:g} MHz"), allowed="0 < low < high",
            cure="give the lower end first",
        )  # fmt: skip
    ends = optical_range_nm(material)

    def frequency(wavelength_nm: float) -> float:
        return float(phase_matched_frequency(wavelength_nm, incidence_deg, acoustic_angle_deg, velocity_m_s, material))

    highest, lowest = frequency(ends[0]), frequency(ends[1])
    if high_mhz < lowest or low_mhz > highest:
        raise AotfLabError(
            "a band that picks no wavelength of this cut", found=Said(f"{low_mhz:g} to {high_mhz:g} MHz"),
            allowed=f"{lowest:.4g} to {highest:.4g} MHz", cure="check the cut, or the band",
        )  # fmt: skip

    def wavelength(frequency_mhz: float) -> float:
        return float(brentq(lambda w: frequency(w) - frequency_mhz, *ends, xtol=1e-6))

    shortest = ends[0] if high_mhz >= highest else wavelength(high_mhz)
    longest = ends[1] if low_mhz <= lowest else wavelength(low_mhz)
    return float(np.float64(shortest)), float(np.float64(longest))
