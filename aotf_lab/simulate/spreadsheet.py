"""A cold sweep as its owner left it: typed into a spreadsheet with decimal commas, and saved from there."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from aotf_lab.simulate.oscillator import REFERENCE_V, oscillator_sweep
from aotf_lab.simulate.truth import SKERRY, BenchTruth

__all__ = ["COLD_DOUBLED", "COLD_LOST", "COLD_TARGETS_V", "spreadsheet_sweep"]

_UP_V = (0.5, 1.0, 1.5, 2.2, 3.0, 3.8, 4.6, 5.4, 6.8, 7.6, 8.6, 9.6, 10.6, 11.6, 12.6, 13.6)
COLD_TARGETS_V = (
    *(v for k, target in enumerate(_UP_V) for v in ((REFERENCE_V, target) if k % 4 == 0 else (target,))),
    REFERENCE_V,
)
"""The way up, with the reference voltage visited at every fifth reading."""

COLD_DOUBLED = (11, 12, 13)
"""Positions (0-based) at which the counter triggers twice in each period."""

COLD_LOST = (4,)
"""Positions at which the counter shows no reading."""

_START_S = 240.0
_SWITCHED_ON = datetime(2026, 3, 17, 9, 28, 20)


def spreadsheet_sweep(rng: np.random.Generator, truth: BenchTruth = SKERRY) -> str:
    """Return a sweep begun 4 min after power-on: byte order mark, semicolons, decimal commas, units in the cells."""
    table = oscillator_sweep(rng, COLD_TARGETS_V, truth, start_s=_START_S, temperature_c=21.6)
    counts = table["frequency_mhz"].to_numpy() * np.where(table.index.isin(COLD_DOUBLED), 2.0, 1.0)
    rows = ["Sweep 1;oscillator just switched on;;", ";;;", "Clock;Drive voltage;Counter;Box temperature (degC)"]
    for k, (_, row) in enumerate(table.iterrows()):
        clock = _SWITCHED_ON + timedelta(seconds=_START_S + row["time_s"])
        shown = "---" if k in COLD_LOST else f"{counts[k]:.4f} MHz"
        cells = f"{row['drive_v']:.4f} V;{shown};{row['temperature_c']:.2f}".replace(".", ",")
        rows.append(f"{clock:%d.%m.%Y %H:%M:%S};{cells}")
    return "\ufeff" + "\r\n".join((*rows, ""))
