"""The plot of an opening check: how far each reading lies from the kept curve."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes

__all__ = ["plot_opening"]

Floats = NDArray[np.float64]


def plot_opening(
    places: Sequence[str],
    gap_khz: Floats,
    u_khz: Floats,
    found_khz: Floats,
    matters_khz: Floats,
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw the gaps (m,) of the readings at ``places`` with their 95 % intervals, top to bottom; return the Axes.

    ``found_khz`` (m,) is the shift found for the link of each reading; between -+ ``matters_khz`` (m,), not a number
    where unknown, a shift costs less light than counts.
    """
    ax = axes_or_new(ax)
    rows = np.arange(len(places))
    for k, (row, edge, found) in enumerate(zip(rows, matters_khz, found_khz, strict=True)):
        if np.isfinite(edge):
            known = ax.get_legend_handles_labels()[1]
            name = "less than 1 % of light" if "less than 1 % of light" not in known else None
            ax.fill_betweenx([row - 0.4, row + 0.4], -edge, edge, color=BLUE, alpha=0.2, linewidth=0, label=name)
        ax.plot([found, found], [row - 0.4, row + 0.4], color=BLUE, linewidth=1.5, label=None if k else "shift found")
    ax.errorbar(gap_khz, rows, xerr=1.96 * u_khz, fmt="o", color=ORANGE, markersize=4.5, label="readings, 95 %")
    ax.axvline(0.0, color=GREY, linewidth=0.9)
    ax.set_yticks(rows, list(places))
    ax.set_ylim(len(places) - 0.4, -0.6)
    return legend_above(name_axes(ax, "From the kept curve (kHz)", ""))
