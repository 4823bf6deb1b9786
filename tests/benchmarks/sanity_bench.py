"""Files of the simulated bench with nothing wrong, and the same with one fault put in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.source import SourceFile
from aotf_lab.simulate import SKERRY, ScanPlan, efficiency_run, level_readings, oscillator_sweep, passband_scan
from aotf_lab.simulate.oscillator import DEMO_DOWN_V, DEMO_UP_V, REFERENCE_V, oscillator_frequency
from tests.benchmarks import truths_oscillator as foreign

Random = np.random.Generator
RF_SHARE = (0.25, 0.6)
"""RF power as a share of the DC input of the amplifiers that are simulated."""


@dataclass(frozen=True)
class File:
    """One simulated file, and the facts that are stated of it."""

    table: pd.DataFrame
    facts: dict[str, Any] = field(default_factory=dict)

    def with_table(self, table: pd.DataFrame, **facts: Any) -> File:
        """Return the file with another table, and more facts."""
        return File(table, {**self.facts, **facts})

    def changed(self, column: str, rows: Any, values: Any) -> File:
        """Return the file with other numbers in some rows (positions) of a column."""
        table = self.table.copy()
        table.loc[table.index[rows], column] = values
        return self.with_table(table)

    def readings(self, name: str = "a.csv") -> Readings:
        """Return the table as the readers give it: origin of each row, and the hash of the file."""
        table = self.table.assign(file=name, line=np.arange(len(self.table)) + 3)
        digest = str(hash((name, table.to_csv())))
        return Readings(table.reset_index(drop=True), sources=(SourceFile(name, digest, 1),))


def shown(table: pd.DataFrame, decimals: dict[str, int]) -> pd.DataFrame:
    """Return the table as instruments show it."""
    return table.round({c: d for c, d in decimals.items() if c in table.columns})


def oscillator(rng: Random) -> File:
    """A sweep of the demo's oscillator (up and down, up only, cold, by the dial) or of one of five other forms."""
    decimals = {"drive_v": 4, "frequency_mhz": int(rng.choice([3, 4, 5])), "temperature_c": 2, "time_s": 0}
    facts = {"sample_rate_mhz": 400.0} if rng.random() < 0.3 else {}
    if rng.random() < 0.5:
        truth = [foreign.TANK, foreign.BENCH, foreign.KINK, foreign.PLAIN_KINK, foreign.SHARP_KINK][rng.integers(5)]
        drive = np.round(foreign.voltages(int(rng.integers(12, 40)), int(rng.integers(2, 20))), 2)
        table = foreign.run(truth, truth.constants(rng), drive, rng).drop(columns=["u_drive_v", "u_frequency_mhz"])
        return File(shown(table, decimals), facts)
    down = (*DEMO_DOWN_V, REFERENCE_V) if rng.random() < 0.7 else ()
    start_s = 240.0 if rng.random() < 0.4 else 6300.0
    targets = (REFERENCE_V, *DEMO_UP_V, *down)
    table = oscillator_sweep(rng, targets, start_s=start_s, dial=bool(rng.random() < 0.3))
    return File(shown(table, decimals), facts)


def scan(rng: Random, hunts: bool = True) -> File:
    """A scan of one line: 25 to 121 points over one to ten passbands, or a coarse hunt over the band; head or diode."""
    line = SKERRY.lines[int(rng.integers(7))]
    truth = SKERRY if rng.random() < 0.6 else replace(SKERRY, instruments=replace(SKERRY.instruments, head_lag_s=0.0))
    plan = ScanPlan(int(rng.integers(25, 122)), float(rng.choice([0.02, 0.034, 0.05])), 0.5, float(rng.uniform(5, 10)))
    middle = None
    if hunts and rng.random() < 0.25:
        step = float(rng.choice([0.05, 0.1, 0.2]))
        plan, middle = replace(plan, points=int(52.0 / step), step_mhz=step), 70.0
    table = passband_scan(rng, line, str(rng.choice(["up", "down"])), truth, plan, middle_mhz=middle)
    decimals = {"time_s": 1, "frequency_mhz": 4, "optical_power_mw": int(rng.choice([3, 4])), "dark_power_mw": 4}
    return File(shown(table, decimals))


def efficiency(rng: Random) -> File:
    """A run of efficiency against supply at the peak of a line, 8 to 25 rows."""
    line = SKERRY.lines[int(rng.integers(7))]
    ratios = np.linspace(0.04, rng.uniform(0.35, 1.3), int(rng.integers(8, 26)))
    table = efficiency_run(rng, line, ratios)
    return _with_power(rng, shown(table, {"rf_level_vrms": 5, "frequency_mhz": 3, "optical_power_mw": 4,
                                          "incident_power_mw": 4, "dark_power_mw": 4}))  # fmt: skip


def level(rng: Random) -> File:
    """Levels over the band, over the supply, or over both, in order or shuffled."""
    kind = int(rng.integers(3))
    band = np.arange(44.0, 97.0, float(rng.choice([1.0, 2.0])))
    supplies = np.arange(4.0, 11.1, float(rng.choice([0.25, 0.5])))
    settings = [(8.0, band), (supplies, 64.0), (np.repeat([6.0, 8.0, 10.0], band.size), np.tile(band, 3))][kind]
    table = level_readings(rng, *settings)
    if rng.random() < 0.3:
        table = table.sample(frac=1.0, random_state=int(rng.integers(2**31))).reset_index(drop=True)
    return _with_power(rng, shown(table, {"supply_v": 2, "rf_level_vrms": 5, "frequency_mhz": 3}))


def log(rng: Random) -> File:
    """A log of 60 to 720 rows at one drive while the box warms up, with or without light behind a shutter."""
    many = int(rng.integers(60, 721))
    time_s = 10.0 * np.arange(many)
    box = 22.0 + 1.5 * (1.0 - np.exp(-time_s / 3000.0)) + 0.05 * np.sin(time_s / 500.0)
    frequency = oscillator_frequency(6.0, time_s, box) + rng.normal(0.0, 0.004, many)
    drive = 6.0 + rng.normal(0.0, 0.0004, many)
    table = pd.DataFrame({"time_s": time_s, "drive_v": drive, "frequency_mhz": frequency,
                          "temperature_c": box + rng.normal(0.0, 0.02, many)})  # fmt: skip
    if rng.random() < 0.3:
        open_now = (time_s // 600.0) % 2 == rng.integers(2)
        noise = float(rng.choice([2e-5, 1e-3])) * rng.standard_normal(many)
        table["optical_power_mw"] = np.where(open_now, 1.0 + 0.012 * rng.standard_normal(many), 0.0) + 0.0023 + noise
    if rng.random() < 0.3:
        table.loc[table.index % 5 != 0, "temperature_c"] = np.nan
    decimals = {
        "drive_v": (2, 3, 4),
        "frequency_mhz": (2, 3, 4),
        "temperature_c": (0, 1, 2),
        "optical_power_mw": (2, 4),
    }
    return File(shown(table, {c: int(rng.choice(d)) for c, d in decimals.items()}))


def _with_power(rng: Random, table: pd.DataFrame) -> File:
    power = (table["rf_level_vrms"] * 10**1.5) ** 2 / 50.0
    current = float(np.max(power / table["supply_v"])) / rng.uniform(*RF_SHARE)
    return File(table.assign(rf_power_w=power), {"supply_a": current, "pad_db": 30.0})


KINDS: dict[str, Callable[[Random], File]] = {
    "oscillator": oscillator, "scan": scan, "efficiency": efficiency, "level": level, "log": log,
}  # fmt: skip
