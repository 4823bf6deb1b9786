"""The picture beside a fit that is looked into: readings and curve above, what leaving out moves below."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, name_axes
from aotf_lab.drawing.panel_picture import Picture
from aotf_lab.quantities import axis_label

__all__ = ["InspectorPicture"]

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

_ROOM = 1.25


class InspectorPicture(Picture):
    """Readings (n,) over the curve of all of them (m,); below, all less that curve, ``per_unit`` times in ``unit``.

    ``half_band`` (m,) is half of the 95 % band of the curve with every reading, ``residual`` (n,) the readings less
    what that curve expects of them.
    """

    def __init__(
        self,
        columns: tuple[str, str],
        readings: tuple[Floats, Floats],
        grid: Floats,
        curve: tuple[Floats, Floats],
        residual: Floats,
        unit: str,
        per_unit: float,
    ) -> None:
        super().__init__(7.4, 5.4)
        self._x, self._grid, self._per_unit, self._residual = readings[0], grid, per_unit, residual
        above, below = self.figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": (1.0, 1.25)})
        name_axes(above, "", axis_label(columns[1]))
        above.plot(grid, curve[0], "-", color=BLUE, linewidth=1.4, label="fit of all")
        above.plot(*readings, "o", color=ORANGE, markersize=3.5, label="readings")
        self._crosses = self.moving_line(above, "x", color="black", markersize=9, markeredgewidth=2, label="left out")
        self._ring = self.moving_line(above, "o", color="black", markersize=12, markerfacecolor="none", label="chosen")
        above.legend(frameon=True, framealpha=0.9, edgecolor="none", fontsize="small", ncols=2)
        name_axes(below, axis_label(columns[0]), f"Less the fit of all ({unit})")
        self._below: Axes = below
        shade = below.fill_between(grid, -per_unit * curve[1], per_unit * curve[1], color=GREY, alpha=0.3, linewidth=0)
        shade.set_label("95 % band, all readings")
        below.axhline(0.0, color=GREY, linewidth=0.8)
        below.plot(readings[0], per_unit * residual, "o", color=ORANGE, markersize=3.5)
        self._edges = [self.moving_line(below, "--", color=BLUE, linewidth=1.2) for _ in range(2)]
        below.plot([], [], "--", color=BLUE, linewidth=1.2, label="95 % band without")
        self._moved = self.moving_line(below, "-", color=BLUE, linewidth=1.8, label="fit without")
        self._crosses_below = self.moving_line(below, "x", color="black", markersize=9, markeredgewidth=2)
        self._ring_below = self.moving_line(below, "o", color="black", markersize=12, markerfacecolor="none")
        below.legend(frameon=True, framealpha=0.9, edgecolor="none", fontsize="small", ncols=3, loc="upper center")
        self.figure.subplots_adjust(left=0.115, right=0.985, bottom=0.095, top=0.98, hspace=0.08)
        self._points, self._limit = readings[1], 0.0

    def drawn(self, moved: Floats, half_band: Floats, left_out: Mask, chosen: int) -> bytes:
        """Return the picture as PNG: how far the curve ``moved`` (m,) and the half band without, in units of y.

        ``left_out`` (n,) says which readings are out, ``chosen`` which one is looked at.
        """
        scale = self._per_unit
        self._moved.set_data(self._grid, scale * moved)
        for edge, sign in zip(self._edges, (-1.0, 1.0), strict=True):
            edge.set_data(self._grid, scale * (moved + sign * half_band))
        self._crosses.set_data(self._x[left_out], self._points[left_out])
        self._crosses_below.set_data(self._x[left_out], scale * self._residual[left_out])
        self._ring.set_data([self._x[chosen]], [self._points[chosen]])
        self._ring_below.set_data([self._x[chosen]], [scale * self._residual[chosen]])
        shown = [*np.abs(scale * self._residual), *np.abs(scale * moved), *np.abs(scale * half_band)]
        self._widen(float(np.nanmax(np.where(np.isfinite(shown), shown, 0.0))))
        return self.png()

    def _widen(self, size: float) -> None:
        """Let the lower axes hold ``size``; they never shrink, so that what moves is seen to move."""
        if size > self._limit:
            self._limit = size
            self._below.set_ylim(-_ROOM * size, 1.5 * size)
            self.redraw()
