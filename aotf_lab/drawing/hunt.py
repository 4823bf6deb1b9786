"""The plot of a wide sweep, each peak marked by shape and word for what it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, height_pt, legend_above, length_pt, name_axes
from aotf_lab.quantities import axis_label

__all__ = ["HuntMark", "plot_hunt"]

Floats = NDArray[np.float64]

_STYLES = {
    "line": ("v", BLUE, BLUE),
    "ghost": ("X", ORANGE, "white"),
    "other polarisation": ("D", BLUE, "white"),
    "sidelobe": ("|", GREY, GREY),
    "unexplained": ("s", ORANGE, ORANGE),
    "ambiguous": ("P", "black", "white"),
}
"""Marker, edge and face of each kind."""

_MARK_PT, _MOST_ROOM = 12.0, 0.6
"""Height of a marker with its distances, and of a letter; the largest share of the height that words may take."""


@dataclass(frozen=True)
class HuntMark:
    """A peak to be marked: its kind, a short name, its frequency (MHz) and height (mW)."""

    kind: str
    name: str
    frequency_mhz: float
    power_mw: float


def _word(mark: HuntMark) -> str:
    if mark.kind == "sidelobe":
        return ""
    return mark.name if mark.kind == "line" else f"{mark.kind} {mark.name}"


def _room(ax: Axes, mark: HuntMark) -> float:
    """Return the share of the height of ``ax`` that a mark and its word take."""
    return (_MARK_PT + (_MARK_PT if mark.kind == "line" else length_pt(_word(mark)))) / height_pt(ax)


def plot_hunt(
    frequency_mhz: Floats,
    power_mw: Floats,
    model_mhz: Floats,
    model_mw: Floats,
    marks: Sequence[HuntMark],
    bottom_mw: float,
    ax: Axes | None = None,
    *,
    log: bool = True,
) -> Axes:
    """Draw readings (n,), the fitted light (m,), both without the floor, and the marks; return the Axes.

    On a log scale what lies below ``bottom_mw`` is drawn at it.
    """
    ax = axes_or_new(ax)
    shown, fitted = (np.maximum(v, bottom_mw) if log else v for v in (power_mw, model_mw))
    ax.plot(frequency_mhz, shown, ".", color=GREY, markersize=2.5, label="readings")
    ax.plot(model_mhz, fitted, "-", color=BLUE, linewidth=1.0, label="fit, settled")
    lift = 1.35 if log else 1.0
    for kind, (marker, edge, face) in _STYLES.items():
        these = [m for m in marks if m.kind == kind]
        if not these:
            continue
        x = [m.frequency_mhz for m in these]
        y = [m.power_mw * lift for m in these]
        label = f"{kind} ({len(these)})"
        ax.plot(x, y, marker, color=edge, markerfacecolor=face, markersize=7, linestyle="none", label=label)
        for m, height in zip(these, y, strict=True):
            ax.annotate(
                _word(m), (m.frequency_mhz, height), xytext=(0, 7), textcoords="offset points", fontsize="small",
                ha="center", va="bottom", rotation=0 if kind == "line" else 90,
            )  # fmt: skip
    if log:
        ax.set_yscale("log")
        top = max([float(np.max(shown)), *(m.power_mw for m in marks)])
        low = 0.7 * bottom_mw
        ends = [low * (max(m.power_mw * lift / low, 1.0)) ** (1 / (1 - min(_room(ax, m), _MOST_ROOM))) for m in marks]
        ax.set_ylim(low, max([2.0 * top, *ends]))
    else:
        ax.margins(y=0.12)
    return legend_above(name_axes(ax, axis_label("frequency_mhz"), axis_label("optical_power_mw")))
