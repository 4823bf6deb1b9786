"""From a table of spots to arrays by colour, and the laws that may hold for them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation import CommonError, Parameter, new_cause
from aotf_lab.estimation.problem import FloatArray, Model
from aotf_lab.physics.deflection import separation
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["SpotTable", "law_model", "marks", "per_colour_model", "spot_table", "wavelength_parameters"]

U_SPOT_MM = 0.5
"""Standard uncertainty of a spot read on a ruler where none is stated (common practice, no source)."""

U_WALK_OFF_MM = 0.3
"""Standard uncertainty of how far the two polarisations part inside the crystal, which adds to every spot: TeO2 parts
them by 1.3 deg 10 deg from its axis, over 5 to 20 mm (tan = (1 - n_o^2/n_e^2) tan(incidence) about)."""


@dataclass(frozen=True)
class SpotTable:
    """Readings (n,) of spots; ``colour`` (n,) numbers the ``names``, whose vacuum wavelengths (nm) follow."""

    readings: Readings
    names: tuple[str, ...]
    wavelength_nm: tuple[UFloat | float, ...]
    colour: NDArray[np.int_]
    frequency_mhz: FloatArray
    spot_mm: FloatArray
    u_spot_mm: FloatArray
    distance_mm: FloatArray

    @property
    def nominal_nm(self) -> FloatArray:
        """The wavelengths (k,) without their uncertainty."""
        return np.array([w.n if isinstance(w, UFloat) else float(w) for w in self.wavelength_nm])

    @property
    def mean_mhz(self) -> FloatArray:
        """The mean frequency (k,) of each colour."""
        return np.array([self.frequency_mhz[self.colour == k].mean() for k in range(len(self.names))])


def spot_table(
    readings: Readings | pd.DataFrame, wavelength_nm: Mapping[str, UFloat | float] | UFloat | float | None
) -> SpotTable:
    """Return the rows as arrays; wavelengths by the name of the line, one for all, or from the table.

    Raises ``ReadingsError`` for missing columns, a line without a wavelength, values that are not finite, and a
    distance, frequency or wavelength that is not above zero.
    """
    read = as_readings(readings)
    read.require("spot_mm", "distance_mm", "frequency_mhz")
    table = read.table
    labels = table["label"].astype(str).tolist() if "label" in table.columns else _by_wavelength(table)
    names = tuple(dict.fromkeys(labels))
    known = tuple(_wavelength(read, labels, name, wavelength_nm) for name in names)
    columns = {c: table[c].to_numpy(dtype=float) for c in ("frequency_mhz", "spot_mm", "distance_mm")}
    u = np.full(len(table), U_SPOT_MM)
    if "u_spot_mm" in table.columns:
        stated = table["u_spot_mm"].to_numpy(dtype=float)
        u = np.where(np.isnan(stated), U_SPOT_MM, stated)
    for name, values in (*columns.items(), ("u_spot_mm", u)):
        bad = np.flatnonzero(~(np.isfinite(values) & ((values > 0) | (name == "spot_mm"))))
        if bad.size:
            raise ReadingsError(
                f"{name} of a spot", where=read.place(int(bad[0])), found=Said(f"{values[bad[0]]:.6g}"),
                allowed="a finite number" + ("" if name == "spot_mm" else " above zero"),
                cure="correct the reading, or leave its row out",
            )  # fmt: skip
    colour = np.array([names.index(label) for label in labels])
    frequency, spot, distance = columns.values()
    if np.median(spot) < 0:
        spot = -spot  # the order on the other side of the undiffracted spot
    return SpotTable(read, names, known, colour, frequency, spot, u, distance)


def _by_wavelength(table: pd.DataFrame) -> list[str]:
    if "wavelength_nm" in table.columns:
        return [f"{w:.1f} nm" for w in table["wavelength_nm"]]
    return [""] * len(table)


def _wavelength(
    readings: Readings, labels: list[str], name: str, given: Mapping[str, UFloat | float] | UFloat | float | None
) -> UFloat | float:
    table, row = readings.table, labels.index(name)
    value: UFloat | float = float("nan")
    if isinstance(given, Mapping):
        value = given.get(name, value)
    elif given is not None:
        value = given
    elif "wavelength_nm" in table.columns:
        value = float(table["wavelength_nm"].iloc[row])
        u = float(table["u_wavelength_nm"].iloc[row]) if "u_wavelength_nm" in table.columns else 0.0
        value = new_cause(f"wavelength of line {name}", u, value) if u > 0 else value
    nominal = value.n if isinstance(value, UFloat) else value
    if not nominal > 0:
        raise ReadingsError(
            f"no wavelength of the line {name!r} of these spots", where=readings.place(row),
            found=Said(f"{nominal:g} nm"),
            allowed="a vacuum wavelength above 0 nm", cure='give it: wavelength_nm={"' + name + '": ...}',
        )  # fmt: skip
    return value


def marks(table: SpotTable, own_marks: bool) -> tuple[Parameter, ...]:
    """Return the errors that spots share: distance, and the mark of the undiffracted spot (one, or each colour's)."""
    distance = _sum(table.readings.common_errors("distance_mm"))
    shared = _sum(table.readings.common_errors("spot_mm"))
    walk_off = new_cause("walk-off inside the crystal", U_WALK_OFF_MM)
    mark = walk_off if shared is None else walk_off + shared
    known = [] if distance is None else [Parameter("distance_error_mm", 0.0, prior=distance)]
    if not own_marks:
        return (*known, Parameter("mark_mm", 0.0, prior=mark))
    size = U_SPOT_MM if shared is None else shared.s
    own = [walk_off + new_cause(f"mark of the undiffracted spot of line {name}", size) for name in table.names]
    return (*known, *(Parameter(f"mark_{n}_mm", 0.0, prior=p) for n, p in zip(table.names, own, strict=True)))


def _sum(errors: tuple[CommonError, ...]) -> UFloat | None:
    offsets = [e.sensitivity * e.variable for e in errors if e.kind == "offset"]
    return sum(offsets[1:], start=offsets[0]) if offsets else None


def wavelength_parameters(table: SpotTable) -> tuple[Parameter, ...]:
    """Return the wavelengths that are not exact as parameters with what is known of them as prior."""
    return tuple(
        Parameter(f"wavelength_{name}_nm", w.n, prior=w)
        for name, w in zip(table.names, table.wavelength_nm, strict=True)
        if isinstance(w, UFloat) and w.s > 0
    )


def on_screen(table: SpotTable, angle: FloatArray, errors: tuple[float, ...], own_marks: bool) -> FloatArray:
    """Return the spots (mm) as indicated, by the angles (rad) of the rows and the values of ``marks``."""
    has_distance = bool(table.readings.common_errors("distance_mm"))
    mark = np.asarray(errors[1:] if has_distance else errors)
    shown = mark[table.colour] if own_marks else mark[0]
    away = table.distance_mm + (errors[0] if has_distance else 0.0)
    return np.asarray(away * np.tan(angle) - shown)


def law_model(table: SpotTable, own_marks: bool) -> Model:
    """Return the model, separation as wavelength f / v: by apparent velocity, uncertain wavelengths, ``marks``."""
    uncertain = [k for k, w in enumerate(table.wavelength_nm) if isinstance(w, UFloat) and w.s > 0]
    nominal = table.nominal_nm

    def model(_x: FloatArray, velocity: float, *rest: float) -> FloatArray:
        wavelength = nominal.copy()
        wavelength[uncertain] = rest[: len(uncertain)]
        angle = separation(wavelength[table.colour], table.frequency_mhz, velocity)
        return on_screen(table, np.asarray(angle), rest[len(uncertain) :], own_marks)

    return model


def per_colour_model(table: SpotTable, own_marks: bool, alike: bool) -> Model:
    """Return the model by the separation (mrad) of each colour, or by one of all where ``alike``, then ``marks``.

    Within a colour the separation goes as the frequency.
    """
    count = 1 if alike else len(table.names)
    relative = table.frequency_mhz / table.mean_mhz[table.colour]
    which = np.zeros_like(table.colour) if alike else table.colour

    def model(_x: FloatArray, *values: float) -> FloatArray:
        angle = 1e-3 * np.asarray(values[:count])[which] * relative
        return on_screen(table, angle, values[count:], own_marks)

    return model
