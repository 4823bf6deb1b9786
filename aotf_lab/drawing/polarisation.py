"""The plot of light behind an analyser: arrays and an Axes in, the Axes out."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes
from aotf_lab.quantities import axis_label

__all__ = ["plot_analyser"]

Floats = NDArray[np.float64]


def plot_analyser(
    grid_deg: Floats, fitted_mw: Floats, read_deg: Floats, read_mw: Floats, u_mw: Floats, axis_deg: float,
    ax: Axes | None = None,
) -> Axes:  # fmt: skip
    """Draw light against the analyser's angle with the law, and mark where most and least light passes."""
    ax = axes_or_new(ax)
    ax.plot(grid_deg, fitted_mw, "-", color=BLUE, linewidth=1.5, label="law of Malus with a floor")
    ax.errorbar(read_deg, read_mw, yerr=u_mw, fmt="o", color=ORANGE, markersize=4.5, linewidth=1, label="readings")
    low, high = float(grid_deg[0]), float(grid_deg[-1])
    for name, offset, style in (("most light", 0.0, "-."), ("least light", 90.0, ":")):
        first = axis_deg + offset + 180.0 * np.ceil((low - axis_deg - offset) / 180.0)
        for k, place in enumerate(np.arange(first, high, 180.0)):
            ax.axvline(float(place), color=GREY, linewidth=0.9, linestyle=style, label="" if k else name)
    return legend_above(name_axes(ax, axis_label("analyser_deg"), axis_label("optical_power_mw")))
