"""Read a table of laser lines: label, wavelength, and the frequency found for it."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pandas as pd

from aotf_lab.errors import ReadingError, Said
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.reading.accuracy import add_frequency_errors, add_u, noted
from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.instruments import UNSTATED, Instruments
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.table import read_bare_table
from aotf_lab.reading.wavelength_unit import RANGE_NM, found_nm, unit_slip

__all__ = ["DEFAULT_U_WAVELENGTH_NM", "read_lines"]

DEFAULT_U_WAVELENGTH_NM = 2.0
"""Standard uncertainty of a wavelength of which nothing is stated: a diode's label (common practice, no source)."""

_WAVELENGTHS = ("wavelength_nm", "wavelength_air_nm", "wavelength_stated_nm")


def read_lines(
    path: str | os.PathLike[str],
    instruments: Instruments | None = None,
    columns: ColumnMap | None = None,
    *,
    material: str = "TeO2",
    layout: Layout | None = None,
) -> Readings:
    """Return one row per line: ``label``, ``wavelength_nm`` (vacuum), ``frequency_mhz``, and their u.

    The heading ``wavelength_air_nm`` (or 'Wavelength in air (nm)', 'Wavelength in vacuum (nm)',
    ``wavelength_vacuum_nm``) or a column ``medium`` with air or vacuum in each row says in which
    medium the wavelength is stated; from air it is converted (Peck & Reeder, 15 C, dry). A
    heading that says neither is refused: the difference is 0.13 to 0.19 nm in the visible. An
    unstated ``u_wavelength_nm`` becomes 2 nm, and an unstated ``u_frequency_mhz`` the counter's, or NaN.
    Shared error: counter time base. ``layout`` states what is not to be found from the file. Raises
    ``ReadingError``, also for a number that cannot be a wavelength in nm, on its own or in a crystal of
    this ``material``.
    """
    bench = instruments or UNSTATED
    bare = read_bare_table(path, columns=columns, layout=layout, required=("frequency_mhz",))
    _refuse_not_positive(bare, "frequency_mhz")
    readings = _in_vacuum(bare, material)
    table = readings.table
    if "label" not in table.columns:
        table = table.assign(label=[f"{w:.1f} nm" for w in table["wavelength_nm"]])
    gaps = "u_wavelength_nm" not in table.columns or bool(table["u_wavelength_nm"].isna().any())
    readings = add_u(replace(readings, table=table), "wavelength_nm", DEFAULT_U_WAVELENGTH_NM)
    if gaps:
        readings = noted(readings, f"u of a wavelength not stated: {DEFAULT_U_WAVELENGTH_NM:g} nm assumed")
    return add_frequency_errors(readings, bench)


def _in_vacuum(readings: Readings, material: str) -> Readings:
    table, place = readings.table, readings.headings_place
    have = [c for c in _WAVELENGTHS if c in table.columns]
    if len(have) != 1:
        raise ReadingError(
            "no column that means a wavelength" if not have else "several columns give the wavelength", where=place,
            found=Said(", ".join(have) or ", ".join(repr(c.header) for c in readings.receipts[-1].columns)),
            allowed="one column such as wavelength_air_nm or 'Wavelength in vacuum (nm)'",
            cure='map it in session.toml: columns = { wavelength_air_nm = "..." } for wavelengths in air, '
            'columns = { wavelength_nm = "..." } for those in vacuum',
        )  # fmt: skip
    column = have[0]
    _refuse_not_positive(readings, column)
    _refuse_other_unit(readings, column, material)
    medium = _medium(readings, column)
    stated = table[column].to_numpy(dtype=float)
    vacuum = np.where(medium == "air", air_to_vacuum(stated), stated)
    uncertain = [f"u_{c}" for c in _WAVELENGTHS if f"u_{c}" in table.columns]
    if len(uncertain) > 1:
        raise ReadingError(
            "several columns give the u of the wavelength", where=place, found=Said(", ".join(uncertain)),
            allowed="one", cure='pass one over in session.toml: columns = { not_used = "..." }',
        )  # fmt: skip
    table = table.drop(columns=[column]).rename(columns=dict.fromkeys(uncertain, "u_wavelength_nm"))
    table.insert(0, "wavelength_nm", vacuum)
    in_air = int(np.sum(medium == "air"))
    note = f"{in_air} wavelengths in air converted to vacuum (Peck & Reeder 1972, 15 C, dry)"
    return noted(replace(readings, table=table), *([note] if in_air else []))


def _medium(readings: Readings, column: str) -> pd.Series[str]:
    """Return "air" or "vacuum" for each row, or refuse what says neither or both."""
    table, receipt = readings.table, readings.receipts[-1]
    heading = next(c for c in receipt.columns if c.meaning == column)
    by_heading = {"wavelength_air_nm": "air", "wavelength_nm": "vacuum"}.get(column, "")
    if heading.header == "wavelength_nm" and heading.evidence == "bench name":
        by_heading = ""
    if "medium" not in table.columns and not by_heading:
        raise ReadingError(
            "a wavelength that does not say in which medium",
            where=f"{readings.headings_place}, column {heading.header!r}", found=heading.header,
            allowed="wavelength_air_nm, wavelength_vacuum_nm, or a column medium: air, vacuum",
            cure="rename the heading (most catalogues and labels state air above 200 nm), or add the column",
        )  # fmt: skip
    if "medium" not in table.columns:
        return pd.Series(by_heading, index=table.index, dtype=str)
    medium = table["medium"]
    clash = np.flatnonzero((medium != by_heading).to_numpy() & bool(by_heading))
    if clash.size:
        raise ReadingError(
            f"the heading says {by_heading} and the row says otherwise", where=readings.place(int(clash[0])),
            found=str(medium.iloc[int(clash[0])]), allowed=by_heading, cure="correct the heading or the row",
        )  # fmt: skip
    return medium


def _refuse_not_positive(readings: Readings, column: str) -> None:
    values = readings.table[column].to_numpy(dtype=float)
    if not np.all(values > 0):
        row = int(np.argmin(values > 0))
        raise ReadingError(
            f"{column} not above zero", where=readings.place(row), found=float(values[row]),
            allowed="a number above 0", cure="correct the row",
        )  # fmt: skip


def _refuse_other_unit(readings: Readings, column: str, material: str) -> None:
    for row, value in enumerate(readings.table[column].to_numpy(dtype=float)):
        slip = unit_slip(float(value), material)
        if slip:
            what, cure = slip
            raise ReadingError(
                f"{column} {what}", where=readings.place(row), found=found_nm(float(value)),
                allowed=f"{RANGE_NM[0]:g} to {RANGE_NM[1]:g} nm",
                cure=f"{cure}, or correct the unit in the heading or the crystal's material",
            )  # fmt: skip
