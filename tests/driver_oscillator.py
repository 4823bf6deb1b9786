"""An oscillator for the tests of the driver, and runs over it.

The law is the textbook resonance of a coil with a junction diode in series with a capacitor,
f = 1 / (2 pi sqrt(L C)) with C_j = C_0 / (1 + V/phi)^m (semiconductor textbooks, from memory);
the fit contains neither.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

U_DRIVE_V = 4e-3
U_COUNT_MHZ = 8e-3


def resonance_mhz(drive_v):
    coil_h, junction_f, series_f, stray_f = 0.30e-6, 60e-12, 180e-12, 4e-12
    diode = junction_f / (1 + np.asarray(drive_v, dtype=float) / 0.7) ** 0.75
    total = stray_f + diode * series_f / (diode + series_f)
    return 1e-6 / (2 * np.pi * np.sqrt(coil_h * total))


def there_and_back(up: int = 21, down: int = 11):
    rising = np.linspace(0.3, 14.0, up)
    return np.concatenate([rising, rising[np.linspace(up - 1, 0, down).round().astype(int)]])


def run(seed: int = 1, drive_v=None, added_mhz=0.0, backlash_v: float = 0.0, noise: float = 1.0, **columns):
    """A table of readings with noise; ``added_mhz`` (n,) is added to the counts."""
    rng = np.random.default_rng(seed)
    drive_v = there_and_back() if drive_v is None else drive_v
    side = np.where(np.diff(drive_v, prepend=drive_v[0] - 1) > 0, 0.5, -0.5)
    there = drive_v + side * backlash_v + noise * U_DRIVE_V * rng.standard_normal(len(drive_v))
    counts = resonance_mhz(there) + noise * U_COUNT_MHZ * rng.standard_normal(len(drive_v)) + added_mhz
    table = pd.DataFrame(
        {"drive_v": drive_v, "u_drive_v": U_DRIVE_V, "frequency_mhz": counts, "u_frequency_mhz": U_COUNT_MHZ}
    )
    return table.assign(file="vco.csv", line=np.arange(len(drive_v)) + 2, **columns)


def check(vco, name: str):
    """The one check of that name."""
    (found,) = [c for c in vco.fit.checks if c.name == name]
    return found
