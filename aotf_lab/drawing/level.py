"""The plots of RF power: over the band, and against the amplifier's supply, with the limit as a wall."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.curves import plot_curve
from aotf_lab.drawing.figures import GREY, ORANGE, legend_above

__all__ = ["mark_limit", "mark_safe_supply", "plot_level_against_supply", "plot_level_over_band"]

Floats = NDArray[np.float64]
Band = tuple[Floats, Floats]


def plot_level_over_band(
    frequency_mhz: Floats,
    power_w: Floats,
    confidence: Band,
    read_mhz: Floats,
    read_w: Floats,
    supply_v: float,
    *,
    limit_w: float | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw RF power over the band at one supply, with its readings; return the Axes."""
    ax = plot_curve(frequency_mhz, power_w, confidence, x_column="frequency_mhz", y_column="rf_power_w", ax=ax)
    return _finished(ax, read_mhz, read_w, f"at a supply of {supply_v:.4g} V", limit_w)


def plot_level_against_supply(
    supply_v: Floats,
    power_w: Floats,
    confidence: Band,
    read_v: Floats,
    read_w: Floats,
    frequency_mhz: float,
    *,
    limit_w: float | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw RF power against supply at one frequency, with its readings; return the Axes."""
    ax = plot_curve(supply_v, power_w, confidence, x_column="supply_v", y_column="rf_power_w", ax=ax)
    return _finished(ax, read_v, read_w, f"at {frequency_mhz:.4g} MHz", limit_w)


def mark_limit(ax: Axes, limit_w: float) -> Axes:
    """Draw the limit of the RF power as a wall from below: hatched, with nothing allowed beyond."""
    top = max(ax.get_ylim()[1], 1.12 * limit_w)
    ax.axhline(limit_w, color="black", linewidth=2, label=f"limit {limit_w:g} W")
    ax.axhspan(limit_w, top, facecolor="none", edgecolor=GREY, hatch="///", linewidth=0, alpha=0.5)
    ax.set_ylim(top=top)
    return ax


def mark_safe_supply(ax: Axes, supply_v: float) -> Axes:
    """Mark the highest safe supply on a plot of power against supply."""
    ax.axvline(supply_v, color="black", linewidth=1.4, linestyle="--", label=f"highest safe supply {supply_v:.2f} V")
    return legend_above(ax)


def _finished(ax: Axes, x: Floats, y: Floats, title: str, limit_w: float | None) -> Axes:
    if len(x):
        ax.plot(x, y, "o", color=ORANGE, markersize=4.5, label="readings, as the scope shows them")
    ax.set_title(title, fontsize="medium", loc="left")
    ax.set_ylim(bottom=0.0)
    if limit_w is not None:
        mark_limit(ax, limit_w)
    return legend_above(ax)
