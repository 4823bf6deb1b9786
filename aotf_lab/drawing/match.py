"""The plot of the return loss over the band."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, axes_or_new, legend_above, name_axes

__all__ = ["plot_match"]

Floats = NDArray[np.float64]


def plot_match(
    frequency_mhz: Floats,
    return_loss_db: Floats,
    low_db: Floats,
    high_db: Floats,
    matched_db: float,
    bands_mhz: Sequence[tuple[float, float]],
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw return loss (n,) with its bounds, the limit of a match, and the matched bands; return the Axes."""
    ax = axes_or_new(ax)
    top = 1.15 * max(float(np.max(return_loss_db)), matched_db)
    label = "what the directivity leaves open"
    ax.fill_between(frequency_mhz, low_db, np.minimum(high_db, top), color=BLUE, alpha=0.25, linewidth=0, label=label)
    ax.plot(frequency_mhz, return_loss_db, "-", color=BLUE, linewidth=1.6, label="as shown")
    ax.axhline(matched_db, color=GREY, linestyle="--", linewidth=1.0, label=f"matched from {matched_db:g} dB")
    for k, (low, high) in enumerate(bands_mhz):
        ax.plot([low, high], [matched_db] * 2, "-", color=GREY, linewidth=5, label="" if k else "matched for sure")
    ax.set_ylim(0.0, top)
    return legend_above(name_axes(ax, "Frequency f (MHz)", "Return loss (dB)"))
