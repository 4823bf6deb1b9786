"""The picture beside a line that one might buy: where it would lie among the others, and what they would do to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, name_axes
from aotf_lab.drawing.panel_picture import Picture, place_span
from aotf_lab.quantities import axis_label

__all__ = ["NewLinePicture"]

Floats = NDArray[np.float64]

_LEAST_DB, _TOP_DB = -50.0, 15.0


class NewLinePicture(Picture):
    """A tuning curve (n,) with its ``lines`` (name -> nm, MHz), and bars for the crosstalk with each of ``others``.

    ``reach_mhz`` is what can be set; outside it the curve is hatched.
    """

    def __init__(
        self,
        wavelength_nm: Floats,
        frequency_mhz: Floats,
        lines: Mapping[str, tuple[float, float]],
        others: Sequence[str],
        reach_mhz: tuple[float, float],
    ) -> None:
        super().__init__(7.4, 5.0)
        ax = self.figure.add_subplot(2, 1, 1)
        name_axes(ax, axis_label("wavelength_nm"), axis_label("frequency_mhz"))
        ax.plot(wavelength_nm, frequency_mhz, "-", color=BLUE, linewidth=1.6)
        for name, (nm, mhz) in lines.items():
            ax.plot([nm], [mhz], "s", color=GREY, markersize=5)
            ax.annotate(name, (nm, mhz), xytext=(5, 4), textcoords="offset points", fontsize="small")
        ax.set_xlim(float(wavelength_nm[0]), float(wavelength_nm[-1]))
        low, high = float(frequency_mhz.min()), float(frequency_mhz.max())
        ax.set_ylim(low, high)
        label: str | None = "cannot be set"
        for edges in ((low, reach_mhz[0]), (reach_mhz[1], high)):
            if edges[1] > edges[0]:
                ax.axhspan(*edges, facecolor="none", edgecolor=GREY, hatch="///", linewidth=0, alpha=0.5, label=label)
                label = None
        self._doubt = self.moving_span(ax, color=ORANGE, alpha=0.35)
        self._new = self.moving_line(ax, "o", color=ORANGE, markersize=9, label="new line")
        ax.legend(frameon=True, framealpha=0.9, edgecolor="none", fontsize="small", loc="upper right")
        below = self.figure.add_subplot(2, 1, 2)
        name_axes(below, "Line of the bench", "Crosstalk (dB)")
        places = np.arange(len(others))
        below.set_xticks(places, list(others))
        below.set_xlim(-0.6, len(others) - 0.4)
        below.set_ylim(_LEAST_DB, _TOP_DB)
        self._bars = []
        for k, (ink, words) in enumerate(
            ((BLUE, "its light, set to the new line"), (ORANGE, "new line's light, set to it"))
        ):
            bars = below.bar(places + 0.36 * (k - 0.5), 1.0, 0.34, bottom=_LEAST_DB, color=ink, label=words)
            self._bars.append([self.moving(bar) for bar in bars])
        below.legend(frameon=True, framealpha=0.9, edgecolor="none", fontsize="small", loc="upper right", ncols=2)
        self.figure.subplots_adjust(left=0.095, right=0.985, bottom=0.105, top=0.98, hspace=0.36)

    def drawn(
        self, nm: float, u_nm: float, mhz: float, on_new_db: Sequence[float], on_others_db: Sequence[float]
    ) -> bytes:
        """Return the picture as PNG: the new line with its u, and the levels (dB) with each of the others."""
        place_span(self._doubt, nm - 2 * u_nm, nm + 2 * u_nm)
        self._new.set_data([nm], [mhz])
        for bars, levels in zip(self._bars, (on_new_db, on_others_db), strict=True):
            for bar, level in zip(bars, levels, strict=True):
                bar.set_height(max(level - _LEAST_DB, 0.0))
        return self.png()
