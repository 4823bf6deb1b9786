"""Are frequencies in Hz, kHz, MHz and GHz mixed in one column?"""

from __future__ import annotations

from collections.abc import Collection

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.frequency_steps import Stretch, by_factor
from aotf_lab.reading.sanity.suspicion import Suspicion, lines_of, listed

__all__ = ["mixed_frequency_units"]

_POWERS = {"Hz": -6, "kHz": -3, "MHz": 0, "GHz": 3, "THz": 6}
"""Unit of a frequency -> power of ten of its size in MHz."""

_FACTORS = {1e3: 3, 1e-3: -3, 1e6: 6, 1e-6: -6}
"""Factor that a row is too large by -> its power of ten."""


def mixed_frequency_units(readings: Readings, explained: Collection[int] = ()) -> tuple[Suspicion, ...]:
    """Return the rows of ``frequency_mhz`` that are 1000 or a million times off what the rows around them say.

    Readings of one file. Neighbours are taken in the order of ``drive_v`` where there is one, else in that of the
    file. Rows in ``explained`` (0-based) are passed over.
    """
    found = by_factor(readings, explained, _FACTORS)
    return tuple(_mixed(readings, factor, *group) for factor, group in found.items())


def _mixed(
    readings: Readings, factor: float, first: Stretch, rows: tuple[int, ...], true_mhz: tuple[float, ...]
) -> Suspicion:
    shown = readings.table["frequency_mhz"]
    headed = _heading_unit(readings)
    power = _POWERS[headed] - _FACTORS[factor]
    unit = next((u for u, p in _POWERS.items() if p == power), f"1e{power} MHz")
    size = f"{factor:g}" if factor > 1 else f"1/{1 / factor:g}"
    digits = " (or the decimal point was lost)" if factor > 1 else ""
    return Suspicion(
        f"{headed} and {unit} are mixed in one column",
        lines_of(readings, rows),
        f"{shown.iloc[rows[0]]:.8g} MHz, {first.ratio / factor:.3f}({_u(first, factor)}) times {size}"
        " of what the rows around say",
        f"{len(rows)} of {len(readings.table)} rows are in {unit}{digits}: they would be "
        + listed([f"{true:.8g} MHz" for true in true_mhz]),
        "state the unit of these lines, or pass them over in a layout",
        rows,
        unusable=True,
    )


def _heading_unit(readings: Readings) -> str:
    """Return the unit in which the file's column of frequencies was read, MHz where no receipt says."""
    units = [c.unit for receipt in readings.receipts for c in receipt.columns if c.meaning == "frequency_mhz"]
    return units[0] if units and units[0] in _POWERS else "MHz"


def _u(stretch: Stretch, factor: float) -> str:
    return f"{max(1, round(1000 * stretch.u_ratio / factor))}"
