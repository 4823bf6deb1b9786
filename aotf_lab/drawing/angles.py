"""The plot of the separation of the orders: arrays and an Axes in, the Axes out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, ORANGE, axes_or_new, legend_above, name_axes, name_points
from aotf_lab.quantities import axis_label

__all__ = ["plot_separations"]

Floats = NDArray[np.float64]


def plot_separations(
    frequency_mhz: Floats, separation_mrad: Floats, u_mrad: Floats, law_mrad: Floats, names: Sequence[str], title: str,
    ax: Axes | None = None,
) -> Axes:  # fmt: skip
    """Draw the separation of each line against its frequency, and the law of parallel faces at the same lines."""
    ax = axes_or_new(ax)
    order = np.argsort(frequency_mhz)
    label = "wavelength × frequency / v: parallel faces"
    ax.plot(frequency_mhz[order], law_mrad[order], "o--", color=BLUE, markersize=3, linewidth=1.2, label=label)
    ax.errorbar(frequency_mhz, separation_mrad, yerr=u_mrad, fmt="s", color=ORANGE, markersize=5, label="spots")
    name_points(ax, names, frequency_mhz, separation_mrad)
    ax.set_title(title, fontsize="small", loc="left")
    return legend_above(name_axes(ax, axis_label("frequency_mhz"), axis_label("separation_mrad")))
