"""The plot of a trace with the wave that was fitted to it."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, axes_or_new

__all__ = ["plot_waveform"]

Floats = NDArray[np.float64]


def plot_waveform(time_s: Floats, signal_v: Floats, fine_s: Floats, model_v: Floats, *, ax: Axes | None = None) -> Axes:
    """Draw samples (n,) and the fitted wave (m,), times in s shown in ns; return the Axes."""
    ax = axes_or_new(ax)
    ax.plot(1e9 * fine_s, model_v, "-", color=BLUE, linewidth=1.4, label="fitted wave with harmonics")
    ax.plot(1e9 * time_s, signal_v, "o", color=GREY, markersize=3, label="samples")
    ax.set_xlabel("Time t (ns)")
    ax.set_ylabel("Voltage at the scope (V)")
    ax.grid(visible=True, color="0.9", linewidth=0.6)
    ax.set_axisbelow(True)
    ax.legend()
    return ax
