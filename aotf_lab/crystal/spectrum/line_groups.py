"""The readings about a line or a few that overlap: where lines are looked for, and what they would show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from uncertainties import nominal_value, std_dev

from aotf_lab.crystal.spectrum.lag import trailing
from aotf_lab.crystal.spectrum.points import SpectrumPoints
from aotf_lab.estimation import Parameter, Problem
from aotf_lab.estimation.checks import z_limit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["LOBE_DOUBT", "KnownLine", "LineGroup", "candidates", "grouped", "line_group"]

_WINDOW = 1.6
LOBE_DOUBT = 0.1
"""Relative standard uncertainty of a line's sidelobes when weaker lines are looked for beside it (common practice, no
source: real passbands leave coupled waves by some per cent of the peak there)."""

_OVERLAP = 2.7
_LOBE, _BLEND = 1.5, 6.0
"""Readings this near (in FWHM) to a line found before, or to one that is wider than the passband, belong to it."""


@dataclass(frozen=True)
class LineGroup:
    """The rows (in the order of the meter) about some lines, and how they are modelled."""

    spectrum: SpectrumPoints
    rows: NDArray[np.intp]
    y: FloatArray
    u: FloatArray
    middle_mhz: float

    def shapes(self, centres: Sequence[float], wider: float, steps: float) -> FloatArray:
        """Return the indicated passbands (n, k) of lines at ``centres``, 1 high before the meter trails."""
        s, table = self.spectrum, self.spectrum.rows_used.table
        f = table.frequency_mhz
        nm = s.axis.nominal_nm(np.asarray(centres))
        columns = [
            trailing(s.passband.shape(f, c, float(w), wider), table.lapse, steps)[self.rows]
            for c, w in zip(centres, nm, strict=True)
        ]
        return np.stack(columns, axis=1)

    def stray(self, centres: Sequence[float], heights: Sequence[float]) -> FloatArray:
        """Return what the sidelobes alone of such lines show (n,), the meter's lag left out."""
        s, table = self.spectrum, self.spectrum.rows_used.table
        lag = float(nominal_value(s.rows_used.lag.mhz))
        light = table.frequency_mhz[self.rows] - lag * table.direction[self.rows]
        places = np.asarray(centres, dtype=float)
        seen = s.passband.stray_of(light, places, s.axis.nominal_nm(places))
        return np.asarray(seen @ np.asarray(heights, dtype=float))

    @property
    def ramp(self) -> FloatArray:
        """A straight line (n,) over the group's frequencies."""
        f = self.spectrum.rows_used.table.frequency_mhz[self.rows] - self.middle_mhz
        return np.asarray(f / max(float(np.ptp(f)), 1e-9))

    def problem(self, centres: Sequence[float], heights: Sequence[float]) -> Problem:
        """Return the fit of lines that start at ``centres`` with ``heights``."""
        table, lag = self.spectrum.rows_used.table, self.spectrum.rows_used.lag
        k = len(centres)
        steps, width = lag.mhz / table.pace_mhz, self.spectrum.passband.fwhm_mhz(self.middle_mhz)
        fwhm = nominal_value(width)
        parameters = [
            *(Parameter(f"centre_{i}", c, c - fwhm, c + fwhm) for i, c in enumerate(centres)),
            *(Parameter(f"height_{i}", h) for i, h in enumerate(heights)),
            Parameter("background", 0.0), Parameter("slope", 0.0), Parameter("bend", 0.0),
            Parameter("wider", 1.0, 0.3, 3.0, prior=width / fwhm),
        ]  # fmt: skip
        trails = std_dev(steps) > 0
        if trails:
            parameters.append(Parameter("lag_steps", max(nominal_value(steps), 0.0), -0.5, np.inf, prior=steps))
        exact_steps = nominal_value(steps)
        ramp = self.ramp

        def background(values: Sequence[float]) -> FloatArray:
            return np.asarray(values[2 * k] + ramp * (values[2 * k + 1] + ramp * values[2 * k + 2]))

        def model(_: Any, *values: float) -> FloatArray:
            late = values[2 * k + 4] if trails else exact_steps
            shapes = self.shapes(values[:k], values[2 * k + 3], late)
            return np.asarray(shapes @ np.array(values[k : 2 * k]) + background(values))

        places = tuple(table.places[r] for r in self.rows)
        return Problem(model, tuple(parameters), None, self.y, self.u, None, "the readings of the lines", places)


@dataclass(frozen=True)
class KnownLine:
    """A line found before, as indicated: place and height. The sidelobes of a ``blend`` are as good as unknown."""

    centre_mhz: float
    height_mw: float
    blend: bool


def candidates(spectrum: SpectrumPoints) -> tuple[FloatArray, FloatArray]:
    """Return where (k,) in indicated MHz a passband on a bent background stands out of the noise, and its height (mW).

    The highest of each stretch that does; a parabola takes what a smooth spectrum has within the passband.
    """
    used = spectrum.rows_used
    f, y, u = used.indicated_mhz, np.array([v.n for v in used.light_mw]), used.u_noise_mw
    limit = z_limit(len(f))
    score, heights = np.zeros_like(f), np.zeros_like(f)
    for k, (centre, nm) in enumerate(zip(f, spectrum.nominal_nm, strict=True)):
        fwhm = float(spectrum.passband.nominal_fwhm_mhz(np.array([centre]))[0])
        near = np.abs(f - centre) <= _WINDOW * fwhm
        if near.sum() < 6:
            continue
        x = (f[near] - centre) / fwhm
        base = np.stack([np.ones_like(x), x, x * x], axis=1)
        line = np.column_stack([base, spectrum.passband.shape(f[near], float(centre), float(nm))])
        height, u_height = _last(line, y[near], u[near])
        if height > limit * u_height:
            score[k], heights[k] = height / u_height, height
    tops = _tops(score)
    return f[tops], heights[tops]


def _last(design: FloatArray, y: FloatArray, u: FloatArray) -> tuple[float, float]:
    """Return the last coefficient of a straight least-squares fit, and its u."""
    a, b = design / u[:, None], y / u
    inverse = np.linalg.pinv(a.T @ a)
    return float((inverse @ a.T @ b)[-1]), float(max(inverse[-1, -1], 0.0) ** 0.5)


def _tops(score: FloatArray) -> NDArray[np.intp]:
    """Return the rows where the score is highest within each stretch in which it is above zero."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], score > 0, [False]]).astype(int)))
    stretches = zip(edges[::2], edges[1::2], strict=True)
    return np.array([a + int(np.argmax(score[a:b])) for a, b in stretches], dtype=np.intp)


def grouped(spectrum: SpectrumPoints, places: FloatArray, heights: FloatArray) -> list[list[float]]:
    """Return the candidates in groups, the strongest first: each with those whose passbands overlap with its own."""
    groups: list[list[float]] = []
    free = np.ones(len(places), dtype=bool)
    for k in np.argsort(-heights, kind="stable"):
        if not free[k]:
            continue
        fwhm = float(spectrum.passband.nominal_fwhm_mhz(places[k : k + 1])[0])
        near = free & (np.abs(places - places[k]) < _OVERLAP * fwhm)
        groups.append(places[near].tolist())
        free &= ~near
    return groups


def line_group(spectrum: SpectrumPoints, seeds: list[float], known: Sequence[KnownLine]) -> LineGroup:
    """Return the readings about ``seeds``, less what the sidelobes of ``known`` lines show there."""
    used, table = spectrum.rows_used, spectrum.rows_used.table
    fwhm = float(spectrum.passband.nominal_fwhm_mhz(np.array([np.mean(seeds)]))[0])
    near = (used.indicated_mhz >= min(seeds) - 2.5 * fwhm) & (used.indicated_mhz <= max(seeds) + 2.5 * fwhm)
    for line in known:
        near &= np.abs(used.indicated_mhz - line.centre_mhz) > (_BLEND if line.blend else _LOBE) * fwhm
    position = np.flatnonzero(near)
    position = position[np.argsort(used.row[position], kind="stable")]
    rows = used.row[position]
    light = np.array([float(v.n) for v in used.light_mw])
    y, u = light[position], used.u_noise_mw[position] / table.light[rows]
    if table.u_frequency_mhz is not None:
        steepest = float(np.ptp(y)) / fwhm
        slope = np.gradient(light, used.indicated_mhz + 1e-9 * np.arange(len(light)))[position]
        u = np.hypot(u, np.minimum(np.abs(slope), steepest) * table.u_frequency_mhz[rows])
    group = LineGroup(spectrum, rows, y, u, float(np.mean(seeds)))
    for line in known:
        others = group.stray([line.centre_mhz], [line.height_mw])
        y, u = y - others, np.hypot(u, (1.0 if line.blend else LOBE_DOUBT) * others)
    return replace(group, y=y, u=u)
