"""The picture beside an assignment: peaks at the lines they are said to be, and how far the others put each."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, name_axes
from aotf_lab.drawing.panel_picture import Picture
from aotf_lab.quantities import axis_label

__all__ = ["AssignmentPicture"]

Floats = NDArray[np.float64]

_CUT = 12.0


class AssignmentPicture(Picture):
    """Peaks ``names`` at ``frequency_mhz`` (n,) over the lines at ``lines_nm``; gaps beyond ``limit`` are too wide."""

    def __init__(self, names: Sequence[str], frequency_mhz: Floats, lines_nm: Sequence[float], limit: float) -> None:
        super().__init__(7.4, 5.2)
        self._mhz = frequency_mhz
        above, below = self.figure.subplots(2, 1, gridspec_kw={"height_ratios": (1.6, 1.0)})
        name_axes(above, axis_label("wavelength_nm"), axis_label("frequency_mhz"))
        room = 0.06 * (max(lines_nm) - min(lines_nm))
        above.set_xlim(min(lines_nm) - room, max(lines_nm) + room)
        span = float(np.ptp(frequency_mhz)) or 1.0
        above.set_ylim(float(frequency_mhz.min()) - 0.1 * span, float(frequency_mhz.max()) + 0.1 * span)
        for k, nm in enumerate(lines_nm):
            above.axvline(nm, color="0.75", linewidth=0.8, label="lines to choose from" if k == 0 else None)
        for mhz in frequency_mhz:
            above.axhline(float(mhz), color="0.9", linewidth=0.6)
        self._curve = self.moving_line(above, "-", color=BLUE, linewidth=1.4, label="curve through the assigned")
        self._found = self.moving_line(above, "x", color="black", markersize=8, label="where the others put it")
        self._points = self.moving_line(above, "o", color=ORANGE, markersize=7, label="peak at its line")
        above.legend(frameon=True, framealpha=0.9, edgecolor="none", fontsize="small")
        name_axes(below, "Peak", "Gap to the others (u)")
        places = np.arange(len(names))
        below.set_xticks(places, list(names))
        below.set_xlim(-0.6, len(names) - 0.4)
        below.set_ylim(-_CUT, _CUT)
        for sign in (-1, 1):
            below.axhline(sign * limit, color="black", linewidth=1.2, linestyle="--")
        below.axhline(0.0, color=GREY, linewidth=0.8)
        self._bars = [self.moving(bar) for bar in below.bar(places, 1.0, 0.5, color=BLUE)]
        self._limit = limit
        self.figure.subplots_adjust(left=0.095, right=0.985, bottom=0.1, top=0.98, hspace=0.32)

    def drawn(self, assigned_nm: Floats, found_nm: Floats, z: Floats, curve: tuple[Floats, Floats]) -> bytes:
        """Return the picture as PNG: nm (n,) assigned and found by the others, gaps in u, all nan where there is none.

        ``curve`` is (nm, MHz), empty where there is none. A gap beyond the axis ends at its edge.
        """
        self._points.set_data(assigned_nm, self._mhz)
        self._found.set_data(found_nm, self._mhz)
        self._curve.set_data(*curve)
        for bar, size in zip(self._bars, np.clip(np.nan_to_num(z), -_CUT, _CUT).tolist(), strict=True):
            bar.set_height(size)
            bar.set_facecolor(ORANGE if abs(size) > self._limit else BLUE)
        return self.png()
