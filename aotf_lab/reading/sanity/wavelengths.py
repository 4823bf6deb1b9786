"""Is a wavelength in m, um or Angstrom, and are units mixed within one column?"""

from __future__ import annotations

import numpy as np

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.scatter import numbers
from aotf_lab.reading.sanity.suspicion import Suspicion, lines_of, listed
from aotf_lab.reading.wavelength_unit import likely_unit

__all__ = ["wavelength_units"]

_COLUMNS = ("wavelength_nm", "wavelength_air_nm", "wavelength_stated_nm")


def wavelength_units(readings: Readings, material: str | None = None) -> tuple[Suspicion, ...]:
    """Return the rows whose wavelength cannot be in nm, by the unit that it looks like, with the values in nm.

    With ``material`` (as in ``wavelength_unit``) a number far beyond the packaged range of the crystal, which read
    in Angstrom lies inside it, is named too; without, Angstrom is named where other rows of the column are
    wavelengths in nm and ten times smaller.
    """
    found: list[Suspicion] = []
    for column in (c for c in _COLUMNS if c in readings.table.columns):
        values = numbers(readings.table[column])
        groups: dict[str, list[tuple[int, float]]] = {}
        for row in np.flatnonzero(np.isfinite(values) & (values > 0)):
            unit = likely_unit(float(values[row]), material)
            if unit is not None:
                groups.setdefault(unit[0], []).append((int(row), float(values[row]) * unit[1]))
        for other, in_nm in _ten_times(values, {r for rows in groups.values() for r, _ in rows}):
            groups.setdefault("Angstrom", []).append((other, in_nm))
        found += [_slip(readings, column, unit, pairs) for unit, pairs in groups.items()]
    return tuple(found)


def _ten_times(values: np.ndarray, explained: set[int]) -> list[tuple[int, float]]:
    """Return the rows about ten times above the other, visible, wavelengths of the column."""
    rest = np.array([r for r in np.flatnonzero(np.isfinite(values)) if r not in explained], dtype=int)
    visible = rest[(values[rest] >= 300.0) & (values[rest] <= 1100.0)]
    long = rest[(values[rest] >= 3000.0) & (values[rest] <= 11000.0)]
    if not visible.size or not long.size:
        return []
    return [(int(r), float(values[r]) / 10.0) for r in long]


def _slip(readings: Readings, column: str, unit: str, pairs: list[tuple[int, float]]) -> Suspicion:
    rows = [row for row, _ in sorted(pairs)]
    mixed = len(rows) < len(readings.table)
    shown = float(readings.table[column].iloc[rows[0]])
    return Suspicion(
        f"nm and {unit} are mixed in one column of wavelengths" if mixed else f"wavelengths in {unit}, not nm",
        lines_of(readings, rows), f"{shown:.7g} nm", f"{len(rows)} of {len(readings.table)} rows are in {unit}: they"
        " would be " + listed([f"{in_nm:.7g} nm" for _, in_nm in sorted(pairs)]),
        f"state the unit {unit} for {'these lines' if mixed else 'the column'} in a layout", tuple(rows), unusable=True,
    )  # fmt: skip
