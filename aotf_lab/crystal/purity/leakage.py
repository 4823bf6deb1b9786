"""Measured light of one line where the filter is set to others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.purity.detection import Detection
from aotf_lab.crystal.purity.net import net_light
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation import Check
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings, as_readings, join_readings

__all__ = ["Leakage", "fit_leakage"]

_SAME_MHZ = 0.02
"""Readings whose frequencies lie closer than this are of one setting."""


@dataclass(frozen=True)
class Leakage:
    """Efficiency of ``line`` at each setting (n,), made by ``fit_leakage``.

    ``frequency_mhz`` and ``rf_power_w`` (None where it was not logged) are means over each setting's readings;
    ``efficiency`` shares the dark reading and the meter's zero. ``trusted``: whether all ``checks`` passed.
    """

    line: str
    frequency_mhz: FloatArray
    rf_power_w: FloatArray | None
    efficiency: tuple[UFloat, ...]
    dof: tuple[float, ...]
    checks: tuple[Check, ...]
    readings: Readings = field(repr=False)

    @property
    def trusted(self) -> bool:
        """Whether all checks passed."""
        return all(c.passed for c in self.checks)

    def nearest(self, frequency_mhz: UFloat | float, within_mhz: float) -> int | None:
        """Return the number of the setting nearest to ``frequency_mhz``; None where none is within ``within_mhz``."""
        away = np.abs(self.frequency_mhz - nominal_value(frequency_mhz))
        k = int(np.argmin(away))
        return k if away[k] <= within_mhz else None

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (frequency, efficiency or its bound) in words."""
        found = []
        for f, value, dof in zip(self.frequency_mhz, self.efficiency, self.dof, strict=True):
            one = Detection(value, dof, len(self.dof))
            found.append((f"{f:.3f} MHz", f"{value:.2uS}" if one.seen else f"below {one.upper:.2g} (95 %)"))
        return tuple(found)

    def __str__(self) -> str:
        return rows_text(self._title, self.rows(), (c for c in self.checks if not c.passed))

    def _repr_html_(self) -> str:
        return rows_html(self._title, self.rows(), (c for c in self.checks if not c.passed))

    @property
    def _title(self) -> str:
        return f"Leakage of line {self.line}: efficiency at {len(self.efficiency)} settings"


def fit_leakage(
    readings: Readings | pd.DataFrame | Sequence[Readings | pd.DataFrame], *, line: str, u_zero_mw: UFloat | float = 0.0
) -> Leakage:
    """Return the measured efficiency of ``line`` at each frequency that was set, only its own light being on.

    Columns ``frequency_mhz``, ``optical_power_mw``, ``incident_power_mw`` with their u; understood beside them
    ``dark_power_mw`` and ``rf_power_w``. Repeated settings are averaged; the dark reading counts once. ``u_zero_mw`` is
    the doubt of the meter's zero between the ranges of dark and light, which no averaging lessens; one ``ufloat`` of
    mean 0 given to all lines of one meter is one error of theirs, so that differences between lines know it.

    Raises ``ReadingsError`` for missing columns, values that are not numbers, no incident light, and single readings
    whose uncertainty nobody states.
    """
    parts = [readings] if isinstance(readings, Readings | pd.DataFrame) else list(readings)
    table = join_readings(as_readings(p) for p in parts)
    table.require("frequency_mhz", "optical_power_mw", "incident_power_mw")
    f = table.table["frequency_mhz"].to_numpy(dtype=float)
    if not np.isfinite(f).all():
        row = int(np.argmin(np.isfinite(f)))
        raise ReadingsError("frequency_mhz is not a number", where=table.place(row), found=float(f[row]),
                            allowed="a finite number", cure="correct the cell, or leave its row out")  # fmt: skip
    group = _settings(f)
    net = net_light(table, group, u_zero_mw, f"the leakage readings of line {line}")
    counts = np.bincount(group)
    power = None
    if "rf_power_w" in table.table.columns:
        power = np.bincount(group, table.table["rf_power_w"].to_numpy(dtype=float)) / counts
    return Leakage(line, np.bincount(group, f) / counts, power, net.values, net.dof, net.checks, table)


def _settings(frequency_mhz: FloatArray) -> NDArray[np.intp]:
    """Return a number (n,), the same for readings of one setting, in order of frequency."""
    order = np.argsort(frequency_mhz, kind="stable")
    number = np.empty(len(order), dtype=np.intp)
    number[order] = np.concatenate([[0], np.cumsum(np.diff(frequency_mhz[order]) > _SAME_MHZ)])
    return number
