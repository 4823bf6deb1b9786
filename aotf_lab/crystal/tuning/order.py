"""Does the frequency fall with wavelength, as it must? If not: which labels were exchanged?"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from aotf_lab.crystal.tuning.lines import LineTable
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.checks import z_limit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["require_falling"]


def require_falling(lines: LineTable) -> None:
    """Raise ``ReadingsError`` when the frequency rises with wavelength by more than the uncertainties allow.

    The error names the two lines whose exchange puts all in order, else the one line that stands
    out of order, else every pair that rises.
    """
    wavelength, frequency = lines.wavelength_nm, lines.frequency_mhz
    rising = _rising(lines, wavelength, frequency)
    if not rising:
        return
    a, b = rising[0]
    found = "; ".join(
        f"{lines.labels[i]}: {frequency[i]:.6g} MHz at {wavelength[i]:.6g} nm" for i in sorted({*rising[0]})
    )
    exchanged = [pair for pair in combinations(range(len(wavelength)), 2) if not _rising_if_exchanged(lines, *pair)]
    alone = [row for row in range(len(wavelength)) if _falls_without(lines, row)]
    if exchanged:
        a, b = exchanged[0]
        names = ", or of ".join(f"{lines.places[i]} and {lines.places[k]}" for i, k in exchanged)
        what = f"the frequency rises with wavelength: the labels of {names} seem to be exchanged"
        cure = "exchange the two, or correct the one that is wrong"
        found = "; ".join(f"{lines.labels[i]}: {frequency[i]:.6g} MHz at {wavelength[i]:.6g} nm" for i in (a, b))
    elif alone:
        a = alone[0]
        what = f"the frequency rises with wavelength: {' or '.join(lines.places[i] for i in alone)} stands out of order"
        cure = f"correct its wavelength or its frequency{_harmonic_hint(lines, a)}"
        found = f"{lines.labels[a]}: {frequency[a]:.6g} MHz at {wavelength[a]:.6g} nm"
    else:
        pairs = ", ".join(f"{lines.labels[i]} to {lines.labels[k]}" for i, k in rising)
        what = f"the frequency rises with wavelength from {pairs}: more than one label is wrong"
        cure = "compare the table with the bench notes"
    raise ReadingsError(
        what, where=lines.places[a], found=found, allowed="a lower frequency at a longer wavelength", cure=cure
    )


def _rising(lines: LineTable, wavelength: FloatArray, frequency: FloatArray) -> list[tuple[int, int]]:
    """Return the pairs (shorter, longer wavelength) whose frequencies rise beyond doubt."""
    n = len(wavelength)
    limit = z_limit(n * (n - 1) // 2)
    u_wavelength = np.zeros(n) if lines.u_wavelength_nm is None else lines.u_wavelength_nm
    u_frequency = np.zeros(n) if lines.u_frequency_mhz is None else lines.u_frequency_mhz
    order = [int(i) for i in np.argsort(wavelength)]
    return [
        (i, k)
        for i, k in combinations(order, 2)
        if wavelength[k] - wavelength[i] > limit * np.hypot(u_wavelength[i], u_wavelength[k])
        and frequency[k] - frequency[i] > limit * np.hypot(u_frequency[i], u_frequency[k])
    ]


def _rising_if_exchanged(lines: LineTable, i: int, k: int) -> bool:
    wavelength = lines.wavelength_nm.copy()
    wavelength[[i, k]] = wavelength[[k, i]]
    return bool(_rising(lines, wavelength, lines.frequency_mhz))


def _falls_without(lines: LineTable, row: int) -> bool:
    rising = _rising(lines, lines.wavelength_nm, lines.frequency_mhz)
    return all(row in pair for pair in rising)


def _harmonic_hint(lines: LineTable, row: int) -> str:
    """Return the hint that the line was driven by a harmonic, when twice its frequency is in order."""
    frequency = lines.frequency_mhz.copy()
    frequency[row] *= 2
    if _rising(lines, lines.wavelength_nm, frequency):
        return ""
    return f"; twice the frequency, {frequency[row]:.6g} MHz, is in order: the second harmonic may have driven it"
