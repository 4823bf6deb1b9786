"""Look into a fit: leave a point out, say why, and see what that moves. The raw file stays as it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.drawing.panel_inspector import InspectorPicture
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.planning.set_point import shown
from aotf_lab.session import Session
from aotf_lab.widgets.controls import button, choice, text
from aotf_lab.widgets.inspected import Inspected, inspected_fits
from aotf_lab.widgets.panel import Panel

__all__ = ["FitPanel", "FitState", "Moved", "fit_state", "with_left_out"]

_POINTS = 240


@dataclass(frozen=True)
class Moved:
    """A number of a fit with every reading (``before``) and without those left out; ``after`` None where it is gone."""

    name: str
    before: UFloat
    after: UFloat | None
    unit: str

    @property
    def words(self) -> str:
        """Before, after, and how far it moved in standard uncertainties of before."""
        unit = f" {self.unit}" if self.unit else ""
        if self.after is None:
            return f"{shown(self.before)}{unit}; without: out of reach"
        if self.after.n == self.before.n and self.after.s == self.before.s:
            return f"{shown(self.before)}{unit}"
        steps = (self.after.n - self.before.n) / self.before.s if self.before.s > 0 else 0.0
        return f"{shown(self.before)} -> {shown(self.after)}{unit}, moved by {steps:+.1f} u"


@dataclass(frozen=True)
class FitState:
    """A fit with every reading and ``without`` those left out; made by ``fit_state``.

    ``left_out`` maps rows to reasons. ``gap`` (n,) is each reading less what the fit without the left-out ones expects
    of it, ``u_gap`` its u: of a reading left out, what the others say. ``moved`` and ``half_band`` (m,) are the curve's
    shift and half its 95 % band at ``grid``. ``whole`` and ``without`` are the results themselves.
    """

    fit: Inspected = field(repr=False)
    left_out: Mapping[int, str]
    chosen: int
    whole: Any = field(repr=False)
    without: Any = field(repr=False)
    gap: FloatArray = field(repr=False)
    u_gap: FloatArray = field(repr=False)
    grid: FloatArray = field(repr=False)
    moved: FloatArray = field(repr=False)
    half_band: FloatArray = field(repr=False)
    numbers: tuple[Moved, ...]

    @property
    def title(self) -> str:
        """The fit, and how many readings are left out."""
        return f"Fit of the {self.fit.name}: {len(self.fit.y)} readings, {len(self.left_out)} left out"

    @property
    def worst(self) -> int:
        """The reading that lies furthest from the fit, in its u, among those that are in."""
        z = np.abs(self.gap / self.u_gap)
        z[list(self.left_out)] = -1.0
        return int(np.nanargmax(np.where(np.isfinite(z), z, -1.0)))

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit): the chosen reading, what moved, what is left out."""
        before, after = self.fit.fit(self.whole), self.fit.fit(self.without)
        k, unit, scale = self.chosen, self.fit.unit, self.fit.per_unit
        gap = f"{scale * self.gap[k]:+.3g} {unit} from the fit, {self.gap[k] / self.u_gap[k]:+.1f} u"
        rows = [
            ("chosen", f"{self.fit.words(k)}: {gap}"),
            ("chi2/dof", f"{before.chi2:.1f}/{max(before.dof, 0.0):.3g} -> {after.chi2:.1f}/{max(after.dof, 0.0):.3g}"),
            ("checks failed", f"{_names(before.failed)} -> {_names(after.failed)}"),
        ]
        rows += [(m.name, m.words) for m in self.numbers]
        return (*rows, *(("left out", words) for words in self.account))

    @property
    def account(self) -> tuple[str, ...]:
        """What was left out and why, for the lab book."""
        where = [self.fit.words(k) for k in self.left_out]
        gaps = [f"{self.gap[k] / self.u_gap[k]:+.1f} u from the others" for k in self.left_out]
        return tuple(f"{w}: {why} ({g})" for w, why, g in zip(where, self.left_out.values(), gaps, strict=True))

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the fit without still complains of."""
        out = (
            ("the raw file is not changed: what is left out here counts for this panel only",) if self.left_out else ()
        )
        return (*out, *(str(c) for c in self.fit.fit(self.without).failed))

    @property
    def picture_words(self) -> str:
        """The picture in a sentence."""
        size = float(np.nanmax(np.abs(self.moved))) * self.fit.per_unit
        return (
            f"Above, {len(self.fit.y)} readings and their fit; below, readings, band and the fit without the "
            f"{len(self.left_out)} left out, less the fit of all: it moves by up to {size:.3g} {self.fit.unit}."
        )


def _names(checks: tuple[Any, ...]) -> str:
    return ", ".join(c.name for c in checks) or "none"


def with_left_out(fit: Inspected, left_out: Mapping[int, str], row: int, reason: str) -> dict[int, str]:
    """Return ``left_out`` with one more row; raises ``AotfLabError`` without a reason, or for no such row."""
    if not 0 <= row < len(fit.y):
        raise AotfLabError(
            "no such reading", found=row, allowed=f"0 to {len(fit.y) - 1}", cure="choose one of the list"
        )
    if not reason.strip():
        raise AotfLabError(
            "a reading is not left out without a reason", where=fit.words(row), found=Said("none"),
            allowed="what happened at the bench, in a few words", cure="type the reason, then leave it out",
        )  # fmt: skip
    return {**left_out, row: reason.strip()}


def fit_state(fit: Inspected, left_out: Mapping[int, str], chosen: int = 0) -> FitState:
    """Return ``fit`` with every reading and without the rows of ``left_out``.

    Raises as the fit does where the rest cannot carry it.
    """
    whole = fit.whole
    rest = fit.rest(left_out)
    grid = np.linspace(float(fit.x.min()), float(fit.x.max()), _POINTS)
    curve, (after, u_after) = fit.curve(whole, grid)[0], fit.curve(rest, grid)
    expected, u = fit.expected(rest)
    numbers, later = fit.numbers(whole), fit.numbers(rest)
    found = tuple(Moved(n, v, later[n][0] if n in later else None, unit) for n, (v, unit) in numbers.items())
    half = fit.fit(rest).coverage_factor() * u_after
    return FitState(fit, dict(left_out), chosen, whole, rest, fit.y - expected, u, grid, after - curve, half, found)


class FitPanel(Panel[FitState]):
    """Choose a fit and a reading of it; leave it out with a reason, or put it back, and watch numbers and band.

    ``left_out`` holds rows and reasons by fit; ``now.without`` is the result to go on with in the notebook.
    """

    heading = "Look into a fit"

    def __init__(self, session: Session) -> None:
        """Open on the first fit of ``session``."""
        self.fits = inspected_fits(session)
        if not self.fits:
            raise AotfLabError("no fit to look into", found=Said("neither oscillator, tuning curve nor scans"),
                               allowed="one of them", cure="measure one of them")  # fmt: skip
        self.left_out: dict[str, dict[int, str]] = {name: {} for name in self.fits}
        self._pictures: dict[str, InspectorPicture] = {}
        self.name = choice("Fit", list(self.fits))
        self.point = choice("Reading", self._points(self.fits[self.name.value]))
        self.to_worst = button("Go to the reading furthest out")
        self.reason = text("Reason", "what happened at the bench")
        self.leave_out, self.put_back = button("Leave it out"), button("Put it back")
        super().__init__([[self.name, self.point, self.to_worst], [self.reason, self.leave_out, self.put_back]])
        self.watch(self.name, first=self._other_fit)
        self.watch(self.point)
        self.on_press(self.to_worst, self._to_worst)
        self.on_press(self.leave_out, self._leave_out)
        self.on_press(self.put_back, self._put_back)
        self.refresh()

    @staticmethod
    def _points(fit: Inspected) -> list[tuple[str, int]]:
        return [(f"{fit.words(k)}: {x:.6g}, {y:.6g}", k)
                for k, (x, y) in enumerate(zip(fit.x.tolist(), fit.y.tolist(), strict=True))]  # fmt: skip

    def _other_fit(self) -> None:
        self.point.options = self._points(self.fits[self.name.value])
        self.point.index = 0
        self.reason.value = ""

    def _to_worst(self) -> None:
        fit = self.fits[self.name.value]
        self.point.value = fit_state(fit, self.left_out[fit.name]).worst

    def _leave_out(self) -> None:
        fit = self.fits[self.name.value]
        more = with_left_out(fit, self.left_out[fit.name], self.point.value, self.reason.value)
        fit.rest(more)  # raises where the rest cannot carry the fit: then nothing is left out
        self.left_out[fit.name] = more
        self.reason.value = ""

    def _put_back(self) -> None:
        self.left_out[self.name.value].pop(self.point.value, None)

    def state(self) -> FitState:
        """Return the fit chosen, with and without the readings left out of it."""
        fit = self.fits[self.name.value]
        return fit_state(fit, self.left_out[fit.name], self.point.value)

    def draw(self, state: FitState | None) -> bytes | None:
        """Return the picture."""
        if state is None:
            return None
        fit = state.fit
        if fit.name not in self._pictures:
            curve, u = fit.curve(state.whole, state.grid)
            half = fit.fit(state.whole).coverage_factor() * u
            residual = fit.y - fit.expected(state.whole)[0]
            self._pictures[fit.name] = InspectorPicture(
                (fit.x_column, fit.y_column),
                (fit.x, fit.y),
                state.grid,
                (curve, half),
                residual,
                fit.unit,
                fit.per_unit,
            )
        out: NDArray[np.bool_] = np.isin(np.arange(len(fit.y)), list(state.left_out))
        return self._pictures[fit.name].drawn(state.moved, state.half_band, out, state.chosen)
