"""Anchor lines of the invented bench, for tests of behaviour: their truth is exact phase matching."""

from __future__ import annotations

import numpy as np
import pandas as pd

from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.physics.phase_matching import phase_matched_frequency

LABELS = ("B", "D", "E", "G")
IN_AIR_NM = np.array([473.06, 556.27, 588.96, 671.10])
U_NM = np.array([0.08, 0.10, 0.10, 0.10])
U_MHZ = 0.005


def true_mhz(nm):
    """Frequency of the bench's crystal at vacuum wavelengths in nm."""
    return phase_matched_frequency(nm, 10.6, 5.3, 643.4)


def skerry_lines(stated_in_air_nm=IN_AIR_NM, seed=None):
    """Return the anchors as a table with file and line; with a seed, their frequencies and wavelengths carry errors."""
    noise = np.zeros((2, 4)) if seed is None else np.random.default_rng(seed).standard_normal((2, 4))
    return pd.DataFrame(
        {
            "label": LABELS,
            "wavelength_nm": air_to_vacuum(stated_in_air_nm) + U_NM * noise[0],
            "u_wavelength_nm": U_NM,
            "frequency_mhz": true_mhz(air_to_vacuum(IN_AIR_NM)) + U_MHZ * noise[1],
            "u_frequency_mhz": U_MHZ,
            "file": "lines.csv",
            "line": range(2, 6),
        }
    )
