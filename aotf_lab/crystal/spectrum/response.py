"""A factor that changes with wavelength: what the detector shows of each, what the crystal diffracts of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.efficiency.lines import EfficiencyLines
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation import new_cause
from aotf_lab.estimation.evaluate import require_inside, split
from aotf_lab.estimation.linear import linear, nominals
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["Response", "response_of_efficiency", "response_table"]


@dataclass(frozen=True)
class Response:
    """A factor above zero at vacuum wavelengths ``wavelength_nm`` (m,), straight between them.

    ``values`` (m,) are ``ufloat``s or floats: their correlations, and a scale that all share, are kept.
    """

    name: str
    wavelength_nm: FloatArray
    values: NDArray[np.object_] = field(repr=False)

    @property
    def range_nm(self) -> tuple[float, float]:
        """The span of wavelengths at which the factor is known."""
        return float(self.wavelength_nm[0]), float(self.wavelength_nm[-1])

    def __call__(self, wavelength_nm: Any) -> Any:
        """Return the factor at vacuum wavelengths (nm); a scalar gives a number, an array an object array (n,).

        Raises ``OutOfRangeError`` outside ``range_nm``.
        """
        nominal, elements, scalar = split(wavelength_nm)
        require_inside(f"wavelength of the {self.name}", nominal, *self.range_nm, "nm")
        right = np.clip(np.searchsorted(self.wavelength_nm, nominal, side="right"), 1, len(self.wavelength_nm) - 1)
        left = right - 1
        values, gap = nominals(self.values), self.wavelength_nm[right] - self.wavelength_nm[left]
        share = (nominal - self.wavelength_nm[left]) / gap
        rise = values[right] - values[left]
        results = linear(
            values[left] + rise * share, (1 - share, self.values[left]), (share, self.values[right]),
            (rise / gap, elements),
        )  # fmt: skip
        return results[0] if scalar else results

    def covers(self, wavelength_nm: FloatArray) -> NDArray[np.bool_]:
        """Return which (n,) of the wavelengths lie within ``range_nm``."""
        low, high = self.range_nm
        return np.asarray((wavelength_nm >= low) & (wavelength_nm <= high))


def response_table(
    table: Readings | pd.DataFrame, column: str = "response", *, u_scale: float = 0.0, name: str = "detector response"
) -> Response:
    """Return the response that a table states: ``wavelength_nm`` (vacuum), ``column``, and its u where it is known.

    The response of a detector is indicated over true power at each wavelength: 1 throughout for a meter without
    preference, R(wavelength) / R(setting) for a photodiode whose meter is set to one wavelength. The u of its rows
    count as independent; ``u_scale`` is a relative standard uncertainty that all rows share.

    Raises ``ReadingsError`` for fewer than two rows, two of one wavelength, and values or u that cannot be.

    >>> flat = response_table(pd.DataFrame({"wavelength_nm": [400.0, 700.0], "response": [0.8, 1.2]}))
    >>> round(float(flat(550.0)), 3)
    1.0
    """
    rows = as_readings(table)
    rows.require("wavelength_nm", column)
    order = np.argsort(rows.table["wavelength_nm"].to_numpy(dtype=float), kind="stable")
    nm = rows.table["wavelength_nm"].to_numpy(dtype=float)[order]
    values = rows.table[column].to_numpy(dtype=float)[order]
    u_column = f"u_{column}"
    u = rows.table[u_column].to_numpy(dtype=float)[order] if u_column in rows.table.columns else np.zeros_like(nm)
    if len(nm) < 2:
        raise ReadingsError(
            f"too few rows for the {name}", where=rows.place(0), found=len(nm), allowed="two or more",
            cure="give it at the ends of the spectrum at least",
        )  # fmt: skip
    _require_all(np.isfinite(values) & (values > 0), values, rows, order, name, "a number above zero")
    _require_all(np.diff(nm, prepend=-np.inf) > 0, nm, rows, order, f"wavelength of the {name}", "each wavelength once")
    _require_all(np.isfinite(u) & (u >= 0), u, rows, order, f"u of the {name}", "a number, zero or more")
    scale = 1.0 + new_cause(f"scale of the {name}", u_scale) if u_scale > 0 else 1.0
    nodes = [v + new_cause(f"rows of the {name}", s) if s > 0 else v for v, s in zip(values.tolist(), u, strict=True)]
    return Response(name, nm, np.array([node * scale for node in nodes], dtype=object))


def _require_all(
    good: NDArray[np.bool_], values: FloatArray, rows: Readings, order: NDArray[np.intp], what: str, allowed: str
) -> None:
    if not good.all():
        k = int(np.argmin(good))
        raise ReadingsError(
            what, where=rows.place(int(order[k])), found=float(values[k]), allowed=allowed, cure="correct the row"
        )


def response_of_efficiency(
    lines: EfficiencyLines, rf_power_w: float | UFloat, extra_nm: Sequence[float] = ()
) -> Response:
    """Return the peak efficiency against wavelength at one RF power, by which a spectrum is divided.

    ``lines`` are the efficiency curves of one crystal, ``rf_power_w`` the true power (W) at which the spectrum was
    scanned; a ``ufloat`` keeps its causes, so that a scale that both share cancels. The response holds a value with its
    u at each measured line by that line's own curve, and at each of ``extra_nm`` (vacuum, nm) by the law of all lines
    together: sin^2 of the root of power over saturation power, which goes with a power of the wavelength.

    Raises ``ReadingsError`` for fewer than two wavelengths and for a power at which no light is diffracted,
    ``OutOfRangeError`` beyond a curve's powers or more than a tenth beyond the measured wavelengths, ``FitError`` for
    ``extra_nm`` where the lines told no more than initial slopes.
    """
    measured = [(nm, lines.line(name)) for name, nm in lines.wavelengths_nm.items()]
    curves = sorted([*measured, *((nm, lines.at(nm)) for nm in extra_nm)], key=lambda pair: pair[0])
    if len(curves) < 2:
        raise ReadingsError(
            "efficiency at one wavelength says nothing of a spectrum", found=len(curves),
            allowed="two wavelengths or more", cure="measure a second line, or add extra_nm at the ends",
        )  # fmt: skip
    values = [curve.efficiency(rf_power_w) for _, curve in curves]
    _require_light([nominal_value(v) for v in values])
    return Response("diffraction efficiency", np.array([nm for nm, _ in curves]), np.array(values, dtype=object))


def _require_light(values: list[float]) -> None:
    if min(values) <= 0:
        raise ReadingsError(
            "no light is diffracted at this RF power", found=min(values), allowed="an efficiency above zero",
            cure="give the RF power at which the spectrum was scanned",
        )  # fmt: skip
