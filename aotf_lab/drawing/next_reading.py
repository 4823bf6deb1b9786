"""The plot of what to measure next: how much of an uncertainty the best reading of each kind would leave."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import fill

from matplotlib.axes import Axes

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, length_pt, name_axes

__all__ = ["plot_next_readings"]


def plot_next_readings(
    words: Sequence[str],
    left: Sequence[float],
    calibration: Sequence[bool],
    floor: float | None,
    ax: Axes | None = None,
) -> Axes:
    """Draw a bar for each of ``words``: the share ``left`` (0 to 1) of today's u, the first on top; return the Axes.

    Where ``calibration`` is true the bar has a dashed edge. ``floor`` is what any number of readings leaves.
    """
    ax = axes_or_new(ax)
    places = list(range(len(words)))
    bars = ax.barh(places, left, color=[ORANGE if c else BLUE for c in calibration], height=0.6, alpha=0.4)
    letters = int(0.9 * 72 * ax.get_window_extent().width / ax.figure.dpi / length_pt("m"))
    for bar, dashed, text in zip(bars, calibration, words, strict=True):
        bar.set_edgecolor(GREY)
        bar.set_linestyle("--" if dashed else "-")
        middle = bar.get_y() + bar.get_height() / 2
        ax.annotate(
            fill(text, max(letters, 20)),
            (0.0, middle),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize="small",
        )
    ax.axvline(1.0, color="black", linewidth=1.2, label="today")
    if floor is not None:
        ax.axvline(floor, color=GREY, linestyle="--", linewidth=1.2, label="after any number of readings")
    ax.set_yticks([])
    ax.set_xlim(0.0, 1.05)
    ax.invert_yaxis()
    return legend_above(name_axes(ax, "u left, share of today's", ""))
