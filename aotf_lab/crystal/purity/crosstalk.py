"""The crosstalk matrix: the filter set to one line after another, the light of all the others."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from html import escape
from math import inf, log10
from typing import Any

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.passbands.passbands import Passbands
from aotf_lab.crystal.purity.cells import Cell, measured_ratio, predicted_cell
from aotf_lab.crystal.purity.crosstalk_checks import left_out_check, power_check, prediction_check
from aotf_lab.crystal.purity.leakage import Leakage
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation import Check
from aotf_lab.estimation.problem import FloatArray

__all__ = ["Crosstalk", "crosstalk"]

_SAME_POWER = 0.05
"""A leak counts as read at the set RF power within this share."""


@dataclass(frozen=True)
class Crosstalk:
    """Light of each line (column) over that of the line to which the filter is set (row); made by ``crosstalk``.

    ``cells`` hold both sides by (set to, light of). ``set_mhz`` and ``rf_power_w`` (W) are the settings by line.
    ``weighted`` says whether incident powers count; else the ratios are of efficiencies.
    """

    lines: tuple[str, ...]
    others: tuple[str, ...]
    cells: Mapping[tuple[str, str], Cell]
    set_mhz: Mapping[str, UFloat | float]
    rf_power_w: Mapping[str, float]
    weighted: bool
    checks: tuple[Check, ...] = field(default=())

    @property
    def trusted(self) -> bool:
        """Whether all checks passed."""
        return all(c.passed for c in self.checks)

    @property
    def measured(self) -> bool:
        """Whether anything was measured."""
        return any(c.measured is not None for c in self.cells.values())

    def total_db(self, line: str) -> float:
        """Return the most that the light of all other lines together is over that of ``line`` (dB).

        Of each line what was measured counts (its 95 % limit) where there is a reading, else the bound.
        """
        cells = [c for c in self.cells.values() if c.set_to == line]
        levels = [c.bound if c.measured is None else c.measured.upper for c in cells]
        return 10 * log10(sum(levels)) if sum(levels) > 0 else -inf

    def levels_db(self, what: str = "predicted") -> FloatArray:
        """Return the matrix (lines, others) in dB: values where known, else bounds; not a number for nothing.

        ``what`` is "predicted" or "measured"; raises ``AotfLabError`` for anything else.
        """
        if what not in ("predicted", "measured"):
            raise AotfLabError("no such side of the matrix", found=what, allowed="predicted, measured",
                               cure="name one of the two")  # fmt: skip
        matrix = np.full((len(self.lines), len(self.others)), np.nan)
        for (row, column), cell in self.cells.items():
            level = cell.predicted_db if what == "predicted" else cell.measured_db
            bound = cell.bound_db if what == "predicted" else cell.measured_bound_db
            found = bound if level is None else level.n
            matrix[self.lines.index(row), self.others.index(column)] = np.nan if found is None else found
        return matrix

    def rows(self) -> tuple[tuple[str, ...], ...]:
        """Return (set to, level of each other line ..., all together) in words, measured after a slash."""
        return tuple(
            (row, *(self._word(row, column, " / ") for column in self.others), f"< {self.total_db(row):.1f}")
            for row in self.lines
        )

    def _word(self, row: str, column: str, between: str) -> str:
        cell = self.cells.get((row, column))
        if cell is None:
            return "-"
        return cell.predicted_words + (between + cell.measured_words if cell.measured is not None else "")

    def plot(self, ax: Any = None) -> Any:
        """Draw the matrix with its numbers (dB), measured below predicted; return the Axes."""
        from aotf_lab.drawing.purity import plot_crosstalk

        words = [[self._word(row, column, "\n") for column in self.others] for row in self.lines]
        seen = np.full((len(self.lines), len(self.others)), np.nan)
        for (row, column), cell in self.cells.items():
            level = cell.measured_db
            seen[self.lines.index(row), self.others.index(column)] = np.nan if level is None else level.n
        bound = np.fmin(self.levels_db(), self.levels_db("measured"))
        return plot_crosstalk(self.lines, self.others, np.where(np.isfinite(seen), seen, bound), words, ax)

    @property
    def _title(self) -> str:
        sides = "predicted / measured" if self.measured else "predicted"
        return f"Crosstalk (dB, {sides}; {'light' if self.weighted else 'efficiency'} of each line over the set one's)"

    def __str__(self) -> str:
        rows = (("set to", *self.others, "all"), *self.rows())
        widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
        table = ["  " + "  ".join(c.rjust(w) for c, w in zip(row, widths, strict=True)) for row in rows]
        return "\n".join([self._title, *table, *(f"  {c}" for c in self.checks if not c.passed)])

    def _repr_html_(self) -> str:
        head = "".join(f"<th>{escape(c)}</th>" for c in ("set to", *self.others, "all"))
        body = "".join(f"<tr>{''.join(f'<td>{escape(c)}</td>' for c in row)}</tr>" for row in self.rows())
        failed = "".join(f"<li>{escape(str(c))}</li>" for c in self.checks if not c.passed)
        table = f"<table><caption>{escape(self._title)}</caption><tr>{head}</tr>{body}</table>"
        return table + (f"<ul>{failed}</ul>" if failed else "")


def crosstalk(
    passbands: Passbands,
    *,
    set_mhz: Mapping[str, UFloat | float] | None = None,
    rf_power_w: float | Mapping[str, float] | None = None,
    measured: Mapping[str, Leakage] | Iterable[Leakage] = (),
    incident_mw: Mapping[str, float] | None = None,
    left_out: Mapping[str, AotfLabError] | None = None,
) -> Crosstalk:
    """Return the crosstalk matrix, predicted and where ``measured`` has readings also measured.

    Rows are the lines in ``set_mhz``, by default all at their peaks; ``rf_power_w`` (true W, one for all or by line)
    defaults to each row's saturation power. ``incident_mw`` weights each line by its light; ``left_out`` are lines
    whose leak was read and is not among ``measured``, with the reason: a check names them. Within the main lobe of a
    line the prediction is a number with its u; beyond it a bound, since no null may be counted on. A crystal whose
    transducer is apodised stays far below the bound; one that scatters light has a floor that no passband knows, and
    the check "prediction" then fails.

    Raises ``AotfLabError`` for lines without a passband or an RF power, and fewer than two lines; ``FitError``
    where the light of a line that is set is not known.
    """
    others = tuple(n for n in passbands.lines if passbands.of[n].saturation_power_w is not None)
    places = {n: passbands.peak_mhz(n) for n in others} if set_mhz is None else dict(set_mhz)
    _require_near(passbands, places)
    powers = {n: _power_of(passbands, n, rf_power_w) for n in places}
    if len(others) < 2:
        raise AotfLabError("too few lines for crosstalk", found=len(others), allowed="two or more whose light is known",
                           cure="scan more lines, and measure efficiency against RF power")  # fmt: skip
    leaks = dict(measured) if isinstance(measured, Mapping) else {m.line: m for m in measured}
    cells, skipped = {}, []
    tests = max(len(leaks) * (len(places) - 1), 1)
    for row, place in places.items():
        for column in others:
            if column == row:
                continue
            weight = _weight(incident_mw, column, row)
            cell = predicted_cell(passbands, row, column, place, powers[row], weight)
            found = measured_ratio(passbands, leaks, cell, place, powers[row], weight, _SAME_POWER, tests)
            if isinstance(found, str):
                skipped.append(found)
            cells[row, column] = cell if isinstance(found, str) else replace(cell, measured=found)
    checks = (
        *prediction_check(passbands, cells, places),
        *power_check(skipped, _SAME_POWER),
        *left_out_check(left_out or {}),
    )
    checks += tuple(replace(c, name=f"line {m.line}: {c.name}") for m in leaks.values() for c in m.checks)
    return Crosstalk(tuple(places), others, cells, places, powers, incident_mw is not None, checks)


def _power_of(passbands: Passbands, line: str, rf_power_w: float | Mapping[str, float] | None) -> float:
    if rf_power_w is None:
        return float(passbands.saturation_power_w(line).n)
    power = rf_power_w.get(line) if isinstance(rf_power_w, Mapping) else rf_power_w
    if power is None or not power > 0:
        raise AotfLabError(
            f"RF power for line {line}", found=Said("none" if power is None else f"{power:.6g} W"),
            allowed="above 0 W", cure="state rf_power_w for each line that is set",
        )  # fmt: skip
    return float(power)


def _weight(incident_mw: Mapping[str, float] | None, light_of: str, set_to: str) -> float:
    if incident_mw is None:
        return 1.0
    missing = [n for n in (light_of, set_to) if not incident_mw.get(n, 0.0) > 0]
    if missing:
        raise AotfLabError(f"incident light of line {missing[0]}", found=incident_mw.get(missing[0], "none"),
                           allowed="above 0 mW", cure="state it for every line, or leave incident_mw out")  # fmt: skip
    return incident_mw[light_of] / incident_mw[set_to]


def _require_near(passbands: Passbands, places: Mapping[str, UFloat | float]) -> None:
    """Raise ``AotfLabError`` for a setting beyond half of the lowest peak or twice the highest: another unit."""
    peaks = [passbands.peak_mhz(n).n for n in passbands.lines]
    low, high = 0.5 * min(peaks), 2.0 * max(peaks)
    for name, place in places.items():
        if not low <= nominal_value(place) <= high:
            raise AotfLabError(
                f"a setting for line {name} far from every line", found=Said(f"{nominal_value(place):.6g} MHz"),
                allowed=f"{low:.4g} to {high:.4g} MHz", cure="state it in MHz",
            )  # fmt: skip
