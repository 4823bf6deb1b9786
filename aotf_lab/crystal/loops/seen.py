"""Points of scattered light as marked on a screen: x and y in mm from the undiffracted spot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings

__all__ = ["SeenPoints", "seen_points"]


@dataclass(frozen=True)
class SeenPoints:
    """Places ``x_mm``, ``y_mm`` (n,) with their standard uncertainties, 1 mm each where ``u_known`` is false."""

    x_mm: FloatArray
    y_mm: FloatArray
    u_x_mm: FloatArray
    u_y_mm: FloatArray
    u_known: bool
    places: tuple[str, ...]


def seen_points(readings: Readings) -> SeenPoints:
    """Return the points of ``readings``: columns ``x_mm``, ``y_mm`` and, for every row or none, ``u_x_mm``, ``u_y_mm``.

    Raises ``ReadingsError`` for a missing column or value, a point at the undiffracted spot itself, and
    uncertainties that are not above zero or are stated for some rows only.
    """
    readings.require("x_mm", "y_mm")
    x, y = (readings.table[c].to_numpy(dtype=float) for c in ("x_mm", "y_mm"))
    good = np.isfinite(x) & np.isfinite(y) & (np.hypot(x, y) > 0)
    if not good.all():
        row = int(np.argmin(good))
        raise ReadingsError(
            "a point that is on no loop", where=readings.place(row), found=Said(f"x {x[row]:g}, y {y[row]:g} mm"),
            allowed="two finite numbers, not both zero: the undiffracted spot is the origin",
            cure="count x and y from the undiffracted spot, and leave its own row out",
        )  # fmt: skip
    stated = [_stated(readings, c) for c in ("u_x_mm", "u_y_mm")]
    if (stated[0] is None) != (stated[1] is None):
        raise ReadingsError(
            "points with the uncertainty of one direction only", where=readings.place(0),
            found=Said("u_x_mm" if stated[1] is None else "u_y_mm"), allowed="u_x_mm and u_y_mm, or neither",
            cure="state both, or leave both out to have them estimated from the scatter",
        )  # fmt: skip
    known = stated[0] is not None
    u_x, u_y = (np.ones_like(x) if u is None else u for u in stated)
    return SeenPoints(x, y, u_x, u_y, known, readings.places)


def _stated(readings: Readings, column: str) -> FloatArray | None:
    if column not in readings.table.columns or readings.table[column].isna().all():
        return None
    values = readings.table[column].to_numpy(dtype=float)
    good = (values > 0) & np.isfinite(values)
    if not good.all():
        row = int(np.argmin(good))
        raise ReadingsError(
            f"{column} not above zero", where=readings.place(row), found=float(values[row]),
            allowed="a number above zero in every row, or in none", cure="state how well each point could be marked",
        )  # fmt: skip
    return values
