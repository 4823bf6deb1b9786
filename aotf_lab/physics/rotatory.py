"""Optical activity of paratellurite: rotatory power, indices near the optic axis, and what phase matching feels of it.

Rotatory power: two Drude terms at the poles of the published ordinary index, rho = sum A_k / (wavelength^2 - pole_k^2),
through the two values that ``data/rotatory_power.csv`` marks so (Uchida, Phys. Rev. B 4, 3736 (1971), from memory).
Along the axis rho = 180 deg (n_left - n_right) / wavelength.

At the angle a from the axis, with n1 and n2 the indices without activity, Maxwell's equations give
(1/n^2 - 1/n1^2)(1/n^2 - 1/n2^2) = (G/n_o^4)^2 (Landau & Lifshitz, Electrodynamics of Continuous Media, natural optical
activity): the splittings of both kinds add as squares, so that the rotation soon drowns in the birefringence; at
632.8 nm they are equal at 2.7 deg. G = g33 cos^2 a with g33 = n_o (n_left - n_right); the term g11 sin^2 a, not known
here, is left out (sin^2 is 0.03 at 10.6 deg). Each wave is then an ellipse; what that does to efficiency and to an
analyser is not modelled.

Elsewhere the package leaves activity out. For a cut of 10.6 deg, ordinary light, that is 439 kHz at 450 nm, 121 kHz at
589 nm and 71 kHz at 671 nm (extraordinary light: about twice as much): a prediction without any light is off by that. A
tuning curve fitted to lines absorbs it: 4 kHz are left with seven lines over 450 to 671 nm (extraordinary: 11 kHz).

Interpolations that add the two splittings instead of their squares serve on the axis (Warner, White & Bonner, J. Appl.
Phys. 43, 4489 (1972), from memory) and are wrong by far more than the whole effect at a filter's incidence.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.data import read_packaged_table
from aotf_lab.errors import AotfLabError
from aotf_lab.physics.domain import Values, as_values
from aotf_lab.physics.indices import extraordinary_index, ordinary_index
from aotf_lab.physics.phase_matching import Polarisation, phase_matched_frequency

__all__ = ["active_indices", "activity_shift_khz", "circular_birefringence", "rotatory_power_deg_per_mm"]


@lru_cache
def _drude() -> tuple[Values, Values]:
    """Return the squared poles (um^2) and strengths (deg um^2 / mm) of the two terms."""
    row = next(r for r in read_packaged_table("dispersion") if r["material"] == "TeO2" and r["ray"] == "o")
    poles = np.array([float(row["C1_um"]), float(row["C2_um"])]) ** 2
    fixed = [r for r in read_packaged_table("rotatory_power") if r["use"] == "fixes the law"]
    squares = np.array([1e-6 * float(r["wavelength_nm"]) ** 2 for r in fixed])
    powers = np.array([float(r["rotatory_deg_per_mm"]) for r in fixed])
    return poles, np.linalg.solve(1.0 / (squares[:, None] - poles), powers)


def rotatory_power_deg_per_mm(wavelength_nm: ArrayLike) -> Values:
    """Return the rotatory power of TeO2 along the optic axis (deg/mm) at the vacuum wavelength(s) in nm.

    Raises ``MaterialError`` outside the range of the published indices. Source: see the module.

    >>> [round(float(r), 1) for r in rotatory_power_deg_per_mm([632.8, 589.0])]
    [86.9, 105.5]
    """
    ordinary_index(wavelength_nm)
    poles, strengths = _drude()
    return as_values((strengths / (1e-6 * as_values(wavelength_nm)[..., None] ** 2 - poles)).sum(axis=-1))


def circular_birefringence(wavelength_nm: ArrayLike) -> Values:
    """Return n_left - n_right along the optic axis; errors as for ``rotatory_power_deg_per_mm``.

    >>> round(float(circular_birefringence(632.8)), 6)
    0.000306
    """
    return rotatory_power_deg_per_mm(wavelength_nm) * as_values(wavelength_nm) * 1e-6 / 180.0


def active_indices(wavelength_nm: ArrayLike, angle_deg: ArrayLike) -> tuple[Values, Values]:
    """Return the two indices of TeO2 at ``angle_deg`` from the axis, the ordinary-like (smaller) one first.

    Errors as for ``rotatory_power_deg_per_mm``. Source: see the module.

    >>> [round(float(n), 5) for n in active_indices(632.8, 0.0)]
    [2.25951, 2.25981]
    """
    ordinary, principal = ordinary_index(wavelength_nm), extraordinary_index(wavelength_nm)
    angle = np.radians(as_values(angle_deg))
    one = ordinary**-2.0
    other = (np.cos(angle) / ordinary) ** 2 + (np.sin(angle) / principal) ** 2
    coupling = circular_birefringence(wavelength_nm) * np.cos(angle) ** 2 / ordinary**3
    middle, half = (one + other) / 2.0, np.hypot((other - one) / 2.0, coupling)
    return as_values((middle + half) ** -0.5), as_values((middle - half) ** -0.5)


def activity_shift_khz(
    wavelength_nm: ArrayLike,
    incidence_deg: ArrayLike,
    acoustic_angle_deg: ArrayLike,
    velocity_m_s: ArrayLike | None = None,
    *,
    incident: Polarisation = "ordinary",
) -> Values:
    """Return by how much (kHz) optical activity moves the phase-matched frequency of TeO2.

    Arguments, geometry and errors as for ``phase_matched_frequency``, which leaves activity out; they broadcast. Also
    raises ``AotfLabError`` where the incidence is so near to the axis that activity rules and no root is found near by.
    At the cut of 10.6 and 5.3 deg:

    >>> [round(float(s)) for s in activity_shift_khz([450.0, 589.0, 671.0], 10.6, 5.3, 643.4)]
    [439, 121, 71]
    """
    without = phase_matched_frequency(wavelength_nm, incidence_deg, acoustic_angle_deg, velocity_m_s, incident=incident)
    # at 1 m/s, f times wavelength is the acoustic wave vector itself
    grating = phase_matched_frequency(wavelength_nm, incidence_deg, acoustic_angle_deg, 1.0, incident=incident)
    plain = grating * as_values(wavelength_nm) * 1e-3
    relative = _active_grating(plain, wavelength_nm, incidence_deg, acoustic_angle_deg, incident) / plain - 1.0
    return as_values(1e3 * without * relative)


def _active_grating(
    start: Values, wavelength_nm: ArrayLike, incidence_deg: ArrayLike, acoustic_angle_deg: ArrayLike, incident: str
) -> Values:
    """Return the acoustic wave vector (in 2 pi / wavelength) that joins the two active surfaces, by secants."""
    light, sound = np.radians(as_values(incidence_deg)), np.radians(as_values(acoustic_angle_deg))
    first = 0 if incident == "ordinary" else 1
    index, sign = active_indices(wavelength_nm, incidence_deg)[first], 1.0 if first == 0 else -1.0

    def mismatch(grating: Values) -> Values:
        across = index * np.sin(light) + sign * grating * np.cos(sound)
        along = index * np.cos(light) - sign * grating * np.sin(sound)
        surface = active_indices(wavelength_nm, np.degrees(np.arctan2(across, along)))[1 - first]
        return as_values(np.hypot(across, along) - surface)

    before, now = start, start * (1.0 + 1e-3)
    at_before = mismatch(before)
    for _ in range(12):
        at_now = mismatch(now)
        change = at_now - at_before
        step = np.where(np.abs(change) > 1e-16, at_now * (now - before) / np.where(change == 0, 1.0, change), 0.0)
        before, at_before, now = now, at_now, now - step
    off = np.abs(mismatch(now))
    if not np.all(off < 1e-12):
        raise AotfLabError(
            "no phase matching near the one without optical activity", found=float(np.max(off)),
            allowed="a mismatch of the indices below 1e-12", cure="ask further from the optic axis, beyond 3 deg",
        )  # fmt: skip
    return as_values(now)
