"""Simulated scans of a passband with known truth, made without the package's own model of a scan.

Efficiency comes from ``physics``; lean, lag and wander are written here once more, from their definitions.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import brentq

from aotf_lab.physics.coupled_waves import diffraction_efficiency, peak_efficiency

Floats = NDArray[np.float64]

STEP_MHZ, DWELL_S = 0.034, 0.5
HEAD_S = 0.9
RELATIVE, FLOOR_MW, OFFSET_MW = 0.004, 0.0011, 0.0023

LEANS: dict[str, Callable[[Floats, float], Floats]] = {
    "tanh D": lambda d, s: d * (1 - s * np.tanh(d)),
    "tanh D/2": lambda d, s: d * (1 - s * np.tanh(d / 2)),
    "sign D": lambda d, s: d * (1 - s * np.sign(d)),
}


@dataclass(frozen=True)
class Scenario:
    """One kind of bench and what is told to the fit.

    ``glides``: the frequency moves evenly between readings instead of in steps. ``wander`` and ``memory_s``: relative
    standard deviation of the light and how long it lasts; ``referenced``: incident light is logged. ``jitter_mhz``:
    scatter of each frequency about the stated one.
    """

    name: str
    points: tuple[int, ...] = (31, 31)
    drives: tuple[float, ...] = (0.2, 0.6, 1.0, 1.3)
    drive_told: bool = True
    head_s: float = HEAD_S
    head_told: float | None = None
    u_told: bool = True
    wander: float = 0.0
    memory_s: float = 1.0
    referenced: bool = False
    jitter_mhz: float = 0.0
    lean: str = "tanh D"
    glides: bool = False
    noise: float = 1.0

    @property
    def kept(self) -> float:
        """The share of its deviation that the head keeps over a dwell."""
        return float(np.exp(-DWELL_S / self.head_s)) if self.head_s > 0 else 0.0


@dataclass(frozen=True)
class Truth:
    """A passband: centre and FWHM (MHz), skew, drive ratio, peak (mW), and the detuning (rad) per MHz."""

    centre_mhz: float
    fwhm_mhz: float
    skew: float
    drive: float
    lean: str
    peak_mw: float = 1.0
    per_mhz: float = field(init=False)

    def __post_init__(self) -> None:
        width = sum(abs(self._half(side)) for side in (-1.0, 1.0))
        object.__setattr__(self, "per_mhz", width / self.fwhm_mhz)

    def _half(self, side: float) -> float:
        return float(
            brentq(lambda d: float(self._relative(np.array([d]))[0]) - 0.5, 1e-6 * side, 3.0 * side, xtol=1e-12)
        )

    def _relative(self, detuning: Floats) -> Floats:
        leaning = LEANS[self.lean](detuning, self.skew)
        return np.asarray(diffraction_efficiency(leaning, self.drive) / peak_efficiency(self.drive))

    def light(self, frequency_mhz: Floats) -> Floats:
        """Return the diffracted power (mW) at ``frequency_mhz``."""
        return self.peak_mw * self._relative(self.per_mhz * (frequency_mhz - self.centre_mhz))


def draw_truth(scenario: Scenario, rng: np.random.Generator) -> Truth:
    return Truth(
        64.0 + rng.uniform(-0.5, 0.5), rng.uniform(0.25, 0.40), rng.uniform(0.0, 0.1), rng.choice(scenario.drives),
        scenario.lean,
    )  # fmt: skip


def grids(scenario: Scenario, truth: Truth, rng: np.random.Generator) -> list[Floats]:
    """Return the frequencies of each run in order of time: up, then down; the grid lies anywhere about the peak."""
    middle = truth.centre_mhz + rng.uniform(-0.05, 0.05)
    runs = []
    for k, points in enumerate(scenario.points):
        step = STEP_MHZ * 31 / points
        rising = middle + step * (np.arange(points) - (points - 1) / 2 + rng.uniform(-0.5, 0.5))
        runs.append(rising[::-1] if k else rising)
    return runs


def trailing_matrix(points: int, kept: float) -> Floats:
    """Return the matrix (n, n) from light to what a first-order head shows at the end of each dwell.

    ``kept`` is the share of its deviation that the head keeps over a dwell; it had settled before the first.
    """
    age = np.subtract.outer(np.arange(points), np.arange(points))
    matrix = np.where(age >= 0, (1 - kept) * kept ** np.maximum(age, 0), 0.0)
    matrix[:, 0] = kept ** np.arange(points)
    return np.asarray(matrix)


def shown(scenario: Scenario, truth: Truth, frequency: Floats, light: Floats, kept: float) -> Floats:
    """Return the power (n,) shown at the end of each dwell; ``light`` (n,) multiplies the laser."""
    if not scenario.glides:
        return trailing_matrix(len(frequency), kept) @ (light * truth.light(frequency))
    fine = 40
    path = np.interp(np.arange((len(frequency) - 1) * fine + 1) / fine, np.arange(len(frequency)), frequency)
    power, briefly = truth.light(path), kept ** (1 / fine)
    state, out = power[0], [power[0]]
    for k in range(1, len(path)):
        state = briefly * state + (1 - briefly) * power[k]
        if k % fine == 0:
            out.append(state)
    return np.array(out)


def laser(scenario: Scenario, points: int, rng: np.random.Generator) -> Floats:
    """Return the light over its mean: a stationary process that forgets itself over ``memory_s``."""
    if scenario.wander == 0:
        return np.ones(points)
    return np.asarray(
        1 + scenario.wander * np.linalg.cholesky(wander_correlation(scenario, points)) @ rng.normal(size=points)
    )


def wander_correlation(scenario: Scenario, points: int) -> Floats:
    age = np.abs(np.subtract.outer(np.arange(points), np.arange(points)))
    return np.asarray(np.exp(-age * DWELL_S / scenario.memory_s) + 1e-12 * np.eye(points))


def measured(scenario: Scenario, truth: Truth, runs: list[Floats], rng: np.random.Generator) -> list[pd.DataFrame]:
    """Return one table of readings for each run."""
    tables = []
    for k, stated in enumerate(runs):
        light = laser(scenario, len(stated), rng)
        frequency = stated + rng.normal(0.0, scenario.jitter_mhz, len(stated))
        clean = shown(scenario, truth, frequency, light, scenario.kept)
        u = scenario.noise * np.hypot(RELATIVE * clean, FLOOR_MW)
        table = pd.DataFrame(
            {
                "time_s": DWELL_S * (1 + np.arange(len(stated))),
                "frequency_mhz": stated,
                "optical_power_mw": clean + OFFSET_MW + u * rng.normal(size=len(stated)),
                "direction": "down" if k else "up",
            }
        )
        if scenario.u_told:
            table["u_optical_power_mw"] = scenario.noise * np.hypot(RELATIVE * table["optical_power_mw"], FLOOR_MW)
        if scenario.jitter_mhz:
            table["u_frequency_mhz"] = scenario.jitter_mhz
        if scenario.referenced:
            table["incident_power_mw"] = 2.0 * light
        tables.append(table)
    return tables


def bound_mhz(scenario: Scenario, truth: Truth, runs: list[Floats]) -> float:
    """Return the Cramer-Rao bound of the centre: all else that the fit must find is a nuisance here too.

    Information J' C^-1 J with J by differences of the truth, C of the noise and the wander as they are (Kay,
    Fundamentals of Statistical Signal Processing: Estimation Theory (1993), 3.9; from memory).
    """
    names = ["centre_mhz", "fwhm_mhz", "skew", "peak_mw", "floor", "kept"]
    names += [] if scenario.drive_told else ["drive"]
    names = [n for n in names if n != "kept" or scenario.head_told is None]
    start = {n: getattr(truth, n) for n in names if n not in ("floor", "kept")} | {
        "floor": 0.0,
        "kept": scenario.kept,
    }

    def mean(changed: dict[str, float]) -> Floats:
        passband = Truth(
            changed["centre_mhz"], changed["fwhm_mhz"], changed["skew"], changed.get("drive", truth.drive), truth.lean,
            changed["peak_mw"],
        )  # fmt: skip
        parts = [shown(scenario, passband, f, np.ones(len(f)), changed["kept"]) for f in runs]
        return np.concatenate(parts) + changed["floor"]

    steps = dict.fromkeys(names, 1e-4)
    columns = [
        (mean(start | {n: start[n] + steps[n]}) - mean(start | {n: start[n] - steps[n]})) / (2 * steps[n])
        for n in names
    ]
    jacobian = np.stack(columns, axis=1)
    information = np.zeros((len(names), len(names)))
    begin = 0
    for f in runs:
        rows = jacobian[begin : begin + len(f)]
        begin += len(f)
        trail, light = trailing_matrix(len(f), scenario.kept), truth.light(f)
        covariance = scenario.noise**2 * np.diag((RELATIVE * (trail @ light)) ** 2 + FLOOR_MW**2)
        if scenario.wander and not scenario.referenced:
            through = trail * light
            covariance = covariance + scenario.wander**2 * through @ wander_correlation(scenario, len(f)) @ through.T
        if scenario.jitter_mhz:
            through = trail * (truth.light(f + 1e-4) - truth.light(f - 1e-4)) / 2e-4 * scenario.jitter_mhz
            covariance = covariance + through @ through.T
        information += rows.T @ np.linalg.solve(covariance, rows)
    return float(np.sqrt(np.linalg.inv(information)[0, 0]))
