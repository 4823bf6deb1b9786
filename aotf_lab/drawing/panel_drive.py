"""The picture beside the drive: the efficiency of every line, the drive as a cursor, and the limit as a wall."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from aotf_lab.drawing.figures import GREY, ORANGE, name_axes
from aotf_lab.drawing.one_drive import name_ends
from aotf_lab.drawing.panel_picture import Picture, line_styles
from aotf_lab.quantities import axis_label

__all__ = ["DrivePicture"]

Floats = NDArray[np.float64]


class DrivePicture(Picture):
    """Efficiency of lines against a drive; ``column`` names its quantity, ``wall`` is the most that is safe.

    ``curves`` map a line to its efficiency (n,) on the grid ``drive`` (n,) and to where that goes further than was
    measured, which is drawn dotted.
    """

    def __init__(
        self, column: str, drive: Floats, curves: Mapping[str, tuple[Floats, NDArray[np.bool_]]], wall: float
    ) -> None:
        super().__init__(7.4, 4.4)
        ax = self.figure.add_subplot()
        name_axes(ax, axis_label(column), axis_label("efficiency"))
        names = list(curves)
        for (light, beyond), (style, ink) in zip(curves.values(), line_styles(names), strict=True):
            ax.plot(drive, np.where(beyond, np.nan, light), style, color=ink, linewidth=1.5)
            ax.plot(drive, np.where(beyond, light, np.nan), ":", color=ink, linewidth=1.1)
        name_ends(ax, float(drive[-1]), np.array([light[-1] for light, _ in curves.values()]), names)
        ax.plot([], [], ":", color=GREY, label="by the law: no drive went so far")
        right = wall + 0.07 * (wall - float(drive[0]))
        ax.axvline(wall, color="black", linewidth=3, label=f"no further than {wall:.3g}")
        ax.axvspan(wall, right, facecolor="0.8", edgecolor=GREY, hatch="///", linewidth=0)
        ax.set_xlim(float(drive[0]), right)
        ax.set_ylim(0.0, 1.12)
        self._cursor = self.moving(ax.axvline(0.0, color=ORANGE, linewidth=2.0))
        self._bars = self.moving_line(ax, "-", color=ORANGE, linewidth=3.0, solid_capstyle="butt")
        self._points = self.moving_line(ax, "o", color=ORANGE, markersize=6)
        ax.legend(frameon=True, framealpha=0.9, edgecolor="none", fontsize="small", loc="lower right")
        self.figure.subplots_adjust(left=0.085, right=0.985, bottom=0.12, top=0.97)

    def drawn(self, at: float, efficiency: Floats, u: Floats) -> bytes:
        """Return the picture as PNG with the drive ``at``, and the lines' ``efficiency`` (n,) with its u there."""
        self._cursor.set_xdata([at, at])
        self._points.set_data(np.full(len(efficiency), at), efficiency)
        ends = np.stack([efficiency - 2 * u, efficiency + 2 * u, np.full(len(u), np.nan)], axis=1).ravel()
        self._bars.set_data(np.full(len(ends), at), ends)
        return self.png()
