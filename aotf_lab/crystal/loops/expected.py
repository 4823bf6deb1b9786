"""The loops of faint light around the orders: where they are on a screen at a given distance.

Sound that the transducer sends astray, and its reflections, fill the crystal at the drive's frequency in every
direction. Each acoustic wave scatters light into closed curves, nearly sections of its slowness surface
(``physics/slowness_scattering.py``, with what is not modelled). The slow shear wave of paratellurite makes a star of
four arms along the two <110>; the diffracted order lies on the arm of the changed polarisation.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from aotf_lab.crystal.cut import Cut
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.acoustics import slow_shear_velocity
from aotf_lab.physics.elastic import V110_M_S, elastic_constants
from aotf_lab.physics.phase_matching import (
    Polarisation,
    parallel_tangent_acoustic_angle,
    phase_matched_frequency,
)
from aotf_lab.physics.slowness import ALONG_001, ALONG_110, MODES, acoustic_velocities
from aotf_lab.physics.slowness_contour import sphere_vertices, zero_curves
from aotf_lab.physics.slowness_scattering import Scattering

__all__ = ["POLARISATIONS", "Loop", "Loops", "expected_loops", "loops_of", "other"]

POLARISATIONS: tuple[Polarisation, Polarisation] = ("ordinary", "extraordinary")


def other(polarisation: Polarisation) -> Polarisation:
    """Return the other polarisation."""
    return POLARISATIONS[1 - POLARISATIONS.index(polarisation)]


@dataclass(frozen=True, eq=False)
class Loop:
    """One closed curve: ``x_mm``, ``y_mm`` (n,) on the screen from the undiffracted spot.

    ``mode`` is the acoustic wave, ``scattered`` the polarisation of the light on the loop, ``directions`` (n, 3) the
    sound's wave normals and ``velocity_m_s`` (n,) its phase velocities.
    """

    mode: str
    scattered: Polarisation
    x_mm: FloatArray = field(repr=False)
    y_mm: FloatArray = field(repr=False)
    directions: FloatArray = field(repr=False)
    velocity_m_s: FloatArray = field(repr=False)

    @property
    def name(self) -> str:
        """Acoustic wave and polarisation of the light."""
        return f"{self.mode}, {self.scattered}"


@dataclass(frozen=True, eq=False)
class Loops:
    """All loops of one setting; made by ``expected_loops`` only.

    ``order_mm`` is the place (x, y) of the diffracted order. It lies on the loop of slow shear and changed
    polarisation when the drive is in tune, ``detuning_mhz`` is 0.
    """

    scattering: Scattering = field(repr=False)
    loops: tuple[Loop, ...]
    order_mm: tuple[float, float]
    detuning_mhz: float

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (what, where) of the order and of each loop, in mm from the undiffracted spot."""
        rows = [("diffracted order", f"x {self.order_mm[0]:.1f} mm, {self.detuning_mhz:+.3f} MHz from phase matching")]
        for loop in self.loops:
            x, y = loop.x_mm, loop.y_mm
            rows.append((loop.name, f"x {x.min():.1f} to {x.max():.1f}, y {y.min():.1f} to {y.max():.1f} mm"))
        return tuple(rows)

    def plot(self, ax: Any = None) -> Any:
        """Draw the loops in mm on the screen, both axes to one scale, with the two orders; return the Axes."""
        from aotf_lab.drawing.loops import plot_loops

        return plot_loops([(loop.name, loop.x_mm, loop.y_mm) for loop in self.loops], self.order_mm, ax=ax)

    def __str__(self) -> str:
        return rows_text(self._title, self.rows())

    def _repr_html_(self) -> str:
        return rows_html(self._title, self.rows())

    @property
    def _title(self) -> str:
        setting = self.scattering
        return (
            f"Loops at {setting.wavelength_nm:g} nm and {setting.frequency_mhz:.4g} MHz, "
            f"{setting.distance_mm:g} mm away, {setting.incident} light at {setting.incidence_deg:.3g} deg"
        )


def loops_of(scattering: Scattering, wanted: tuple[tuple[str, Polarisation], ...] | None = None) -> tuple[Loop, ...]:
    """Return the loops of ``scattering``: all, or those (acoustic wave, polarisation of the light) that are wanted."""
    vertices = sphere_vertices()
    at_vertices = acoustic_velocities(vertices, scattering.constants)
    loops = []
    for mode, scattered in wanted or tuple((m, p) for m in MODES for p in POLARISATIONS):
        k = MODES.index(mode)

        def off(way: FloatArray, k: int = k, scattered: str = scattered) -> FloatArray:
            velocity = acoustic_velocities(way, scattering.constants)[..., k]
            return scattering.off_surface(scattering.scattered(way, velocity), scattered)

        known = scattering.off_surface(scattering.scattered(vertices, at_vertices[:, k]), scattered)
        for curve in zero_curves(off, known):
            velocity = acoustic_velocities(curve, scattering.constants)[:, k]
            x, y = scattering.on_screen(scattering.scattered(curve, velocity))
            loops.append(Loop(mode, scattered, x, y, curve, velocity))
    return tuple(loops)


def incidence_of(cut: Cut | float) -> float:
    """Return the incidence (deg) of a cut, or the number itself."""
    return cut.incidence_deg.n if isinstance(cut, Cut) else float(cut)


def expected_loops(
    cut: Cut | float,
    frequency_mhz: float | None,
    wavelength_nm: float,
    distance_mm: float,
    *,
    incident: Polarisation = "ordinary",
    acoustic_angle_deg: float | None = None,
    exit_tilt_deg: float = 0.0,
    v110_m_s: float = V110_M_S,
    material: str = "TeO2",
) -> Loops:
    """Return the loops at ``distance_mm`` for light of the vacuum wavelength in nm.

    ``cut`` is a fitted ``Cut``, or the incidence inside in deg from the optic axis; ``frequency_mhz`` None is the one
    that is phase-matched. ``acoustic_angle_deg`` from [110] is that of the cut, of parallel tangents where only the
    incidence is given. ``exit_tilt_deg`` is the exit face's normal from the light inside, towards [110];
    ``v110_m_s`` the velocity of the slow shear wave along [110]; ``incident`` is "ordinary" or "extraordinary".

    Raises ``MaterialError`` for a crystal without elastic constants (TeO2 has them) and outside the published
    indices, ``AotfLabError`` where nothing is phase-matched or a value is impossible.

    >>> print(str(expected_loops(10.6, None, 589.0, 1000.0)).splitlines()[1].strip())
    diffracted order            x 58.1 mm, +0.000 MHz from phase matching
    """
    if incident not in POLARISATIONS:
        raise AotfLabError(
            "no such polarisation of the incident light", found=Said(incident), allowed=", ".join(POLARISATIONS),
            cure="name the ray that enters the crystal",
        )  # fmt: skip
    constants = elastic_constants(material, v110_m_s=v110_m_s)
    incidence = incidence_of(cut)
    angle = acoustic_angle_deg
    if angle is None and isinstance(cut, Cut):
        angle = cut.acoustic_angle_deg.n
    if angle is None:
        angle = float(parallel_tangent_acoustic_angle(wavelength_nm, incidence, material, incident=incident))
    velocity = float(slow_shear_velocity(angle, v110_m_s))
    in_tune = float(phase_matched_frequency(wavelength_nm, incidence, angle, velocity, material, incident=incident))
    drive = in_tune if frequency_mhz is None else frequency_mhz
    scattering = Scattering(
        constants, drive, wavelength_nm, incidence, distance_mm, incident, exit_tilt_deg, material
    )  # fmt: skip
    turn, way = np.radians(angle), 1.0 if incident == "ordinary" else -1.0
    sound = way * (np.cos(turn) * ALONG_110 - np.sin(turn) * ALONG_001)
    x, y = scattering.on_screen(scattering.scattered(sound, np.asarray(velocity)))
    if not np.isfinite([x, y]).all():
        raise AotfLabError(
            "a diffracted order that leaves the crystal nowhere", found=Said(f"{drive:.6g} MHz, {distance_mm:g} mm"),
            allowed=f"near the {in_tune:.4g} MHz that are phase-matched", cure="state the frequency in MHz",
        )  # fmt: skip
    return Loops(scattering, loops_of(scattering), (float(x), float(y)), drive - in_tune)
