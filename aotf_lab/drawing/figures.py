"""Making figures and turning them into SVG text, without touching matplotlib's global style."""

from __future__ import annotations

import io

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

__all__ = ["BLUE", "GREY", "ORANGE", "axes_or_new", "figure_to_svg", "new_figure"]

BLUE = "#0072B2"
ORANGE = "#D55E00"
GREY = "#555555"
"""Three inks that differ in lightness as well as in hue: readable colour-blind and printed in grey."""


_POINTS = 72
"""Dots per inch of an SVG: one is a point."""


def axes_or_new(ax: Axes | None) -> Axes:
    """Return ``ax``, or the axes of a new pyplot figure when it is None (shown inline in a notebook)."""
    if ax is not None:
        return ax
    from matplotlib import pyplot as plt

    return plt.subplots(figsize=(6.4, 4.0), layout="constrained")[1]


def new_figure(
    rows: int = 1, heights: tuple[float, ...] | None = None, height_in: float = 4.0, width_in: float = 7.2
) -> tuple[Figure, list[Axes]]:
    """Return a figure outside pyplot with ``rows`` axes above each other sharing their x axis."""
    figure = Figure(figsize=(width_in, height_in), dpi=_POINTS, layout="constrained")
    axes = figure.subplots(rows, 1, sharex=True, squeeze=False, gridspec_kw={"height_ratios": heights})
    return figure, list(axes[:, 0])


def figure_to_svg(figure: Figure, salt: str) -> str:
    """Return the figure as SVG text, the same text for the same figure on every run."""
    FigureCanvasSVG(figure)
    engine = figure.get_layout_engine()
    if engine is not None:  # laid out once, savefig need not draw everything twice to do so
        engine.execute(figure)
        figure.set_layout_engine("none")
    buffer = io.StringIO()
    with mpl.rc_context({"svg.hashsalt": salt}):
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": None})
    return buffer.getvalue()
