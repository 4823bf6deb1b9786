"""The plot of a sequence: the staircase of volts above, the light of each line in a lane of its own below."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes

__all__ = ["plot_sequence"]

Floats = NDArray[np.float64]

_HIGH = 0.8
"""Height of a lane's full light; lanes are 1 apart, the volts take two."""


def plot_sequence(
    time_us: Floats,
    drive_v: Floats,
    light: Mapping[str, tuple[Floats, Floats]],
    good_us: Mapping[str, Sequence[tuple[float, float]]],
    cycle_us: float,
    ax: Axes | None = None,
) -> Axes:
    """Draw ``drive_v`` (n,) from ``time_us`` (n,) on, and each line's (time, light over full light); return the Axes.

    ``good_us`` holds the times of good light of each line: the thick bar below its light.
    """
    ax = axes_or_new(ax)
    top = float(len(light))
    low, high = float(drive_v.min()), float(drive_v.max())
    scale = 2 * _HIGH / max(high - low, 1e-9)
    ax.step(time_us, top + scale * (drive_v - low), where="post", color=ORANGE, linewidth=1.6)
    ticks, names = [top, top + 2 * _HIGH], [f"{low:.2f} V", f"{high:.2f} V"]
    for k, (name, whole) in enumerate(light.items()):
        time, course = _bends(*whole)
        base = top - 1 - k
        for shift in (-cycle_us, 0.0):
            ax.fill_between(time + shift, base, base + _HIGH * course, color=GREY, alpha=0.35, linewidth=0)
            ax.plot(time + shift, base + _HIGH * course, color=BLUE, linewidth=1.2)
            for start, stop in good_us[name]:
                ax.plot([start + shift, stop + shift], [base - 0.07] * 2, "k-", linewidth=3, solid_capstyle="butt")
        ticks.append(base + 0.5 * _HIGH)
        names.append(f"light of {name}")
    ax.plot([], [], "k-", linewidth=3, label="good light")
    ax.set_yticks(ticks, names)
    ax.set_xlim(0.0, cycle_us)
    ax.set_ylim(-0.25, top + 2 * _HIGH + 0.2)
    return legend_above(name_axes(ax, "Time (µs)", ""))


def _bends(time: Floats, course: Floats) -> tuple[Floats, Floats]:
    """Return the course without the points inside its flat stretches: nobody sees them, and they weigh most."""
    shown = np.round(course, 3)
    level = (shown[1:-1] == shown[:-2]) & (shown[1:-1] == shown[2:])
    bends = np.concatenate(([True], ~level, [True]))
    return time[bends], course[bends]
