"""Readings of light less their dark readings, grouped; what groups share stays shared."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.errors import ReadingsError
from aotf_lab.estimation import Check, new_cause
from aotf_lab.estimation.checks import chi2_check, chi2_limit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings

__all__ = ["NetLight", "net_light"]

DARK, ZERO = "dark reading", "zero of the meter's ranges"


@dataclass(frozen=True)
class NetLight:
    """Net light of each group over its incident light (over 1 mW where that was not logged), and what was asked of it.

    ``dof`` (one per group) are the degrees of freedom of its uncertainty, infinite where that was stated.
    """

    values: tuple[UFloat, ...]
    dof: tuple[float, ...]
    referenced: bool
    checks: tuple[Check, ...]


def net_light(readings: Readings, group: NDArray[np.intp], u_zero_mw: UFloat | float, what: str) -> NetLight:
    """Return the net light of the rows of each ``group`` (n,), numbered from 0.

    (optical - dark) / (incident - dark), averaged. A dark reading counts once, however many rows were read against it.
    ``u_zero_mw`` is the doubt that averaging does not lessen: zeros of ranges, stray light that comes and goes. A
    ``ufloat`` of mean 0 is that error itself: one for all that is given it.
    Raises ``ReadingsError`` for values that are not numbers, no incident light, and single readings of unknown u.
    """
    readings.require("optical_power_mw")
    optical = _numbers(readings, "optical_power_mw")
    dark, incident = (_column(readings, c) for c in ("dark_power_mw", "incident_power_mw"))
    referenced, zero = incident is not None, np.zeros(len(optical)) if dark is None else dark
    base = np.ones(len(optical)) if incident is None else incident - zero
    _require_light(readings, base)
    net = (optical - zero) / base
    u = _u_rows(readings, net, base, referenced)
    scale, checks = _scale(net, u, group, what)
    darks = _Darks(readings, dark, u is None, net * base, group)
    offsets = [(e.variable * e.sensitivity, e.column) for e in readings.common if e.kind == "offset"]
    shared = u_zero_mw if isinstance(u_zero_mw, UFloat) else new_cause(ZERO, u_zero_mw)
    values, dofs = [], []
    for k in range(int(group.max()) + 1):
        rows = group == k
        weight = np.full(rows.sum(), 1.0 / rows.sum())
        u_own, dof = _u_mean(readings, net[rows], None if u is None else u[rows], rows, scale)
        value = new_cause(f"scatter of {what}", u_own, float(weight @ net[rows]))
        per_dark = -float(weight @ ((1 - net[rows] * referenced) / base[rows]))
        value = value + darks.of(rows, per_dark) + (shared * -per_dark if shared.s > 0 else 0.0)
        for variable, column in offsets:
            sign = {"optical_power_mw": -per_dark, "dark_power_mw": per_dark if dark is not None else 0.0}
            value = value + sign.get(column, 0.0) * variable
        values.append(value)
        dofs.append(dof * (value.s / u_own) ** 4 if u_own > 0 else inf)
    if dark is None:
        stated = f"its doubt is stated as {shared.s:.3g} mW" if shared.s > 0 else "nothing is known of it"
        checks += (Check("dark", shared.s > 0, f"no dark reading: the meter's zero stays in {what}, {stated}"
                         + ("" if shared.s > 0 else "; log dark_power_mw, or state u_zero_mw")),)  # fmt: skip
    return NetLight(tuple(values), tuple(dofs), referenced, checks)


def _column(readings: Readings, name: str) -> FloatArray | None:
    return _numbers(readings, name) if name in readings.table.columns else None


def _numbers(readings: Readings, name: str) -> FloatArray:
    values = readings.table[name].to_numpy(dtype=float)
    if not np.isfinite(values).all():
        row = int(np.argmin(np.isfinite(values)))
        raise ReadingsError(
            f"{name} is not a number", where=readings.place(row), found=float(values[row]), allowed="a finite number",
            cure="correct the cell, or leave its row out",
        )  # fmt: skip
    return np.asarray(values)


def _require_light(readings: Readings, base: FloatArray) -> None:
    if not np.all(base > 0):
        row = int(np.argmin(base > 0))
        raise ReadingsError(
            "incident light not above its dark reading", where=readings.place(row), found=float(base[row]),
            allowed="above 0 mW", cure="check which column is which, and the zero of the meter",
        )  # fmt: skip


def _known_u(readings: Readings, name: str) -> FloatArray | None:
    if f"u_{name}" not in readings.table.columns:
        return None
    u = readings.table[f"u_{name}"].to_numpy(dtype=float)
    return np.asarray(u) if np.isfinite(u).all() and np.all(u >= 0) else None


def _u_rows(readings: Readings, net: FloatArray, base: FloatArray, referenced: bool) -> FloatArray | None:
    """Return the random u (n,) of each net value, its dark reading's apart; None where nobody states it."""
    optical = _known_u(readings, "optical_power_mw")
    if optical is None:
        return None
    incident = _known_u(readings, "incident_power_mw") if referenced else None
    return np.hypot(optical, 0.0 if incident is None else net * incident) / base


def _scale(
    net: FloatArray, u: FloatArray | None, group: NDArray[np.intp], what: str
) -> tuple[tuple[float, float], tuple[Check, ...]]:
    """Return by how much stated uncertainties are scaled up, the degrees of freedom then, and the check."""
    counts = np.bincount(group)
    dof = float(np.sum(counts - 1))
    if u is None or dof < 1 or not np.all(u > 0):
        return (1.0, inf), ()
    weights = u**-2.0
    mean = np.bincount(group, weights * net) / np.bincount(group, weights)
    chi2 = float(np.sum(weights * (net - mean[group]) ** 2))
    check = chi2_check(chi2, dof, what)
    return ((chi2 / dof) ** 0.5, dof) if chi2 > chi2_limit(dof) else (1.0, inf), (check,)


def _u_mean(
    readings: Readings, net: FloatArray, u: FloatArray | None, rows: NDArray[np.bool_], scale: tuple[float, float]
) -> tuple[float, float]:
    """Return u and degrees of freedom of a group's mean."""
    if u is not None:
        return scale[0] * float(np.sqrt(np.sum(u**2))) / len(u), scale[1]
    if len(net) < 2:
        raise _single(readings, int(np.flatnonzero(rows)[0]))
    return float(net.std(ddof=1)) / len(net) ** 0.5, float(len(net) - 1)


def _single(readings: Readings, row: int) -> ReadingsError:
    return ReadingsError(
        "a single reading whose uncertainty nobody states", where=readings.place(row), found=1,
        allowed="two readings or more at each setting, or u_optical_power_mw",
        cure="repeat the reading, or state [instrument.power_meter] u_reading_percent and floor_uw",
    )  # fmt: skip


class _Darks:
    """The dark readings: one cause for each different one."""

    def __init__(
        self, readings: Readings, dark: FloatArray | None, unknown: bool, net_mw: FloatArray, group: NDArray[np.intp]
    ) -> None:
        self.dark = dark
        self.causes: dict[float, UFloat] = {}
        if dark is None:
            return
        u = _known_u(readings, "dark_power_mw")
        different = np.unique(dark)
        if u is None and len(different) > 1:
            u = np.full(len(dark), float(different.std(ddof=1)))
        if u is None:  # one dark reading of unknown u: as the quietest group scatters
            quiet = [float(net_mw[group == k].std(ddof=1)) for k in range(group.max() + 1) if np.sum(group == k) > 1]
            stated = _known_u(readings, "optical_power_mw")
            if not quiet and (unknown or stated is None):
                raise _single(readings, 0)
            u = np.full(len(dark), min(quiet) if unknown or stated is None else float(stated.min()))
        for value in different:
            self.causes[float(value)] = new_cause(DARK, float(u[dark == value].mean()))

    def of(self, rows: NDArray[np.bool_], slope: float) -> UFloat | float:
        """Return what the dark readings of ``rows`` add to a mean that changes by ``slope`` per mW of dark."""
        if self.dark is None:
            return 0.0
        values, counts = np.unique(self.dark[rows], return_counts=True)
        shares = counts / counts.sum()
        return sum(float(s) * slope * self.causes[float(v)] for v, s in zip(values, shares, strict=True))
