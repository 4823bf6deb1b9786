"""The picture beside the oscillator's controls: all passbands, those near the setting, and the light of each line."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, name_axes
from aotf_lab.drawing.panel_picture import Picture, line_styles, place_span
from aotf_lab.quantities import axis_label

__all__ = ["TunePicture"]

Floats = NDArray[np.float64]

_NEAR_MHZ = 0.8
_POINTS = 3000
_LEAST = 1e-4
_ORDERS = (("by f", BLUE), ("by 2 f", ORANGE), ("by 3 f", GREY))


class TunePicture(Picture):
    """Light against frequency for lines at ``peaks_mhz`` over ``band_mhz``; ``drawn`` returns it at one setting.

    Curves are asked for on ``grid_mhz`` (n,), and near the setting at ``near_mhz`` (m,) from it.
    """

    def __init__(self, peaks_mhz: Mapping[str, float], band_mhz: tuple[float, float]) -> None:
        super().__init__(7.4, 5.2)
        self.grid_mhz = np.unique(np.concatenate([np.linspace(*band_mhz, _POINTS), [*peaks_mhz.values()]]))
        self.grid_mhz = self.grid_mhz[(self.grid_mhz >= band_mhz[0]) & (self.grid_mhz <= band_mhz[1])]
        self.near_mhz = np.linspace(-_NEAR_MHZ, _NEAR_MHZ, 161)
        self._names = list(peaks_mhz)
        self._above(peaks_mhz, band_mhz)
        self._close()
        self._bars()
        self.figure.subplots_adjust(left=0.085, right=0.985, bottom=0.1, top=0.93, hspace=0.42, wspace=0.24)

    def _above(self, peaks_mhz: Mapping[str, float], band_mhz: tuple[float, float]) -> None:
        ax = self.figure.add_subplot(2, 1, 1)
        name_axes(ax, axis_label("frequency_mhz"), "Light η")
        ax.set_xlim(*band_mhz)
        ax.set_ylim(0, 1.05)
        for name, peak in peaks_mhz.items():
            ax.annotate(name, (peak, 1.05), xytext=(0, 3), textcoords="offset points", ha="center", fontsize="small")
        self._all = {n: self.moving_line(ax, color=BLUE, linewidth=0.9) for n in self._names}
        self._marks = [
            self.moving(ax.axvline(0.0, color=ink, linewidth=2.0 if k == 0 else 1.2, linestyle=style))
            for k, (ink, style) in enumerate(((ORANGE, "-"), (ORANGE, "--"), (GREY, ":")))
        ]
        for k, (label, style, ink) in enumerate((("f", "-", ORANGE), ("2 f", "--", ORANGE), ("3 f", ":", GREY))):
            ax.plot([], [], style, color=ink, label=label, linewidth=2.0 if k == 0 else 1.2)
        ax.legend(frameon=True, framealpha=0.9, edgecolor="none", fontsize="small", loc="upper left", ncols=3)

    def _close(self) -> None:
        ax = self.figure.add_subplot(2, 2, 3)
        name_axes(ax, "From the setting (MHz)", "Light η")
        ax.set_xlim(-_NEAR_MHZ, _NEAR_MHZ)
        ax.set_ylim(0, 1.05)
        ax.axvline(0.0, color=ORANGE, linewidth=2.0)
        self._doubt = self.moving_span(ax, color=ORANGE, alpha=0.35)
        styles = line_styles(self._names)
        self._curves = {
            n: self.moving_line(ax, style, color=ink, linewidth=1.6)
            for n, (style, ink) in zip(self._names, styles, strict=True)
        }
        self._labels = {n: self.moving(ax.text(0.0, 0.0, n, fontsize="small", clip_on=True)) for n in self._names}

    def _bars(self) -> None:
        ax = self.figure.add_subplot(2, 2, 4)
        name_axes(ax, "Line", "Light η")
        ax.set_yscale("log")
        ax.set_ylim(_LEAST, 10.0)
        places = np.arange(len(self._names))
        ax.set_xticks(places, self._names)
        ax.set_xlim(-0.6, len(self._names) - 0.4)
        self._towers = []
        for k, (label, ink) in enumerate(_ORDERS):
            bars = ax.bar(places + 0.27 * (k - 1), 1.0, 0.25, bottom=_LEAST, color=ink, label=label)
            self._towers.append([self.moving(bar) for bar in bars])
        ax.legend(frameon=True, framealpha=0.9, edgecolor="none", fontsize="x-small", loc="upper right", ncols=3)

    def drawn(
        self,
        curves: Mapping[str, Floats],
        close: Mapping[str, Floats],
        bars: Mapping[str, Floats],
        frequency_mhz: float,
        u_mhz: float,
    ) -> bytes:
        """Return the picture as PNG.

        ``curves`` (n,) and ``close`` (m,) are the light of each line on the two grids, ``bars`` (orders,) its light at
        the setting, empty where that is not known; ``u_mhz`` is the standard uncertainty of the frequency.
        """
        for order, mark in enumerate(self._marks, start=1):
            mark.set_xdata([order * frequency_mhz] * 2)
        place_span(self._doubt, -2 * u_mhz, 2 * u_mhz)
        for k, name in enumerate(self._names):
            self._all[name].set_data(self.grid_mhz, curves[name])
            self._curves[name].set_data(self.near_mhz, close[name])
            top = int(np.argmax(np.nan_to_num(close[name])))
            there = float(np.nan_to_num(close[name])[top])
            self._labels[name].set_position((self.near_mhz[top] + 0.02, there + 0.02))
            self._labels[name].set_visible(there > 0.1)
            light = bars.get(name, np.zeros(len(_ORDERS)))
            for order, tower in enumerate(self._towers):
                size = float(light[order]) if order < len(light) else 0.0
                tower[k].set_height(max(size - _LEAST, 0.0))
        return self.png()
