"""Simulated scans with a sloping floor, ranges of the meter, levels in dB, and two peaks; truth known.

Made from ``scan_bench`` tables or from its truth, without the package's own model of a scan.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from tests.benchmarks.scan_bench import (
    DWELL_S,
    FLOOR_MW,
    RELATIVE,
    Floats,
    Scenario,
    Truth,
    grids,
    laser,
    measured,
    trailing_matrix,
)

RANGE_LIMITS_MW = (0.3, 0.03)
RANGE_GAINS = (1.0, 1.02, 0.985)
RANGE_OFFSETS_MW = (0.004, 0.0008, 0.0001)
RANGE_DIGITS = (4, 5, 6)
LOG_U_DB = 0.05


@dataclass(frozen=True)
class TwoPeaks:
    """The light of two passbands."""

    main: Truth
    second: Truth

    def light(self, frequency_mhz: Floats) -> Floats:
        return self.main.light(frequency_mhz) + self.second.light(frequency_mhz)


def sloped(scenario: Scenario, truth: Truth, slope: float, rng: np.random.Generator) -> list[pd.DataFrame]:
    """Return a scan whose floor slopes by ``slope`` mW/MHz, seen through the lag of the head."""
    runs = grids(scenario, truth, rng)
    tables = measured(scenario, truth, runs, rng)
    for table, f in zip(tables, runs, strict=True):
        table["optical_power_mw"] += trailing_matrix(len(f), scenario.kept) @ (slope * (f - truth.centre_mhz))
    return tables


def ranged(
    scenario: Scenario, truth: Truth, rng: np.random.Generator, stated: bool = True, rounded: bool = False
) -> list[pd.DataFrame]:
    """Return a scan over wide power whose meter changes range, each with its gain, offset, noise and digits."""
    tables = []
    for k, f in enumerate(grids(scenario, truth, rng)):
        clean = trailing_matrix(len(f), scenario.kept) @ (laser(scenario, len(f), rng) * truth.light(f))
        number = np.searchsorted(-np.array(RANGE_LIMITS_MW), -clean)
        full = np.array([3.0, 0.3, 0.03])[number]
        u = scenario.noise * np.hypot(RELATIVE * clean, 3e-4 * full)
        shown = np.array(RANGE_GAINS)[number] * (clean + 1e-4) + np.array(RANGE_OFFSETS_MW)[number]
        shown = shown + u * rng.normal(size=len(f))
        if rounded:
            shown = np.array([round(v, RANGE_DIGITS[n]) for v, n in zip(shown, number, strict=True)])
        table = pd.DataFrame(
            {"time_s": DWELL_S * (1 + np.arange(len(f))), "frequency_mhz": f, "optical_power_mw": shown}
        ).assign(direction="down" if k else "up")
        if stated:
            table["range"] = [("3 mW", "0.3 mW", "0.03 mW")[n] for n in number]
        if scenario.u_told:
            table["u_optical_power_mw"] = u
        tables.append(table)
    return tables


def in_db(scenario: Scenario, truth: Truth, rng: np.random.Generator) -> list[pd.DataFrame]:
    """Return a scan logged in dBm by a logarithmic meter: scatter of 0.05 dB over a floor 45 dB below the peak."""
    tables = []
    for k, f in enumerate(grids(scenario, truth, rng)):
        clean = trailing_matrix(len(f), scenario.kept) @ truth.light(f) + 10**-4.5
        u = scenario.noise * LOG_U_DB
        table = pd.DataFrame(
            {
                "time_s": DWELL_S * (1 + np.arange(len(f))),
                "frequency_mhz": f,
                "optical_power_dbm": 10 * np.log10(clean) + u * rng.normal(size=len(f)),
                "direction": "down" if k else "up",
            }
        )
        tables.append(table.assign(u_optical_power_dbm=u) if scenario.u_told else table)
    return tables


def two_peaks(
    scenario: Scenario, truth: Truth, share: float, apart_fwhm: float, rng: np.random.Generator
) -> tuple[list[pd.DataFrame], Truth]:
    """Return a scan with ``share`` of the light in a second passband, and that passband's truth."""
    apart = apart_fwhm * truth.fwhm_mhz * rng.choice([-1.0, 1.0])
    second = replace(truth, centre_mhz=truth.centre_mhz + apart, peak_mw=truth.peak_mw * share / (1 - share))
    runs = [f + apart / 2 for f in grids(scenario, truth, rng)]
    return measured(scenario, TwoPeaks(truth, second), runs, rng), second  # type: ignore[arg-type]


__all__ = ["FLOOR_MW", "in_db", "ranged", "sloped", "two_peaks"]
