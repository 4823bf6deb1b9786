"""The picture beside a log that grows: the readings so far, the law through them, and how long to wait."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, name_axes
from aotf_lab.drawing.panel_picture import Picture, place_span
from aotf_lab.quantities import axis_label

__all__ = ["WarmUpPicture"]

Floats = NDArray[np.float64]

_GROWTH = 1.5


class WarmUpPicture(Picture):
    """Frequency against time, over axes that grow with the log."""

    def __init__(self) -> None:
        super().__init__(7.4, 4.4)
        self._ax = ax = self.figure.add_subplot()
        name_axes(ax, "Time (min)", axis_label("frequency_mhz"))
        ax.ticklabel_format(useOffset=False)
        self._readings = self.moving_line(ax, ".", color=ORANGE, markersize=3, label="readings at the mean temperature")
        self._room = self.moving_span(ax, color=GREY, alpha=0.2, label="wait until here")
        self._edges = [self.moving_line(ax, "--", color=BLUE, linewidth=1.0) for _ in range(2)]
        self._law = self.moving_line(ax, "-", color=BLUE, linewidth=1.8, label="law")
        self._settled = self.moving_line(ax, ":", color="black", linewidth=1.4, label="settled")
        ax.plot([], [], "--", color=BLUE, linewidth=1.0, label="95 % band of the law")
        ax.legend(frameon=True, framealpha=0.9, edgecolor="none", fontsize="small", loc="upper right")
        self.figure.subplots_adjust(left=0.125, right=0.985, bottom=0.12, top=0.97)
        self._most_min, self._span = 0.0, (np.inf, -np.inf)

    def drawn(
        self,
        read: tuple[Floats, Floats],
        law: tuple[Floats, Floats, Floats] | None,
        settled_mhz: float | None,
        wait_s: float | None,
    ) -> bytes:
        """Return the picture as PNG; times in s, frequencies in MHz. ``law`` is (times, curve, half of its 95 % band).

        ``wait_s`` None where it cannot be promised: then no time is shaded.
        """
        minutes = read[0] / 60.0
        self._readings.set_data(minutes, read[1])
        t, centre, half = (np.empty(0),) * 3 if law is None else law
        self._law.set_data(t / 60.0, centre)
        for edge, sign in zip(self._edges, (-1.0, 1.0), strict=True):
            edge.set_data(t / 60.0, centre + sign * half)
        self._grow(float(minutes.max(initial=0.0)), np.concatenate([read[1], centre]))
        self._settled.set_data([0.0, self._most_min], [np.nan if settled_mhz is None else settled_mhz] * 2)
        place_span(self._room, 0.0, 0.0 if wait_s is None else wait_s / 60.0)
        return self.png()

    def _grow(self, minutes: float, shown_mhz: Floats) -> None:
        low, high = float(np.min(shown_mhz)), float(np.max(shown_mhz))
        if minutes > self._most_min or low < self._span[0] or high > self._span[1]:
            self._most_min = max(self._most_min, _GROWTH * minutes)
            room = max(0.15 * (high - low), 1e-3)
            self._span = (min(self._span[0], low - room), max(self._span[1], high + room))
            self._ax.set_xlim(0.0, self._most_min)
            self._ax.set_ylim(*self._span)
            self.redraw()
