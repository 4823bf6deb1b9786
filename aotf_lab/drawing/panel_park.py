"""The picture beside the park map: what leaks at each frequency, the best places, and the place that is looked at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, name_axes
from aotf_lab.drawing.panel_picture import Picture
from aotf_lab.quantities import axis_label

__all__ = ["ParkPicture"]

Floats = NDArray[np.float64]

_TOP_DB, _ROOM_DB = 12.0, 6.0


class ParkPicture(Picture):
    """A leakage map over ``frequency_mhz`` (n,) of lines at ``peaks_mhz``; ``zones`` (MHz) cannot be set."""

    def __init__(
        self, frequency_mhz: Floats, peaks_mhz: Mapping[str, float], zones: Sequence[tuple[float, float]]
    ) -> None:
        super().__init__(7.4, 4.6)
        self._grid = frequency_mhz
        self._ax = ax = self.figure.add_subplot()
        name_axes(ax, axis_label("frequency_mhz"), "Leak over full light (dB)")
        ax.set_xlim(float(frequency_mhz[0]), float(frequency_mhz[-1]))
        ax.set_ylim(0.0, _TOP_DB)
        for k, (low, high) in enumerate(zones):
            ax.axvspan(low, high, facecolor="none", edgecolor=GREY, hatch="///", linewidth=0, alpha=0.5,
                       label="cannot be set" if k == 0 else None)  # fmt: skip
        for name, peak in peaks_mhz.items():
            ax.annotate(f"line {name}", (peak, 1.5), ha="center", fontsize="small", rotation=90, va="bottom")
        self._sure = self.moving_line(ax, "--", color=GREY, linewidth=1.0, label="at the most")
        self._likely = self.moving_line(ax, "-", color=BLUE, linewidth=1.4, label="all lines, by f, 2 f and 3 f")
        self._harmonic = self.moving_line(ax, ":", color="black", linewidth=1.1, label="of that, by 2 f and 3 f")
        self._next = self.moving_line(ax, "v", color=ORANGE, markerfacecolor="white", markersize=8, label="next best")
        self._best = self.moving_line(ax, "v", color=ORANGE, markersize=10, label="best")
        self._cursor = self.moving(ax.axvline(0.0, color=ORANGE, linewidth=1.6))
        self._here = self.moving_line(ax, "o", color=ORANGE, markersize=7, label="looked at")
        ax.legend(frameon=True, framealpha=0.9, edgecolor="none", fontsize="x-small", loc="lower right")
        self.figure.subplots_adjust(left=0.095, right=0.985, bottom=0.115, top=0.97)

    def map(
        self, likely_db: Floats, harmonic_db: Floats, sure_db: Floats, places: Sequence[tuple[float, float]]
    ) -> None:
        """Take a new map (n,); ``places`` are (MHz, dB) of the best and the next best."""
        for line, values in ((self._likely, likely_db), (self._harmonic, harmonic_db), (self._sure, sure_db)):
            line.set_data(self._grid, values)
        points = np.array(places, dtype=float).T
        self._best.set_data(points[0, :1], points[1, :1])
        self._next.set_data(points[0, 1:], points[1, 1:])
        bottom = 10.0 * float(np.floor((points[1, 0] - _ROOM_DB) / 10.0))
        if bottom != self._ax.get_ylim()[0]:
            self._ax.set_ylim(bottom, _TOP_DB)
            self.redraw()

    def drawn(self, at_mhz: float, leak_db: float) -> bytes:
        """Return the picture as PNG with the place that is looked at; its leak may be not a number."""
        self._cursor.set_xdata([at_mhz, at_mhz])
        self._here.set_data([at_mhz], [leak_db])
        return self.png()
