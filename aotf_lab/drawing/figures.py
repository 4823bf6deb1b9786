"""Making figures and turning them into SVG text, without touching matplotlib's global style."""

from __future__ import annotations

import io

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

__all__ = ["BLUE", "GREY", "ORANGE", "axes_or_new", "figure_to_svg", "name_axes", "new_figure"]

BLUE = "#003C71"
ORANGE = "#DD7000"
GREY = "#5E5E5E"
"""Three inks of lightness L* 25, 59 and 40: told apart colour-blind and printed in grey, none too faint on white."""

_POINTS = 72
"""Dots per inch of an SVG: one is a point."""
_BETWEEN = 0.16
"""Space between axes above each other, as a share of their mean height."""
_EDGE_IN = 0.04


def axes_or_new(ax: Axes | None) -> Axes:
    """Return ``ax``, or the axes of a new pyplot figure when it is None (shown inline in a notebook)."""
    if ax is not None:
        return ax
    from matplotlib import pyplot as plt

    return plt.subplots(figsize=(6.4, 4.0), layout="constrained")[1]


def name_axes(ax: Axes, x_label: str, y_label: str) -> Axes:
    """Label both axes and draw the grid below everything else; return the Axes."""
    ax.set_xlabel(x_label)
    ax.set_ylabel(y_label)
    ax.grid(visible=True, color="0.9", linewidth=0.6)
    ax.set_axisbelow(True)
    return ax


def new_figure(
    rows: int = 1, heights: tuple[float, ...] | None = None, height_in: float = 4.0, width_in: float = 7.2
) -> tuple[Figure, list[Axes]]:
    """Return a figure outside pyplot with ``rows`` axes above each other sharing their x axis."""
    figure = Figure(figsize=(width_in, height_in), dpi=_POINTS)
    shape = {"height_ratios": heights, "hspace": _BETWEEN}
    axes = figure.subplots(rows, 1, sharex=True, squeeze=False, gridspec_kw=shape)
    return figure, list(axes[:, 0])


def figure_to_svg(figure: Figure, salt: str) -> str:
    """Return the figure as SVG text, the same text for the same figure on every run."""
    FigureCanvasSVG(figure)
    _fit_margins(figure)
    buffer = io.StringIO()
    with mpl.rc_context({"svg.hashsalt": salt}):
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    return buffer.getvalue()


def _fit_margins(figure: Figure) -> None:
    """Set the margins so that labels just fit; measuring them once takes half of the time of a constrained layout."""
    box, (width, height), now = figure.get_tightbbox(), figure.get_size_inches(), figure.subplotpars
    figure.subplots_adjust(
        left=now.left + (_EDGE_IN - box.x0) / width,
        right=now.right + (width - _EDGE_IN - box.x1) / width,
        bottom=now.bottom + (_EDGE_IN - box.y0) / height,
        top=now.top + (height - _EDGE_IN - box.y1) / height,
    )
