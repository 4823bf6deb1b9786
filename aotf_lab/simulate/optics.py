"""Spots on a screen, light behind an analyser and light past a knife edge, as the invented bench shows them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.physics.beams import edge_share
from aotf_lab.physics.deflection import exit_angles
from aotf_lab.physics.domain import Values, as_values
from aotf_lab.simulate.light import dark_reading, head_readings, true_peak_frequency
from aotf_lab.simulate.truth import SKERRY, BenchTruth, LineTruth

__all__ = [
    "SKERRY_OPTICS",
    "OpticsTruth",
    "analyser_run",
    "beam_size_text",
    "knife_edge_run",
    "polarisation_text",
    "spots_run",
    "spots_text",
]


@dataclass(frozen=True)
class OpticsTruth:
    """What is true of screen, polarisation and beam; the errors of ruler, rotator and stage.

    ``distance_mm`` is what the tape shows, ``distance_error_mm`` how much further the screen truly is. ``settled`` is
    the laser's relative wander that is left in a mean over many readings.
    """

    distance_mm: float = 2000.0
    distance_error_mm: float = 3.0
    mark_error_mm: float = 0.3
    walk_off_mm: float = 0.2
    ruler_noise_mm: float = 0.4
    wedge_deg: float = 0.0
    axis_deg: float = 3.4
    crossed_share: float = 0.006
    rotator_zero_deg: float = 0.7
    rotator_noise_deg: float = 0.3
    beam_diameter_mm: float = 1.6
    beam_centre_mm: float = 10.23
    stage_error: float = 0.0008
    stage_noise_mm: float = 0.004
    settled: float = 0.005


SKERRY_OPTICS = OpticsTruth()

_SHOWN = ("optical_power_mw", "u_optical_power_mw", "dark_power_mw")


def spots_run(
    rng: np.random.Generator,
    lines: Sequence[LineTruth],
    bench: BenchTruth = SKERRY,
    optics: OpticsTruth = SKERRY_OPTICS,
    *,
    repeats: int = 2,
    reference: LineTruth | None = None,
) -> pd.DataFrame:
    """Return spots of ``lines``, each ``repeats`` times: ``label``, ``frequency_mhz``, ``distance_mm``, ``spot_mm``.

    All are read from one mark, the undiffracted spot of ``reference`` (the first of the lines). The incident light is
    the ordinary ray, square to the entrance face.
    """
    crystal = bench.crystal
    of = (crystal.incidence_deg, crystal.acoustic_angle_deg, crystal.velocity_m_s, optics.wedge_deg)
    mark_nm = air_to_vacuum((reference or lines[0]).wavelength_air_nm)
    zero, _ = exit_angles(mark_nm, 60.0, *of)
    away = optics.distance_mm + optics.distance_error_mm
    rows = []
    for line in lines:
        peak = float(true_peak_frequency(line.wavelength_air_nm, crystal))
        for _ in range(repeats):
            frequency = peak + rng.normal(0.0, bench.oscillator.jitter_mhz)
            _, leaves = exit_angles(air_to_vacuum(line.wavelength_air_nm), frequency, *of)
            spot = away * np.tan(float(leaves - zero)) + optics.walk_off_mm - optics.mark_error_mm
            shown = float(spot) + rng.normal(0.0, optics.ruler_noise_mm)
            rows.append((line.name, frequency * (1.0 + bench.instruments.counter_error), optics.distance_mm, shown))
    return pd.DataFrame(rows, columns=["label", "frequency_mhz", "distance_mm", "spot_mm"])


def analyser_run(
    rng: np.random.Generator,
    line: LineTruth,
    angles_deg: ArrayLike,
    bench: BenchTruth = SKERRY,
    optics: OpticsTruth = SKERRY_OPTICS,
) -> pd.DataFrame:
    """Return light behind an analyser set to ``angles_deg``: ``analyser_deg``, ``optical_power_mw`` with u, dark."""
    shown = as_values(angles_deg)
    true = shown + optics.rotator_zero_deg + rng.normal(0.0, optics.rotator_noise_deg, shown.size)
    away = np.radians(true - optics.axis_deg)
    share = (1.0 - optics.crossed_share) * np.cos(away) ** 2 + optics.crossed_share * np.sin(away) ** 2
    return _read(rng, pd.DataFrame({"analyser_deg": shown}), line.incident_power_mw * share, bench, optics)


def knife_edge_run(
    rng: np.random.Generator,
    line: LineTruth,
    positions_mm: ArrayLike,
    bench: BenchTruth = SKERRY,
    optics: OpticsTruth = SKERRY_OPTICS,
) -> pd.DataFrame:
    """Return the light past an edge set to ``positions_mm``: ``position_mm``, ``optical_power_mw`` with u, dark."""
    shown = as_values(positions_mm)
    true = shown * (1.0 + optics.stage_error) + rng.normal(0.0, optics.stage_noise_mm, shown.size)
    light = line.incident_power_mw * edge_share(true, optics.beam_centre_mm, optics.beam_diameter_mm)
    return _read(rng, pd.DataFrame({"position_mm": shown}), as_values(light), bench, optics)


def _read(
    rng: np.random.Generator, table: pd.DataFrame, light_mw: Values, bench: BenchTruth, optics: OpticsTruth
) -> pd.DataFrame:
    """Return the table with what the settled head shows, the u that its display gives, and one dark reading."""
    meters = bench.instruments
    share = float(np.hypot(optics.settled, meters.head_noise))
    return table.assign(
        optical_power_mw=head_readings(rng, light_mw, replace(meters, head_noise=share)),
        u_optical_power_mw=np.hypot(share * light_mw, meters.head_floor_mw),
        dark_power_mw=dark_reading(rng, meters),
        u_dark_power_mw=meters.head_floor_mw / 10.0**0.5,
    )


def spots_text(rng: np.random.Generator, bench: BenchTruth = SKERRY, optics: OpticsTruth = SKERRY_OPTICS) -> str:
    """Return the raw file of the spots of the anchor lines."""
    table = spots_run(rng, [line for line in bench.lines if line.anchor], bench, optics)
    rows = [
        f"{name},{f:.3f},{1e-3 * away:.3f},{spot:.1f}"
        for name, f, away, spot in zip(*(table[c].tolist() for c in table.columns), strict=True)
    ]
    note = "# spots on a sheet of paper, from the mark where the undiffracted light falls"
    return "\n".join((note, "Line,Counter (MHz),Screen at (m),Spot (mm)", *rows, ""))


def polarisation_text(
    rng: np.random.Generator, name: str = "E", bench: BenchTruth = SKERRY, optics: OpticsTruth = SKERRY_OPTICS
) -> str:
    """Return the raw file of one line's light behind a turning analyser, once round."""
    table = analyser_run(rng, bench.line(name), np.arange(0.0, 361.0, 15.0), bench, optics)
    return _text(f"# line {name} before the crystal, means of 20 s", "Analyser (deg)", "analyser_deg", 0, table)


def beam_size_text(
    rng: np.random.Generator, name: str = "E", bench: BenchTruth = SKERRY, optics: OpticsTruth = SKERRY_OPTICS
) -> str:
    """Return the raw file of one line's light past a knife edge, there and back."""
    there = np.arange(8.6, 11.81, 0.2)
    table = knife_edge_run(rng, bench.line(name), np.concatenate([there, there[::-1]]), bench, optics)
    return _text(f"# line {name} at the crystal, means of 20 s", "Knife edge (mm)", "position_mm", 2, table)


def _text(note: str, heading: str, column: str, decimals: int, table: pd.DataFrame) -> str:
    rows = [
        f"{s:.{decimals}f},{1e3 * p:.1f},{1e3 * u:.1f},{1e3 * d:.1f}"
        for s, p, u, d in zip(*(table[c].tolist() for c in (column, *_SHOWN)), strict=True)
    ]
    return "\n".join((note, f"{heading},Power meter (uW),u (uW),Dark (uW)", *rows, ""))
