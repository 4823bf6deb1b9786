"""Making figures and turning them into SVG text, without touching matplotlib's global style."""

from __future__ import annotations

import io
from collections.abc import Sequence

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backend_bases import RendererBase
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.legend import Legend
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedLocator, FormatStrFormatter, LogLocator, NullFormatter, ScalarFormatter
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

__all__ = [
    "BLUE",
    "GREY",
    "ORANGE",
    "axes_or_new",
    "figure_to_svg",
    "height_pt",
    "legend_above",
    "legend_in_words",
    "length_pt",
    "lightened",
    "log_ticks",
    "name_axes",
    "name_points",
    "new_figure",
]

BLUE = "#003C71"
ORANGE = "#DD7000"
GREY = "#5E5E5E"
"""Three inks of lightness L* 25, 59 and 40: told apart colour-blind and printed in grey, none too faint on white."""

_POINTS = 72
"""Dots per inch of an SVG: one is a point."""
_BETWEEN = 0.16
"""Space between axes above each other, as a share of their mean height."""
_EDGE_IN = 0.04
_WHOLE = (1e-5, 1e7)
"""Between these ticks are written out, beyond with a power of ten at each."""
_FEW = 1.3
"""Decades with room for more ticks than two in each."""
_ROOM = "room of the legend"
_LETTER, _HANDLE = 0.55, 3.6
"""Mean breadth of a letter, and that of a legend's mark with its space, in sizes of the text."""

Floats = NDArray[np.float64]

_MARKS = {"o": "circles", "v": "triangles", "^": "triangles", "s": "squares", ".": "dots"}
_LINES = {"-": "solid line", "--": "broken line", ":": "dotted line", "-.": "line of dots and dashes"}


def axes_or_new(ax: Axes | None) -> Axes:
    """Return ``ax``, or the axes of a new pyplot figure when it is None (shown inline in a notebook)."""
    if ax is not None:
        return ax
    from matplotlib import pyplot as plt

    return plt.subplots(figsize=(6.4, 4.0), layout="constrained")[1]


def name_axes(ax: Axes, x_label: str, y_label: str) -> Axes:
    """Label both axes and draw the grid below everything else; return the Axes.

    Ticks show whole numbers: none is taken off or divided out and written in a corner.
    """
    ax.set_xlabel(x_label)
    ax.set_ylabel(y_label)
    for axis, ends in ((ax.xaxis, ax.get_xlim()), (ax.yaxis, ax.get_ylim())):
        shown = axis.get_major_formatter()
        if not isinstance(shown, ScalarFormatter):
            continue
        if _WHOLE[0] <= max(map(abs, ends)) < _WHOLE[1]:
            shown.set_useOffset(False)
            shown.set_scientific(False)
        else:
            axis.set_major_formatter(FormatStrFormatter("%g"))
    ax.grid(visible=True, color="0.9", linewidth=0.6)
    ax.set_axisbelow(True)
    return ax


def log_ticks(ax: Axes, axes: str = "xy") -> Axes:
    """Scale the named axes by their logarithm, with plain numbers at the ticks, more where decades are few."""
    for name in axes:
        getattr(ax, f"set_{name}scale")("log")
        axis, (low, high) = getattr(ax, f"{name}axis"), sorted(getattr(ax, f"get_{name}lim")())
        decades = float(np.log10(high / low))
        axis.set_major_formatter(FormatStrFormatter("%g"))
        axis.set_minor_locator(LogLocator(subs=(2, 3, 4, 6) if decades < _FEW else (2, 5)))
        axis.set_minor_formatter(FormatStrFormatter("%g") if decades < 2 * _FEW else NullFormatter())
    ax.grid(visible=True, which="minor", color="0.95", linewidth=0.5)
    return ax


def height_pt(ax: Axes) -> float:
    """Return about how high ``ax`` will be, in points: a legend above takes some of what there is now."""
    return 0.7 * ax.get_window_extent().height * _POINTS / ax.figure.dpi


def length_pt(text: str) -> float:
    """Return about how long a small text is, in points."""
    return _LETTER * 0.833 * float(mpl.rcParams["font.size"]) * len(text)


def name_points(ax: Axes, names: Sequence[str], x: Floats, y: Floats) -> Axes:
    """Write each name beside its point, off the curve that goes through them, on the other side near an edge."""
    ax.margins(0.06, 0.09)
    left, right = ax.get_xlim()
    per_pt = (right - left) / (ax.get_window_extent().width * _POINTS / ax.figure.dpi)
    rising = len(x) > 1 and float(np.polyfit(x, y, 1)[0]) > 0
    for name, at, height in zip(names, x, y, strict=True):
        room = (6 + length_pt(str(name))) * per_pt
        if rising:
            beside, across, up = ((-6, 5), "right", "bottom") if at - room > left else ((6, -5), "left", "top")
        else:
            beside, across, up = ((6, 5), "left", "bottom") if at + room < right else ((-6, -5), "right", "top")
        ax.annotate(str(name), (float(at), float(height)), xytext=beside, textcoords="offset points", ha=across, va=up,
                    fontsize="small")  # fmt: skip
    return ax


def legend_above(ax: Axes) -> Axes:
    """Set the legend of ``ax`` above the axes, where it covers no data; return the Axes.

    It has two columns where they find room side by side, else one, and tells what an axis to the right shows too. A
    title goes into it; in a figure of pyplot, where a title may come later, above it.
    """
    handles, labels = ax.get_legend_handles_labels()
    for other in ax.figure.axes:
        if other is not ax and other.get_position().bounds == ax.get_position().bounds:
            more, names = other.get_legend_handles_labels()
            handles, labels = handles + more, labels + names
    if not labels:
        return ax
    drawn, later = ax.get_legend(), ax.figure.canvas.manager is not None
    title = (
        "" if later else ax.get_title(loc="left") or ax.get_title() or (drawn.get_title().get_text() if drawn else "")
    )
    size = 0.833 * mpl.rcParams["font.size"]
    width = ax.get_window_extent().width * _POINTS / ax.figure.dpi
    first = (len(labels) + 1) // 2
    letters = sum(max(map(len, some), default=0) for some in (labels[:first], labels[first:]))
    columns = 2 if len(labels) > 1 and size * (_LETTER * letters + 2 * _HANDLE) < width else 1
    if title:
        for side in ("left", "center"):
            ax.set_title("", loc=side)
    legend = ax.legend(
        handles, labels, title=title, title_fontsize="medium", alignment="left", ncols=columns, loc="lower left",
        bbox_to_anchor=(0.0, 1.0), borderpad=0.1, borderaxespad=0.25, handlelength=2.2, labelspacing=0.25,
        columnspacing=1.2, frameon=False, fontsize="small",
    )  # fmt: skip
    if later:
        _keep_titles_above(ax, legend)
    return ax


def _keep_titles_above(ax: Axes, legend: Legend) -> None:
    """Lay empty axes over the legend: matplotlib moves a title above all axes inside, but not above a legend."""
    for old in [child for child in ax.child_axes if child.get_label() == _ROOM]:
        old.remove()

    def place(_: Axes, renderer: RendererBase) -> Bbox:
        box = legend.get_window_extent(renderer) if ax.get_legend() is legend else ax.get_window_extent(renderer)
        return Bbox(box.transformed(ax.figure.transSubfigure.inverted()))

    room = ax.inset_axes((0.0, 1.0, 1.0, 0.1), label=_ROOM)
    room.set_axis_off()
    room.set_axes_locator(place)  # type: ignore[arg-type]


def legend_in_words(ax: Axes) -> str:
    """Take the legend of the lines and marks of ``ax`` away and return it in words, for several plots of one kind.

    >>> _, (ax,) = new_figure()
    >>> _ = ax.plot([1], [1], "o", markerfacecolor="white", label="readings, down")
    >>> _ = ax.plot([1], [1], "--", label="fit")
    >>> legend_in_words(ax)
    'open circles: readings, down; broken line: fit'
    """
    told = []
    for handle, label in zip(*ax.get_legend_handles_labels(), strict=True):
        if not isinstance(handle, Line2D):
            continue
        mark = _MARKS.get(str(handle.get_marker()))
        face = "open " if handle.get_markerfacecolor() == "white" else ""
        told.append(f"{face}{mark}: {label}" if mark else f"{_LINES[str(handle.get_linestyle())]}: {label}")
    drawn = ax.get_legend()
    if drawn is not None:
        drawn.remove()
    return "; ".join(told)


def lightened(ax: Axes, share: float) -> Axes:
    """Draw the lines and marks of ``ax`` ``share`` times as thick, for a small plot; return the Axes."""
    for line in ax.lines:
        line.set_markersize(share * line.get_markersize())
        line.set_linewidth(share * line.get_linewidth())
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
    """Set the margins so that labels just fit; measuring them once takes half of the time of a constrained layout.

    The ticks of the y axes stay as they were measured: others could have broader labels.
    """
    for ax in figure.axes:
        if ax.get_yscale() == "linear":
            ax.yaxis.set_major_locator(FixedLocator(ax.get_yticks().tolist()))
    box, (width, height), now = figure.get_tightbbox(), figure.get_size_inches(), figure.subplotpars
    figure.subplots_adjust(
        left=now.left + (_EDGE_IN - box.x0) / width,
        right=now.right + (width - _EDGE_IN - box.x1) / width,
        bottom=now.bottom + (_EDGE_IN - box.y0) / height,
        top=now.top + (height - _EDGE_IN - box.y1) / height,
    )
