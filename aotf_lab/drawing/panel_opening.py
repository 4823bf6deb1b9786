"""The picture beside an opening check: how far readings lie from what was kept, and what was expected of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, name_axes
from aotf_lab.drawing.panel_picture import Picture
from aotf_lab.quantities import axis_label

__all__ = ["OpeningPicture"]

Floats = NDArray[np.float64]

_SCALES_KHZ = (20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0)
_ROOM = 1.15


class OpeningPicture(Picture):
    """Gaps from the kept curve over ``drive_v`` (n,), and from the kept peak of each of ``lines``.

    ``band_khz`` (n,) and ``peak_band_khz`` (by line) are half of the 95 % range of a new reading where nothing moved.
    """

    def __init__(self, drive_v: Floats, lines: Sequence[str]) -> None:
        super().__init__(7.4, 4.4)
        self._drive_v, self._lines = drive_v, list(lines)
        shape = {"width_ratios": [3.2, max(1.0, 0.25 * len(self._lines))], "wspace": 0.3}
        left, right = self.figure.subplots(1, 2, gridspec_kw=shape)
        self._axes: tuple[Axes, Axes] = (left, right)
        name_axes(left, axis_label("drive_v"), "Reading less kept curve (kHz)").set_title(
            "Oscillator", fontsize="medium"
        )
        name_axes(right, "Line", "Peak less kept peak (kHz)").set_title("Crystal", fontsize="medium")
        left.set_xlim(drive_v[0], drive_v[-1])
        right.set_xticks(range(len(self._lines)), self._lines)
        right.set_xlim(-0.6, max(len(self._lines), 1) - 0.4)
        for ax in self._axes:
            ax.axhline(0.0, color=GREY, linewidth=0.9)
        self._edges = [self.moving_line(left, "--", color=GREY, linewidth=1.2) for _ in range(2)]
        self._now = self.moving_line(left, "-", color=BLUE, linewidth=1.8)
        self._now_edges = [self.moving_line(left, ":", color=BLUE, linewidth=1.4) for _ in range(2)]
        self._read = self.moving_line(left, "o", color=ORANGE, markersize=8)
        self._bars = [self.moving_line(right, "_", color=GREY, markersize=16, markeredgewidth=1.6) for _ in range(2)]
        self._peaks = self.moving_line(right, "o", color=ORANGE, markersize=8)
        left.plot([], [], "--", color=GREY, linewidth=1.2, label="95 % for a reading if nothing moved")
        left.plot([], [], "o", color=ORANGE, label="read today")
        left.plot([], [], "-", color=BLUE, linewidth=1.8, label="renewed curve (dotted: 95 %)")
        left.legend(frameon=True, framealpha=0.9, edgecolor="none", fontsize="small", loc="lower right")
        self.figure.subplots_adjust(left=0.125, right=0.985, bottom=0.125, top=0.92)
        self._scale = [0.0, 0.0]

    def drawn(
        self,
        band_khz: Floats,
        read: tuple[Floats, Floats],
        renewed: tuple[Floats, Floats] | None,
        peak_band_khz: Mapping[str, float],
        peaks_khz: Mapping[str, float],
    ) -> bytes:
        """Return the picture as PNG.

        ``read`` are volts and gaps (k,), ``renewed`` the renewed curve less the kept one and half of its 95 % band
        (n,), None where nothing was renewed; ``peaks_khz`` the gap of each peak that was read.
        """
        middle, half = (np.full(len(self._drive_v), np.nan),) * 2 if renewed is None else renewed
        self._now.set_data(self._drive_v, middle)
        self._read.set_data(*read)
        for sign, edge, now_edge, bar in zip((-1.0, 1.0), self._edges, self._now_edges, self._bars, strict=True):
            edge.set_data(self._drive_v, sign * band_khz)
            now_edge.set_data(self._drive_v, middle + sign * half)
            bar.set_data(range(len(self._lines)), [sign * peak_band_khz.get(n, np.nan) for n in self._lines])
        self._peaks.set_data([self._lines.index(n) for n in peaks_khz], list(peaks_khz.values()))
        self._fit(0, float(np.nanmax(np.abs(np.concatenate([band_khz, read[1], middle])))))
        self._fit(1, max((abs(v) for v in (*peak_band_khz.values(), *peaks_khz.values())), default=0.0))
        return self.png()

    def _fit(self, which: int, most_khz: float) -> None:
        """Show the least scale that holds ``most_khz``; the still parts are drawn anew only where it changes."""
        wanted = next((s for s in _SCALES_KHZ if s >= _ROOM * most_khz), _ROOM * most_khz)
        if wanted != self._scale[which]:
            self._scale[which] = wanted
            self._axes[which].set_ylim(-wanted, wanted)
            self.redraw()
