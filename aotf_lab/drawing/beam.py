"""The plot of a knife edge: arrays and an Axes in, the Axes out."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes
from aotf_lab.quantities import axis_label

__all__ = ["plot_knife_edge"]

Floats = NDArray[np.float64]


def plot_knife_edge(
    readings: Mapping[str, tuple[Floats, Floats, Floats]],
    fitted: Mapping[str, tuple[Floats, Floats]],
    centre_mm: float,
    diameter_mm: float,
    ax: Axes | None = None,
) -> Axes:
    """Draw ``readings`` (position mm, power mW, u), ``fitted`` curves (mm, mW) of each way, and the diameter."""
    ax = axes_or_new(ax)
    for (way, (x, y, u)), face in zip(readings.items(), (ORANGE, "white", GREY), strict=False):
        label = f"readings, {way}" if way else "readings"
        ax.errorbar(x, y, yerr=u, fmt="o", color=ORANGE, markerfacecolor=face, markersize=4.5, linewidth=1, label=label)
    for (way, (x, y)), style in zip(fitted.items(), ("-", "--"), strict=False):
        ax.plot(x, y, style, color=BLUE, linewidth=1.5, label=f"fit, {way}" if way else "fit")
    low, high = centre_mm - diameter_mm / 2, centre_mm + diameter_mm / 2
    ax.axvspan(low, high, color=GREY, alpha=0.12, linewidth=0, label=f"1/e² diameter {diameter_mm:.3g} mm")
    ax.axvline(centre_mm, color=GREY, linewidth=0.9, linestyle="-.")
    return legend_above(name_axes(ax, axis_label("position_mm"), axis_label("optical_power_mw")))
