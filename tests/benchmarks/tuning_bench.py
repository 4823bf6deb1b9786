"""Simulated lines of a filter whose truth is exact phase matching, and what the published law does with them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.crystal.tuning.law import SHAPE_PRIORS, TuningLaw
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.physics.phase_matching import parallel_tangent_frequency

Floats = NDArray[np.float64]

DESIGN_NM = 589.0
U_MHZ = 0.005
ANCHORS = {
    "5 anchors": ((473.06, 0.08), (514.53, 0.10), (556.27, 0.10), (588.96, 0.10), (671.10, 0.10)),
    "4 anchors": ((473.06, 0.08), (556.27, 0.10), (588.96, 0.10), (671.10, 0.10)),
    "3 anchors": ((473.06, 0.08), (588.96, 0.10), (671.10, 0.10)),
}
"""Wavelength in air (nm) and its u, as a bench with diode-pumped lasers and a wavemeter of 0.1 nm has them."""


@dataclass(frozen=True)
class Lines:
    """True vacuum wavelengths (n,) in nm and their u."""

    nm: Floats
    u_nm: Floats

    def points(self) -> dict[str, Floats]:
        """Return the vacuum wavelengths (nm) at which intervals are tried, by kind."""
        wave = 1 / self.nm
        margin = 0.195 * (wave[0] - wave[-1])
        return {
            "between the anchors": (self.nm[:-1] + self.nm[1:]) / 2,
            "at the end anchors": self.nm[[0, -1]],
            "at the ends of the range": 1 / np.array([wave[0] + margin, wave[-1] - margin]),
        }


def lines_of(anchors: str) -> Lines:
    nm, u_nm = np.array(ANCHORS[anchors]).T
    return Lines(air_to_vacuum(nm), u_nm)


def true_frequency(nm: Floats, incidence_deg: float, pole_shift_nm: float) -> Floats:
    """Return the frequency (MHz) of a parallel-tangent cut, the extraordinary pole moved by ``pole_shift_nm``."""
    return np.asarray(parallel_tangent_frequency(nm, incidence_deg, DESIGN_NM, pole_shift_nm=pole_shift_nm))


def measured(lines: Lines, frequency_mhz: Floats, rng: np.random.Generator) -> pd.DataFrame:
    """Return a table of stated wavelengths and measured frequencies with their errors."""
    return pd.DataFrame(
        {
            "wavelength_nm": lines.nm + lines.u_nm * rng.standard_normal(len(lines.nm)),
            "u_wavelength_nm": lines.u_nm,
            "frequency_mhz": frequency_mhz + U_MHZ * rng.standard_normal(len(lines.nm)),
            "u_frequency_mhz": U_MHZ,
        }
    )


def cramer_rao_mhz(lines: Lines, frequency_mhz: Floats, at_nm: Floats) -> Floats:
    """Return the least standard error (MHz) at ``at_nm`` that any estimator can have: the Bayesian Cramer-Rao bound.

    The information of the lines at the truth plus that of the weak priors (van Trees 1968), for the law's
    three parameters. Computed here with numpy alone.
    """
    law = TuningLaw("TeO2", float(np.round(1 / np.mean(1 / lines.nm))))
    unit = law(lines.nm, 1.0, 0.0, 0.0)
    x = law.reference_nm / lines.nm - 1
    basis = unit[:, None] * x[:, None] ** np.arange(3)
    truth = np.linalg.lstsq(basis / frequency_mhz[:, None], np.ones(len(x)), rcond=None)[0]
    scale = truth[0]
    gradient = np.column_stack([basis @ (truth / scale), scale * basis[:, 1], scale * basis[:, 2]])
    step = 0.01
    slope = (law(lines.nm + step, scale, *truth[1:] / scale) - law(lines.nm - step, scale, *truth[1:] / scale)) / (
        2 * step
    )
    weight = 1 / (U_MHZ**2 + (slope * lines.u_nm) ** 2)
    information = gradient.T @ (weight[:, None] * gradient) + np.diag([0.0, *(u**-2 for u in SHAPE_PRIORS.values())])
    t = law.reference_nm / at_nm - 1
    there = law(at_nm, 1.0, 0.0, 0.0)[:, None] * t[:, None] ** np.arange(3)
    at = np.column_stack([there @ (truth / scale), scale * there[:, 1], scale * there[:, 2]])
    return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", at, np.linalg.inv(information), at)))
