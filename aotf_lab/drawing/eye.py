"""The plot of an eye: the light of many bits laid over each other, and the worst eye."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes

__all__ = ["plot_eye"]

Floats = NDArray[np.float64]

_MOST_DRAWN = 300


def plot_eye(
    time_us: Floats,
    light: Floats,
    least_on: Floats,
    most_off: Floats,
    sample: tuple[float, float, float],
    bit_us: float,
    ax: Axes | None = None,
) -> Axes:
    """Draw ``light`` (bits, n) against ``time_us`` (n,), and the worst 1 and 0 of all patterns; return the Axes.

    ``sample`` is the time (us), the threshold and the vertical opening there.
    """
    ax = axes_or_new(ax)
    lines = [np.column_stack([time_us, row]) for row in light[:_MOST_DRAWN]]
    ax.add_collection(LineCollection(lines, colors=GREY, linewidths=0.5, alpha=0.35))
    inside = (time_us >= -1e-9) & (time_us <= bit_us + 1e-9)
    ax.plot(time_us[inside], least_on[inside], "-", color=BLUE, linewidth=2, label="least light of a 1, any pattern")
    ax.plot(time_us[inside], most_off[inside], "--", color=ORANGE, linewidth=2, label="most light of a 0, any pattern")
    at, threshold, opening = sample
    ax.plot([at, at], [threshold - opening / 2, threshold + opening / 2], "k|-", linewidth=1.5, markersize=8)
    ax.annotate(f" open {100 * opening:.0f} %", (at, threshold), fontsize="small", va="center")
    ax.set_xlim(float(time_us[0]), float(time_us[-1]))
    ax.set_ylim(-0.05, max(1.05, float(np.max(light)) + 0.02))
    name_axes(ax, "Time from the start of a bit at the beam (µs)", "Light over the light when on")
    return legend_above(ax)
