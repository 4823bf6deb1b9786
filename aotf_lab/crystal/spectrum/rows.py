"""From the rows of a scan to points of a spectrum: what of each reading is light, and where it belongs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.scan.table import ScanTable, scan_table
from aotf_lab.crystal.spectrum.axis import SpectralAxis
from aotf_lab.crystal.spectrum.lag import Lag, find_lag
from aotf_lab.crystal.spectrum.noise import reading_noise
from aotf_lab.crystal.spectrum.response import Response
from aotf_lab.crystal.tuning.common import true_value
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation import Check, CommonError, new_cause
from aotf_lab.estimation.linear import linear, nominals
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings

__all__ = ["SpectrumReadings", "SpectrumRows", "spectrum_rows"]

SpectrumReadings = Readings | pd.DataFrame | Sequence[Readings | pd.DataFrame]

LEAST_ROWS = 4


@dataclass(frozen=True)
class SpectrumRows:
    """The usable readings (n,) by rising frequency, each with its light and its place.

    ``row`` is each one's position in ``table``. ``indicated_mhz`` has the lag taken out, nominal; ``frequency_mhz``
    (``ufloat``s) is the same in true MHz with the errors of counter, lag and reading. ``light_mw`` (``ufloat``s) is
    the indicated power above dark and floor, over the light's own course where that was measured; ``noise`` holds the
    independent variable of each reading. ``beyond`` names the rows that the tuning curve or a response do not reach.
    """

    table: ScanTable
    row: NDArray[np.intp]
    indicated_mhz: FloatArray
    frequency_mhz: NDArray[np.object_]
    light_mw: NDArray[np.object_]
    u_noise_mw: FloatArray
    lag: Lag
    beyond: tuple[str, ...]
    scatter: Check

    @property
    def scale(self) -> tuple[CommonError, ...]:
        """The errors of the power meter's scale, which turn indicated light into true light."""
        errors = self.table.readings.common_errors("optical_power_mw")
        return tuple(e for e in errors if e.kind == "relative")

    @property
    def direction(self) -> FloatArray:
        """+1 or -1 (n,): the way on which each was read."""
        return self.table.direction[self.row]

    @property
    def places(self) -> tuple[str, ...]:
        """Where each row comes from."""
        places = self.table.places
        return tuple(places[k] for k in self.row)


def spectrum_rows(
    readings: SpectrumReadings,
    axis: SpectralAxis,
    responses: Sequence[Response],
    floor_mw: UFloat | float | None,
    time_constant_s: UFloat | float | None,
    fwhm_mhz: float,
) -> SpectrumRows:
    """Return the rows of ``readings`` as points of a spectrum; see ``fit_spectrum`` for the arguments and errors.

    ``fwhm_mhz`` is the passband's width, roughly.
    """
    table = scan_table(readings)
    u_noise, scatter = reading_noise(table)
    floor = _floor(table, floor_mw)
    nominal = (table.power_mw - np.array([nominal_value(f) for f in floor])) / table.light
    lag = find_lag(table, nominal, u_noise, time_constant_s, fwhm_mhz)
    indicated = table.frequency_mhz - table.direction * lag.share * nominal_value(lag.mhz)
    inside = _inside(indicated, axis, responses)
    if inside.sum() < LEAST_ROWS:
        low, high = axis.tuning.range_mhz
        raise ReadingsError(
            "too few readings of a spectrum within reach of the tuning curve and the responses",
            where=table.places[0], found=Said(f"{inside.sum()} of {len(inside)} readings"),
            allowed=f"{LEAST_ROWS} or more from {low:.4g} to {high:.4g} MHz",
            cure="anchor the tuning curve over the spectrum's wavelengths, and state the response there",
        )  # fmt: skip
    row = np.flatnonzero(inside)
    row = row[np.argsort(indicated[row], kind="stable")]
    beyond = tuple(table.places[k] for k in np.flatnonzero(~inside))
    light = _light(table, row, floor, u_noise)
    return SpectrumRows(
        table, row, indicated[row], _frequency(table, row, indicated, lag), light, u_noise[row], lag, beyond, scatter
    )


def _inside(indicated: FloatArray, axis: SpectralAxis, responses: Sequence[Response]) -> NDArray[np.bool_]:
    """Return which rows lie within the tuning curve and all responses."""
    low, high = axis.tuning.range_mhz
    inside = (indicated >= low) & (indicated <= high)
    if inside.any() and responses:
        nm = axis.nominal_nm(indicated[inside])
        covered = np.all([r.covers(nm) for r in responses], axis=0)
        inside[inside] = covered
    return np.asarray(inside)


def _floor(table: ScanTable, stated_mw: UFloat | float | None) -> list[UFloat | float]:
    """Return what each row (n,) shows without diffracted light: as stated, else its dark reading, else zero.

    A dark reading that is the same in all rows is one reading, with one error.
    """
    n, frame = len(table.row), table.readings.table
    if stated_mw is not None:
        return [stated_mw] * n
    if "dark_power_mw" not in frame.columns:
        return [0.0] * n
    dark = frame["dark_power_mw"].to_numpy(dtype=float)[table.row]
    if not np.isfinite(dark).all():
        k = int(np.argmin(np.isfinite(dark)))
        raise ReadingsError(
            "dark reading of a spectrum is not a number", where=table.places[k], found=float(dark[k]),
            allowed="a number in mW in every row", cure="state floor_mw, or leave the column out",
        )  # fmt: skip
    stated = "u_dark_power_mw" in frame.columns
    u = frame["u_dark_power_mw"].to_numpy(dtype=float)[table.row] if stated else np.zeros(n)
    u = np.where(np.isfinite(u), u, 0.0)
    made: dict[tuple[float, float], UFloat | float] = {}
    for pair in zip(dark.tolist(), u.tolist(), strict=True):
        made.setdefault(pair, new_cause("dark reading", pair[1], pair[0]) if pair[1] > 0 else pair[0])
    return [made[pair] for pair in zip(dark.tolist(), u.tolist(), strict=True)]


def _light(
    table: ScanTable, row: NDArray[np.intp], floor: list[UFloat | float], u_noise: FloatArray
) -> NDArray[np.object_]:
    """Return the indicated light (mW) of the rows, with each reading's own error and that of dark and floor."""
    course = table.light[row]
    scatter = [new_cause("scatter of the spectrum", u) for u in u_noise[row].tolist()]
    dark = [floor[r] for r in row]
    return linear((table.power_mw[row] - nominals(dark)) / course, (1 / course, scatter), (-1 / course, dark))


def _frequency(table: ScanTable, row: NDArray[np.intp], indicated: FloatArray, lag: Lag) -> NDArray[np.object_]:
    """Return the true frequency (MHz) of the rows' light, the lag taken out."""
    errors = table.readings.common_errors("frequency_mhz")
    u = table.u_frequency_mhz
    scatter = 0.0 if u is None else [new_cause("scatter of the frequency", size) for size in u[row].tolist()]
    late = -(table.direction * lag.share)[row]
    return np.asarray(true_value(errors, linear(indicated[row], (late, lag.mhz), (1.0, scatter))))
