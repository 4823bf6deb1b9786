"""The leakage map: how much light leaks at each frequency, where lines and their harmonics sit, what cannot be set."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, height_pt, legend_above, length_pt, name_axes
from aotf_lab.quantities import axis_label

__all__ = ["plot_park"]

Floats = NDArray[np.float64]

_ROOM_DB = 20.0
_PAPER = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}


def plot_park(
    frequency_mhz: Floats,
    total_db: Floats,
    harmonic_db: Floats,
    sure_db: Floats,
    peaks_mhz: Mapping[str, float],
    traps: Sequence[tuple[float, str, float]],
    zones: Sequence[tuple[float, float]],
    best: tuple[float, float],
    ax: Axes | None = None,
) -> Axes:
    """Draw leak (dB) against ``frequency_mhz`` (n,); return the Axes.

    Each is the largest within the window in which a frequency may lie: ``total_db`` everything, as estimated,
    ``harmonic_db`` what the 2nd and 3rd harmonic add, ``sure_db`` the most that is possible. ``peaks_mhz`` are the
    lines, ``traps`` (frequency, name, leak) where a harmonic hits one, ``zones`` what cannot be set, ``best`` the
    choice (MHz, dB).
    """
    ax = axes_or_new(ax)
    top = float(np.nanmax(total_db))
    bottom = 5.0 * np.floor((best[1] - 5.0) / 5.0)
    ax.plot(frequency_mhz, sure_db, "--", color=GREY, linewidth=1.0, label="at the most")
    ax.plot(frequency_mhz, total_db, "-", color=BLUE, linewidth=1.4, label="all lines, by f, 2 f and 3 f")
    ax.plot(frequency_mhz, harmonic_db, ":", color="black", linewidth=1.1, label="of that, by 2 f and 3 f")
    for k, (low, high) in enumerate(zones):
        ax.axvspan(low, high, facecolor="none", edgecolor=GREY, hatch="///", linewidth=0, alpha=0.5,
                   label="cannot be set" if k == 0 else None)  # fmt: skip
    for name, peak in peaks_mhz.items():
        ax.annotate(f"line {name}", (peak, top), xytext=(0, 3), textcoords="offset points", ha="center",
                    fontsize="small", rotation=90, va="bottom", bbox=_PAPER)  # fmt: skip
    for at, name, leak in traps:
        height = max(leak, float(np.interp(at, frequency_mhz, total_db)))
        ax.annotate(name, (at, height), xytext=(0, 3), textcoords="offset points", ha="center",
                    fontsize="small", rotation=90, va="bottom", bbox=_PAPER)  # fmt: skip
    ax.plot(*best, "v", color=ORANGE, markersize=9, label=f"park at {best[0]:.3f} MHz, {best[1]:.0f} dB")
    ax.set_xlim(float(frequency_mhz[0]), float(frequency_mhz[-1]))
    words = max(map(length_pt, (*(f"line {name}" for name in peaks_mhz), *(name for _, name, _ in traps))), default=0.0)
    room = min((words + 6) / height_pt(ax), 0.6)
    ax.set_ylim(bottom, max(top + _ROOM_DB, bottom + (top - bottom) / (1 - room)))
    legend_above(ax)
    return name_axes(ax, axis_label("frequency_mhz"), "Leak over full light (dB)")
