"""From a table of light against a position or an angle to arrays: which rows, and what is subtracted or divided out."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from uncertainties import UFloat

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation import CommonError, Fit, Problem, fit_problem
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings, as_readings, join_readings

__all__ = ["LightRows", "LightTable", "fit_light", "light_rows", "through"]

LightTable = Readings | pd.DataFrame | list[Readings | pd.DataFrame] | tuple[Readings | pd.DataFrame, ...]


@dataclass(frozen=True)
class LightRows:
    """Arrays (n,) of one line's readings in the order of the table; an uncertainty that nobody knows is None.

    ``power_mw`` is without the dark reading where there is one (``dark_mw`` None where not, ``u_dark_mw`` its u), and
    divided by the monitor's relative reading where the table has ``incident_power_mw``.
    """

    readings: Readings
    line: str
    setting: FloatArray
    u_setting: FloatArray | None
    power_mw: FloatArray
    u_power_mw: FloatArray | None
    dark_mw: float | None
    u_dark_mw: float

    @property
    def of_line(self) -> str:
        """ " of line A", or nothing."""
        return f" of line {self.line}" if self.line else ""


def light_rows(readings: LightTable, column: str, line: str, fewest: int) -> LightRows:
    """Return the rows of ``line`` (all, where the table names no lines) against ``column``.

    Raises ``ReadingsError`` for missing columns, a line that is not there, several lines of which none is named,
    values that are not numbers, an uncertainty that is not positive, and fewer than ``fewest`` rows.
    """
    many = readings if isinstance(readings, list | tuple) else [readings]
    joined = join_readings([as_readings(part) for part in many])
    joined.require(column, "optical_power_mw")
    joined, name = _of_line(joined, line)
    setting, power = _finite(joined, column), _finite(joined, "optical_power_mw")
    u_power = _uncertainty(joined, "optical_power_mw")
    dark, u_dark = None, 0.0
    if "dark_power_mw" in joined.table.columns:
        darks = _finite(joined, "dark_power_mw")
        u_darks = _uncertainty(joined, "dark_power_mw")
        dark = float(darks.mean())
        u_dark = 0.0 if u_darks is None else float(u_darks.mean()) / len(np.unique(darks)) ** 0.5
        power = power - dark
    if "incident_power_mw" in joined.table.columns:
        monitor = _finite(joined, "incident_power_mw")
        _refuse(joined, "incident_power_mw", monitor, monitor > 0, "above 0 mW")
        u_monitor = _uncertainty(joined, "incident_power_mw")
        share = monitor / monitor.mean()
        if u_power is not None:
            relative = 0.0 if u_monitor is None else u_monitor / monitor
            u_power = np.hypot(u_power, power * relative) / share
        power = power / share
    if len(power) < fewest:
        raise ReadingsError(
            f"too few readings of light against {column}", where=", ".join(s.name for s in joined.sources),
            found=len(power), allowed=f"{fewest} or more", cure="measure at more settings",
        )  # fmt: skip
    return LightRows(joined, name, setting, _uncertainty(joined, column), power, u_power, dark, u_dark)


def fit_light(problem: Problem, u_setting: FloatArray | None) -> tuple[Problem, Fit]:
    """Return the fit of light against settings that are set with a scatter ``u_setting``, and the problem solved.

    The setting is what the scale was turned to, the true place scatters about it (Berkson): the light scatters by
    var f(x + e) = (f' u)^2 + (f'' u^2)^2 / 2, with the slopes of the fit before. Weights that are searched with the
    parameters, right where it is the reading that scatters, would here prefer steep curves. Where the scatter of the
    light is not stated, all of it is estimated from the readings.
    """
    if u_setting is None or problem.u_y is None:
        return problem, fit_problem(problem)
    values, stated = np.array([p.start for p in problem.parameters]), problem.u_y
    for _ in range(2):
        at, up, down = (problem.model(problem.x + s * u_setting, *values) for s in (0.0, 1.0, -1.0))
        first, second = 0.5 * (up - down), up - 2.0 * at + down
        known = replace(problem, u_y=np.sqrt(stated**2 + first**2 + 0.5 * second**2))
        fit = fit_problem(known)
        values = fit.values
    return known, fit


def _of_line(readings: Readings, line: str) -> tuple[Readings, str]:
    table = readings.table
    if "label" not in table.columns:
        return readings, line
    names = [str(n) for n in dict.fromkeys(table["label"])]
    if (line and line not in names) or (not line and len(names) > 1):
        raise ReadingsError(
            "no such line in these readings" if line else "readings of several lines",
            where=", ".join(s.name for s in readings.sources), found=line or Said(", ".join(names)),
            allowed=", ".join(names), cure='name one of them: line="..."',
        )  # fmt: skip
    name = line or names[0]
    kept = table[table["label"].astype(str) == name].reset_index(drop=True)
    return Readings(kept, readings.common, readings.receipts, readings.sources), name


def _finite(readings: Readings, column: str) -> FloatArray:
    values = readings.table[column].to_numpy(dtype=float)
    _refuse(readings, column, values, np.isfinite(values), "a finite number")
    return values


def _uncertainty(readings: Readings, column: str) -> FloatArray | None:
    """Return u of ``column`` (n,), None where any row does not know it."""
    if f"u_{column}" not in readings.table.columns:
        return None
    u = readings.table[f"u_{column}"].to_numpy(dtype=float)
    if np.isnan(u).any():
        return None
    _refuse(readings, f"u_{column}", u, u > 0, "a finite number above zero")
    return u


def _refuse(readings: Readings, column: str, values: FloatArray, good: FloatArray | np.ndarray, allowed: str) -> None:
    if not np.all(good):
        row = int(np.argmin(good))
        raise ReadingsError(
            f"{column} of a reading", where=readings.place(row), found=Said(f"{values[row]:.6g}"), allowed=allowed,
            cure="correct the reading, or leave its row out",
        )  # fmt: skip


def through(errors: tuple[CommonError, ...], value: UFloat, *, offsets: bool = True) -> UFloat:
    """Return the true value of what is indicated as ``value``; without ``offsets`` that of a difference."""
    for error in errors:
        if offsets or error.kind == "relative":
            value = error.applied_to(value)
    return value
