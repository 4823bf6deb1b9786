"""Plots of timing: an edge, depth of modulation, and what limits a sweep. Arrays and an Axes in, the Axes out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, log_ticks, name_axes
from aotf_lab.quantities import axis_label

__all__ = ["plot_depth", "plot_edge", "plot_lag", "plot_sweep"]

Floats = NDArray[np.float64]


def plot_edge(
    time_us: Floats,
    light: Floats,
    drive_v: Floats | None,
    fitted_us: Floats,
    fitted: Floats,
    middles_us: Sequence[float],
    ax: Axes | None = None,
) -> Axes:
    """Draw ``light`` (share of the step) and its fit against time, the drive scaled to the same height."""
    ax = axes_or_new(ax)
    ax.plot(time_us, light, ".", color=ORANGE, markersize=2.5, label="light")
    if drive_v is not None and np.ptp(drive_v) > 0:
        ax.plot(time_us, (drive_v - np.min(drive_v)) / np.ptp(drive_v), "-", color=GREY, linewidth=0.6, label="drive")
    ax.plot(fitted_us, fitted, "-", color=BLUE, linewidth=1.5, label="fit")
    for k, middle in enumerate(middles_us):
        label = "half of the beam" if k == 0 else None
        ax.axvline(middle, color=GREY, linewidth=0.9, linestyle=":", label=label)
    return legend_above(name_axes(ax, "Time (µs)", "Light, share of the step"))


def plot_depth(
    frequency_khz: Floats,
    depth: Floats,
    u_depth: Floats,
    curves: Mapping[str, tuple[Floats, Floats]],
    marks: Mapping[str, tuple[float, float]],
    ax: Axes | None = None,
) -> Axes:
    """Draw the depth of modulation, the fitted ``curves`` (name -> kHz, depth) and ``marks`` (name -> kHz, depth)."""
    ax = axes_or_new(ax)
    ax.errorbar(
        frequency_khz, depth, yerr=u_depth, fmt="o", color=ORANGE, markersize=4.5, linewidth=1, label="readings"
    )
    for (name, (x, y)), style in zip(curves.items(), ("-", "--", ":"), strict=False):
        ax.plot(x, y, style, color=BLUE, linewidth=1.5, label=name)
    for name, (at, height) in marks.items():
        ax.plot([at, at], [0.0, height], ":", color=GREY, linewidth=1)
        ax.annotate(f"{name}: {at:.0f} kHz", (at, 0.0), xytext=(-2, 5), textcoords="offset points", fontsize="small",
                    ha="right", va="bottom", rotation=90)  # fmt: skip
    log_ticks(ax, "x").set_ylim(bottom=0)
    return legend_above(name_axes(ax, axis_label("modulation_khz"), axis_label("depth")))


def plot_sweep(rate: Floats, lost: Mapping[str, Floats], allowed: float, chosen: float, ax: Axes | None = None) -> Axes:
    """Draw the light ``lost`` (name -> share) against the sweep's rate (MHz/us), what is allowed, and the highest."""
    ax = axes_or_new(ax)
    styles = ("-", "--", "-.", ":")
    for k, (name, share) in enumerate(lost.items()):
        colour = BLUE if name == "all" else (GREY, ORANGE, "black")[k % 3]
        ax.loglog(rate, np.maximum(share, 1e-9), styles[k % 4], color=colour, linewidth=1.5, label=name)
    ax.axhline(allowed, color=GREY, linewidth=0.9, linestyle=":")
    ax.axvline(chosen, color=GREY, linewidth=0.9, linestyle="-.", label=f"highest rate {chosen:.3g} MHz/µs")
    ax.set_ylim(1e-5, 1.2)
    return legend_above(name_axes(ax, "Rate of the sweep (MHz/µs)", "Share of the light lost"))


def plot_lag(rate: Floats, gap_mhz: Floats, u_mhz: Floats, line: tuple[float, float], ax: Axes | None = None) -> Axes:
    """Draw up less down (MHz) against the rate (MHz/s) with the fitted ``line`` (at rest, slope)."""
    ax = axes_or_new(ax)
    ax.errorbar(rate, gap_mhz, yerr=u_mhz, fmt="o", color=ORANGE, markersize=4.5, linewidth=1, label="up less down")
    grid = np.linspace(0.0, float(np.max(rate)), 50)
    ax.plot(grid, line[0] + line[1] * grid, "-", color=BLUE, linewidth=1.5, label="hysteresis + 2 x lag x rate")
    ax.axhline(line[0], color=GREY, linewidth=0.9, linestyle="--", label="hysteresis")
    return legend_above(name_axes(ax, "Rate of the sweep (MHz/s)", "Up less down (MHz)"))
