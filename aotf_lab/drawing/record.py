"""Plots of kept calibrations: control charts, shifts over the temperature, the day on which the next is due."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes

__all__ = ["plot_control_chart", "plot_due", "plot_temperature"]

Floats = NDArray[np.float64]
Dates = NDArray[np.datetime64]


def _over_dates(ax: Axes) -> None:
    locator = AutoDateLocator(maxticks=8)  # type: ignore[no-untyped-call]
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]


def plot_control_chart(
    dates: Dates,
    values: Floats,
    u: Floats,
    averaged: Floats | None,
    centre: float,
    limits: tuple[Floats, Floats],
    outside: NDArray[np.bool_],
    label: str,
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw ``values`` (n,) with their ``u`` by date, the ``limits``, and a ring about what is outside; return the Axes.

    ``averaged`` (n,), where given, is what the limits are for.
    """
    ax = axes_or_new(ax)
    judged = values if averaged is None else averaged
    ax.errorbar(dates, values, yerr=u, fmt="o", color=ORANGE, markersize=4.5, linewidth=1, label="records")
    if averaged is not None:
        ax.plot(dates, averaged, "-", color=BLUE, linewidth=1.5, label="weighted mean")
    ax.axhline(centre, color=GREY, linewidth=0.9, label="centre")
    for k, edge in enumerate(limits):
        ax.step(dates, edge, where="mid", linestyle="--", color=BLUE, linewidth=1.2, label="limits" if k == 0 else None)
    if outside.any():
        ax.plot(
            dates[outside], judged[outside], "o", color=GREY, markerfacecolor="none", markersize=11, label="outside"
        )
    _over_dates(ax)
    return legend_above(name_axes(ax, "Date", label[:1].upper() + label[1:]))


def plot_temperature(
    temperature_c: Floats,
    shift: Floats,
    u: Floats,
    grid_c: Floats | None,
    line: tuple[Floats, Floats, Floats] | None,
    link: str,
    unit: str,
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw the shifts (n,) over the temperature with the line found (middle, low, high, each (m,)); return the Axes."""
    ax = axes_or_new(ax)
    if grid_c is not None and line is not None:
        ax.fill_between(grid_c, line[1], line[2], color=BLUE, alpha=0.25, linewidth=0, label="95 % band of the line")
        ax.plot(grid_c, line[0], "-", color=BLUE, linewidth=1.5, label="temperature coefficient")
    ax.errorbar(
        temperature_c,
        shift,
        yerr=u,
        fmt="o",
        color=ORANGE,
        markersize=4.5,
        linewidth=1,
        label="records, ageing removed",
    )
    where = "Temperature of the box (°C)" if link == "oscillator" else "Temperature of the crystal (°C)"
    return legend_above(name_axes(ax, where, f"Shift of the {link} ({unit})"))


def plot_due(
    dates: Dates,
    chance: Floats,
    confidence: float,
    due: np.datetime64 | None,
    loss_percent: float,
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw the chance (m,) to lose less light than stated by date, and the ``due`` day; return the Axes."""
    ax = axes_or_new(ax)
    ax.plot(dates, chance, "-", color=BLUE, linewidth=1.5, label=f"less than {loss_percent:g} % of light lost")
    ax.axhline(confidence, color=GREY, linestyle="--", linewidth=0.9, label=f"{100 * confidence:g} %")
    if due is not None:
        ax.plot([due, due], [0.0, 1.03], "-", color=ORANGE, linewidth=1.2, label=f"due {due}")
    ax.set_ylim(0.0, 1.03)
    _over_dates(ax)
    return legend_above(name_axes(ax, "Date", "Chance"))
