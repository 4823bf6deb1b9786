"""The plots of the oscillator in time: warm-up, Allan deviation, pushing, and the budget at a set-point."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new

__all__ = ["plot_allan", "plot_stability_budget", "plot_steps", "plot_warm_up"]

Floats = NDArray[np.float64]


def _finish(ax: Axes, x_label: str, y_label: str) -> Axes:
    ax.set_xlabel(x_label)
    ax.set_ylabel(y_label)
    ax.grid(visible=True, color="0.9", linewidth=0.6)
    ax.set_axisbelow(True)
    ax.legend(frameon=False, fontsize="small")
    return ax


def plot_warm_up(
    read_s: Floats,
    read_mhz: Floats,
    time_s: Floats,
    frequency_mhz: Floats,
    band: tuple[Floats, Floats],
    final_mhz: float,
    since: str,
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw readings (n,) and law (m,) with its ``band``, in kHz above ``final_mhz`` against minutes; return the Axes."""
    ax = axes_or_new(ax)
    ax.plot(read_s / 60, 1e3 * (read_mhz - final_mhz), ".", color=ORANGE, markersize=3, label="readings at the mean temperature")
    low, high = (1e3 * (edge - final_mhz) for edge in band)
    ax.fill_between(time_s / 60, low, high, color=BLUE, alpha=0.3, linewidth=0, label="95 % band of the warm-up")
    ax.plot(time_s / 60, 1e3 * (frequency_mhz - final_mhz), "-", color=BLUE, linewidth=1.5, label="law")
    ax.axhline(0, color=GREY, linewidth=0.8)
    return _finish(ax, f"Time since {since} (min)", f"Frequency less {final_mhz:.4f} MHz (kHz)")
