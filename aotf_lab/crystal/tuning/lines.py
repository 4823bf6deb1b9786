"""Can these lines make a tuning curve? Refuses, by file and line, what cannot; fills in what was not stated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from uncertainties import UFloat

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings

__all__ = ["LineTable", "label_causes", "usable_lines"]

_SAME_NM = 1e-3


@dataclass(frozen=True)
class LineTable:
    """Lines as arrays (n,): vacuum wavelength (nm) and frequency (MHz, as indicated), each with its u.

    An u that nobody stated is None; ``notes`` say which gaps were filled. ``places`` name file, line
    and label of each row, ``media`` the medium in which its wavelength was stated ("" where unknown).
    """

    labels: tuple[str, ...]
    places: tuple[str, ...]
    wavelength_nm: FloatArray
    u_wavelength_nm: FloatArray | None
    frequency_mhz: FloatArray
    u_frequency_mhz: FloatArray | None
    media: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def reference_nm(self) -> float:
        """The middle of the lines in wave number, as a whole number of nm."""
        return float(np.round(1.0 / np.mean(1.0 / self.wavelength_nm)))


def usable_lines(readings: Readings) -> LineTable:
    """Return the lines of ``readings`` as arrays.

    Raises ``ReadingsError`` for a missing column, no line at all, a wavelength, frequency or u that
    is not above zero, two lines of the same wavelength, and fewer than four lines whose u of
    frequency is unknown.
    """
    readings.require("wavelength_nm", "frequency_mhz")
    wavelength, frequency = (_positive(readings, c) for c in ("wavelength_nm", "frequency_mhz"))
    if "label" in readings.table.columns:
        labels = tuple(str(label) for label in readings.table["label"])
    else:
        labels = tuple(f"{w:.2f} nm" for w in wavelength)
    places = tuple(f"{label} ({readings.place(row)})" for row, label in enumerate(labels))
    _require_distinct(wavelength, places)
    u_wavelength, wavelength_note = _stated_u(readings, "u_wavelength_nm", places)
    u_frequency, frequency_note = _stated_u(readings, "u_frequency_mhz", places)
    if u_frequency is None and len(labels) < 4:
        raise ReadingsError(
            "too few lines to take the uncertainty of their frequency from the scatter",
            where=readings.place(0), found=len(labels), allowed="four lines or more where no u_frequency_mhz is stated",
            cure="state u_frequency_mhz of each line, or measure more lines",
        )  # fmt: skip
    notes = tuple(n for n in (wavelength_note, frequency_note) if n)
    return LineTable(labels, places, wavelength, u_wavelength, frequency, u_frequency, _media(readings), notes)


def label_causes(lines: LineTable, stated_nm: Mapping[str, UFloat]) -> tuple[UFloat | None, ...]:
    """Return for each row the variable of its wavelength by its label; None where the row states another value or u."""
    if lines.u_wavelength_nm is None:
        return ()
    rows = zip(lines.labels, lines.wavelength_nm, lines.u_wavelength_nm, strict=True)
    causes = ((stated_nm.get(label), (nm, u)) for label, nm, u in rows)
    return tuple(c if c is not None and np.allclose((c.n, c.s), row, rtol=1e-9) else None for c, row in causes)


def _media(readings: Readings) -> tuple[str, ...]:
    """Return "air", "vacuum" or "" for each row, by its own word or by the heading it was read under."""
    if "medium" in readings.table.columns:
        return tuple(str(m) for m in readings.table["medium"])
    meanings = {c.meaning for receipt in readings.receipts for c in receipt.columns}
    medium = "air" if "wavelength_air_nm" in meanings else ""
    return (medium,) * len(readings.table)


def _positive(readings: Readings, column: str) -> FloatArray:
    values = readings.table[column].to_numpy(dtype=float)
    good = (values > 0) & np.isfinite(values)
    if not good.all():
        row = int(np.argmin(good))
        raise ReadingsError(
            f"{column} not above zero", where=readings.place(row), found=float(values[row]),
            allowed="a number above zero", cure="correct the row, or leave the line out of the table",
        )  # fmt: skip
    return values


def _stated_u(readings: Readings, column: str, places: tuple[str, ...]) -> tuple[FloatArray | None, str]:
    """Return the u of a column with its gaps filled by the largest stated, None when none is; and a note."""
    if column not in readings.table.columns:
        return None, ""
    values = readings.table[column].to_numpy(dtype=float)
    missing = np.isnan(values)
    good = missing | ((values > 0) & np.isfinite(values))
    if not good.all():
        row = int(np.argmin(good))
        raise ReadingsError(
            f"{column} not above zero", where=places[row], found=float(values[row]),
            allowed="a standard uncertainty above zero", cure="state it, or leave the cell empty when nobody knows it",
        )  # fmt: skip
    if missing.all():
        return None, ""
    if not missing.any():
        return values, ""
    largest = float(np.nanmax(values))
    names = ", ".join(p for p, gap in zip(places, missing, strict=True) if gap)
    return np.where(missing, largest, values), f"no {column} for {names}: the largest stated, {largest:.3g}, was taken"


def _require_distinct(wavelength_nm: FloatArray, places: tuple[str, ...]) -> None:
    order = np.argsort(wavelength_nm)
    for a, b in pairwise(order):
        if wavelength_nm[b] - wavelength_nm[a] < _SAME_NM:
            raise ReadingsError(
                f"two lines of the same wavelength: {places[min(a, b)]} and {places[max(a, b)]}",
                where=places[max(a, b)], found=Said(f"{wavelength_nm[b]:.6g} nm twice"),
                allowed=f"wavelengths that differ by {_SAME_NM} nm or more",
                cure="give one row for each line: correct the wavelength, or join the two readings of the line",
            )  # fmt: skip
