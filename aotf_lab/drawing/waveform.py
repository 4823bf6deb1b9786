"""The plot of a trace with the wave that was fitted to it."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes

__all__ = ["plot_waveform"]

Floats = NDArray[np.float64]


def plot_waveform(
    time_s: Floats,
    signal_v: Floats,
    fine_s: Floats,
    model_v: Floats,
    *,
    clipped: NDArray[np.bool_] | None = None,
    note: str = "",
    ax: Axes | None = None,
) -> Axes:
    """Draw samples (n,) and the fitted wave (m,), times in s shown in ns from the first; return the Axes.

    ``clipped`` (n,) marks samples that stand at a rail; ``note`` is what the title says.
    """
    ax = axes_or_new(ax)
    start = time_s[0]
    ax.plot(1e9 * (fine_s - start), model_v, "-", color=BLUE, linewidth=1.4, label="fitted wave with harmonics")
    good = np.ones(time_s.size, dtype=bool) if clipped is None else ~clipped
    ax.plot(1e9 * (time_s[good] - start), signal_v[good], "o", color=GREY, markersize=3, label="samples")
    if not good.all():
        time_ns = 1e9 * (time_s[~good] - start)
        ax.plot(time_ns, signal_v[~good], "s", color=ORANGE, markersize=4, label="samples at the rail")
    name_axes(ax, "Time t (ns) from the first sample", "Voltage at the scope (V)")
    ax.set_title(note, fontsize="medium")
    return legend_above(ax)
