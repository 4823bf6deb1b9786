"""Slips of single numbers, put into simulated files: another unit, a lost point, a date, a sign."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from tests.benchmarks.sanity_bench import File, Random
from tests.benchmarks.sanity_cases import Case, asked, narrow_scan, stretch, sweep


def wavelengths(factor: float, unit: str, all_rows: bool) -> Callable[[Random], Case]:
    def case(rng: Random) -> Case:
        nm = np.round(rng.uniform(420.0, 690.0, int(rng.integers(4, 10))), 2)
        rows = np.arange(nm.size) if all_rows else stretch(rng, nm.size, 1, nm.size // 2)
        table = pd.DataFrame({"wavelength_air_nm": nm, "frequency_mhz": 4e4 / nm})
        file = File(table, {"material": "TeO2"}).changed("wavelength_air_nm", rows, nm[rows] * factor)
        return asked(file, f"in {unit}" if all_rows else f"nm and {unit} are mixed", rows)

    return case


def lost_point(column: str) -> Callable[[Random], Case]:
    def case(rng: Random) -> Case:
        file = narrow_scan(rng) if column == "optical_power_mw" else sweep(rng)
        values = file.table[column].to_numpy()
        strong = np.flatnonzero(values > 0.05 * values.max())
        rows = rng.choice(strong, size=int(rng.integers(1, 3)), replace=False)
        power = 2 if column == "temperature_c" else 4
        wrong = np.round(values[rows] * 10.0**power)
        return asked(file.changed(column, rows, wrong), "a decimal point was lost", rows)

    return case


def point_of_light(rng: Random) -> Case:
    file = narrow_scan(rng)
    light = np.round(file.table["optical_power_mw"].to_numpy(), 4)
    rows = rng.choice(np.flatnonzero(light > 0.05 * light.max()), size=1)
    return asked(file.changed("optical_power_mw", rows, 10.0 * light[rows]), "a decimal point was lost", rows)


def date(rng: Random) -> Case:
    file = sweep(rng)
    drive = file.table["drive_v"].to_numpy()
    typed = drive.round(1)
    day, month = np.floor(typed).astype(int), np.round(10 * (typed % 1)).astype(int)
    fit = np.flatnonzero((day >= 1) & (month >= 1))
    rows = rng.choice(fit, size=1)
    when = pd.Timestamp(2026, int(month[rows[0]]), int(day[rows[0]]))
    serial = float((when - pd.Timestamp(1899, 12, 30)).days)
    return asked(file.changed("drive_v", rows, serial), "a number became a date", rows)


def sign(column: str) -> Callable[[Random], Case]:
    def case(rng: Random) -> Case:
        file = narrow_scan(rng) if column == "optical_power_mw" else sweep(rng)
        values = file.table[column].to_numpy()
        rows = rng.choice(np.flatnonzero(values > 0.1 * values.max()), size=1)
        return asked(file.changed(column, rows, -values[rows]), "a sign was flipped", rows)

    return case
