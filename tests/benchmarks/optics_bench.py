"""Simulated spots, analyser turns and knife edges of benches with known truth, and the best that is possible with them.

The best possible: standard uncertainty by the Fisher information of the readings and of what is known beforehand, by
differences of the laws written here once more. Truths (distance, mark, walk-off, zero, dark) are drawn as stated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import erfc
from uncertainties import UFloat, ufloat

from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.physics.deflection import exit_angles
from aotf_lab.physics.phase_matching import phase_matched_frequency
from aotf_lab.reading.readings import Readings

Floats = NDArray[np.float64]
COLOURS = {"B": 473.17, "D": 556.48, "E": 589.08, "G": 671.36}
CUT, V = (10.6, 5.3), 643.4
U_SPOT, U_TAPE, U_WALK, TAPE = 0.5, 5.0, 0.3, 2000.0


@dataclass(frozen=True)
class SpotsBench:
    """Readings, what is told of the wavelengths, the true separation of each colour (mrad), and the best u of v."""

    readings: Readings
    told: dict[str, UFloat | float]
    true_mrad: dict[str, float]
    best_u_v: float


def best(model: Callable[[Floats], Floats], at: Floats, u: Floats, prior_u: Floats) -> Floats:
    """Return the least standard uncertainties (p,) at ``at``; ``prior_u`` is infinite where nothing is known."""
    steps = 1e-5 * np.maximum(np.abs(at), 0.1)
    columns = [(model(at + s) - model(at - s)) / (2 * s.max()) / u for s in np.diag(steps)]
    information = np.array(columns) @ np.array(columns).T + np.diag(prior_u**-2.0)
    return np.sqrt(np.diag(np.linalg.inv(information)))


def spots_bench(
    rng: np.random.Generator, wedge_deg: float = 0.0, u_nm: float = 0.0, colours: str = "BDEG", repeats: int = 2
) -> SpotsBench:
    """Spots from one mark, the undiffracted spot of the first colour; wavelengths told to ``u_nm``."""
    told = np.array([COLOURS[c] for c in colours])
    true_nm = told + rng.normal(0.0, u_nm, len(told)) if u_nm else told
    f = phase_matched_frequency(true_nm, *CUT, V)
    zero, leaves = exit_angles(true_nm, f, *CUT, V, wedge_deg)
    angle = leaves - zero[0]
    tape, mark, walk = rng.normal(0.0, U_TAPE), rng.normal(0.0, U_SPOT), rng.normal(0.0, U_WALK)
    which = np.repeat(np.arange(len(told)), repeats)
    spot = (TAPE + tape) * np.tan(angle[which]) - mark - walk + rng.normal(0.0, U_SPOT, which.size)
    table = pd.DataFrame(
        {"label": [colours[k] for k in which], "frequency_mhz": f[which], "distance_mm": TAPE, "spot_mm": spot,
         "u_spot_mm": U_SPOT}
    )  # fmt: skip
    errors = (
        CommonError("mark", "spot_mm", "offset", new_cause("mark of the undiffracted spot", U_SPOT)),
        CommonError("tape", "distance_mm", "offset", new_cause("distance to the screen", U_TAPE)),
    )

    def model(p: Floats) -> Floats:
        out = np.arcsin(1e-3 * p[3:][which] * f[which] * np.cos(np.radians(5.3)) / p[0])
        return (TAPE + p[1]) * np.tan(out) - p[2]

    known = np.array([np.inf, U_TAPE, np.hypot(U_SPOT, U_WALK), *np.full(len(told), max(u_nm, 1e-6))])
    least = best(model, np.array([V, 0.0, 0.0, *true_nm]), np.full(which.size, U_SPOT), known)[0]
    names = {c: ufloat(w, u_nm) if u_nm else float(w) for c, w in zip(colours, told, strict=True)}
    return SpotsBench(Readings(table, errors), names, dict(zip(colours, 1e3 * angle, strict=True)), float(least))


DWELL_S = 1.0
RELATIVE, FLOOR, OFFSET = 0.005, 0.0011, 0.0023


def _read(rng: np.random.Generator, light: Floats) -> pd.DataFrame:
    u_dark = FLOOR / 10**0.5
    shown = light * (1 + RELATIVE * rng.standard_normal(light.size)) + OFFSET + FLOOR * rng.standard_normal(light.size)
    return pd.DataFrame(
        {"optical_power_mw": shown, "u_optical_power_mw": np.hypot(RELATIVE * light, FLOOR),
         "dark_power_mw": OFFSET + rng.normal(0.0, u_dark), "u_dark_power_mw": u_dark}
    )  # fmt: skip


def malus(angle_deg: Floats, axis_deg: float, crossed: float, power: float) -> Floats:
    away = np.radians(angle_deg - axis_deg)
    return power * ((1 - crossed) * np.cos(away) ** 2 + crossed * np.sin(away) ** 2)


def analyser_bench(
    rng: np.random.Generator, crossed: float, turn_deg: float, u_deg: float = 0.3, power: float = 2.0
) -> tuple[pd.DataFrame, float, Floats]:
    """Return the readings, the true axis, and the best u of axis and crossed share."""
    angles = np.arange(0.0, turn_deg + 1e-9, 15.0)
    angles = angles[:-1] if turn_deg == 180.0 else angles
    axis = rng.uniform(-90.0, 90.0)
    light = malus(angles + rng.normal(0.0, u_deg, angles.size), axis, crossed, power)
    table = _read(rng, light).assign(analyser_deg=angles, u_analyser_deg=u_deg)
    slope = power * (1 - 2 * crossed) * np.sin(np.radians(2 * (angles - axis))) * np.radians(u_deg)
    bend = 2 * power * np.cos(np.radians(2 * (angles - axis))) * np.radians(u_deg) ** 2
    u = np.sqrt(np.hypot(RELATIVE * malus(angles, axis, crossed, power), FLOOR) ** 2 + slope**2 + 0.5 * bend**2)
    none = np.full(3, np.inf)
    least = best(lambda p: malus(angles, *p), np.array([axis, crossed, power]), u, none)
    return table, axis, np.array([least[0], np.hypot(least[1], FLOOR / 10**0.5 / power)])


def past_edge(x: Floats, diameter: float, centre: float, power: float, background: float) -> Floats:
    return background + 0.5 * power * erfc(2 * 2**0.5 * (x - centre) / diameter)


def edge_bench(
    rng: np.random.Generator, both: bool, u_mm: float = 0.005, lag_steps: float = 0.0
) -> tuple[pd.DataFrame, float, float]:
    """Return the readings in steps of 0.15 mm (meter trailing by ``lag_steps``), true diameter, its best u."""
    diameter, centre = rng.uniform(1.0, 2.2), rng.uniform(9.9, 10.1)
    there = np.arange(8.0, 12.01, 0.15)
    x = np.concatenate([there, there[::-1]]) if both else there
    way = np.repeat([1.0, -1.0], there.size)[: x.size]
    light = past_edge(x + rng.normal(0.0, u_mm, x.size), diameter, centre, 2.0, 0.0)
    kept = lag_steps / (1.0 + lag_steps)
    for k in range(1, light.size):  # each reading keeps a share of the one before; the first had settled
        light[k] = kept * light[k - 1] + (1.0 - kept) * light[k]
    u = np.hypot(RELATIVE * light, FLOOR)
    slope = np.gradient(past_edge(there, diameter, centre, 2.0, 0.0), there)
    u = np.hypot(u, np.interp(x, there, slope) * u_mm)
    table = _read(rng, light).assign(position_mm=x, u_position_mm=u_mm, time_s=np.arange(x.size) * DWELL_S)
    at = np.array([diameter, centre, 2.0, 0.0, 0.0])

    def model(p: Floats) -> Floats:
        return past_edge(x - p[4] * way, *p[:4])

    known = np.array([np.inf, np.inf, np.inf, np.inf, np.inf if both else 1e-9])
    return table, diameter, float(best(model, at, u, known)[0])
