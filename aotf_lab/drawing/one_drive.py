"""The plot of one drive for all lines: efficiency against the amplifier's supply, with the safe supply as a wall."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes
from aotf_lab.quantities import axis_label

__all__ = ["name_ends", "plot_one_drive"]

Floats = NDArray[np.float64]

_STYLES = ("-", "--", "-.")
_APART_PT = 12.5
"""Of two names: a small letter with its paper, and what a legend above takes off the height later."""


def plot_one_drive(
    supply_v: Floats,
    efficiency: Floats,
    beyond: NDArray[np.bool_],
    names: Sequence[str],
    chosen_v: float,
    within_v: tuple[float, float],
    safe_v: float,
    ax: Axes | None = None,
) -> Axes:
    """Draw ``efficiency`` (lines, n) against ``supply_v`` (n,), each line named at its end; return the Axes.

    ``beyond`` (lines, n) says where the drive went further than was measured: drawn dotted.
    """
    ax = axes_or_new(ax)
    for k, curve in enumerate(efficiency):
        style, ink = _STYLES[k % len(_STYLES)], BLUE if k % 2 == 0 else GREY
        ax.plot(supply_v, np.where(beyond[k], np.nan, curve), style, color=ink, linewidth=1.5)
        ax.plot(supply_v, np.where(beyond[k], curve, np.nan), ":", color=ink, linewidth=1.1)
    ax.plot([], [], ":", color=GREY, label="by the law: no drive went so far")
    ax.axvspan(*within_v, color=ORANGE, alpha=0.18, linewidth=0, label="within 1 % of the best")
    ax.axvline(chosen_v, color=ORANGE, linewidth=1.8, label=f"one drive for all {chosen_v:.2f} V")
    ax.axvline(safe_v, color="black", linewidth=2, label=f"highest safe supply {safe_v:.2f} V")
    right = max(float(supply_v[-1]), safe_v) + 0.06 * float(np.ptp(supply_v))
    ax.axvspan(safe_v, right, facecolor="none", edgecolor=GREY, hatch="///", linewidth=0, alpha=0.5)
    ax.set_xlim(float(supply_v[0]), right)
    ax.set_ylim(0.0, 1.05)
    name_ends(ax, supply_v[-1], efficiency[:, -1], names)
    legend_above(ax)
    return name_axes(ax, axis_label("supply_v"), axis_label("efficiency"))


def name_ends(ax: Axes, x: float, ends: Floats, names: Sequence[str]) -> None:
    """Write each name at the end of its curve, no two on top of each other; the limits of ``ax`` stand already."""
    height = 72.0 * ax.get_window_extent().height / ax.figure.dpi
    apart, order = _APART_PT / height * float(np.ptp(ax.get_ylim())), np.argsort(ends)
    steps = apart * np.arange(len(order))
    y = np.maximum.accumulate(ends[order] - steps) + steps
    y = np.minimum(y, ax.get_ylim()[1] - 0.5 * apart - steps[::-1])
    for k, place in zip(order, y.tolist(), strict=True):
        ax.annotate(names[k], (x, place), xytext=(3, 0), textcoords="offset points", fontsize="small", va="center",
                    bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8})  # fmt: skip
