"""The plots of the curves: arrays and an Axes in, the Axes out.

Bands are pairs (low, high) of arrays on the same grid as the curve. The confidence band is where
the curve is; the prediction band is where the next reading will be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes, name_points
from aotf_lab.quantities import axis_label

__all__ = [
    "mark_found_lines",
    "mark_rated_power",
    "plot_curve",
    "plot_efficiency",
    "plot_light_residuals",
    "plot_residuals",
    "plot_scan",
    "plot_tuning",
    "plot_vco",
]

Floats = NDArray[np.float64]
Band = tuple[Floats, Floats]

_FAR = 10.0
"""Times the largest residual: guide lines further out would leave the residuals no height."""


def plot_curve(
    x: Floats,
    y: Floats,
    confidence: Band,
    prediction: Band | None = None,
    *,
    x_column: str,
    y_column: str,
    ax: Axes | None = None,
) -> Axes:
    """Draw a curve with its confidence band and, dotted, its prediction band; return the Axes."""
    ax = axes_or_new(ax)
    ax.fill_between(x, *confidence, color=BLUE, alpha=0.25, linewidth=0, label="95 % confidence band of the curve")
    if prediction is not None:
        ax.plot(x, prediction[0], ":", color=GREY, linewidth=1.2, label="95 % prediction band of a reading")
        ax.plot(x, prediction[1], ":", color=GREY, linewidth=1.2)
    ax.plot(x, y, "-", color=BLUE, linewidth=1.6)
    return name_axes(ax, axis_label(x_column), axis_label(y_column))


def plot_vco(
    drive_v: Floats,
    frequency_mhz: Floats,
    confidence: Band,
    prediction: Band | None,
    read_v: Floats,
    read_mhz: Floats,
    direction: Sequence[str] | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw frequency against drive voltage; readings of the two directions get two markers."""
    ax = plot_curve(drive_v, frequency_mhz, confidence, prediction, x_column="drive_v", y_column="frequency_mhz", ax=ax)
    ways = np.asarray(direction if direction is not None else [""] * len(read_v))
    for way, marker, face in zip(dict.fromkeys(ways.tolist()), "ov^s", (ORANGE, "white", GREY, "white"), strict=False):
        rows = ways == way
        label = f"readings, {way}" if way else "readings"
        ax.plot(read_v[rows], read_mhz[rows], marker, color=ORANGE, markerfacecolor=face, markersize=5, label=label)
    return legend_above(ax)


def plot_tuning(
    wavelength_nm: Floats,
    frequency_mhz: Floats,
    confidence: Band,
    line_nm: Floats,
    line_mhz: Floats,
    labels: Sequence[str],
    ax: Axes | None = None,
) -> Axes:
    """Draw frequency against wavelength with the anchor lines."""
    ax = plot_curve(wavelength_nm, frequency_mhz, confidence, x_column="wavelength_nm", y_column="frequency_mhz", ax=ax)
    ax.plot(line_nm, line_mhz, "o", color=ORANGE, markersize=6, label="anchor lines")
    name_points(ax, labels, line_nm, line_mhz)
    return legend_above(ax)


def mark_found_lines(ax: Axes, found: Mapping[str, tuple[float, float]]) -> Axes:
    """Mark lines whose wavelength was found, label -> (wavelength_nm, frequency_mhz), on a tuning plot."""
    pairs = np.array(list(found.values())).T
    ax.plot(*pairs, "s", color=ORANGE, markerfacecolor="white", markersize=6, label="lines found from their peak")
    name_points(ax, list(found), *pairs)
    return legend_above(ax)


def plot_scan(
    frequency_mhz: Floats,
    models: Mapping[str, Floats],
    readings: Mapping[str, tuple[Floats, Floats]],
    centre_mhz: float,
    ax: Axes | None = None,
    *,
    centre: str = "centre",
) -> Axes:
    """Draw a passband: ``models`` and ``readings`` by name (a direction, or "passband"); ``centre`` names its line."""
    ax = axes_or_new(ax)
    for (name, (x, y)), marker, face in zip(readings.items(), "ov^s", (ORANGE, "white", GREY, "white"), strict=False):
        ax.plot(x, y, marker, color=ORANGE, markerfacecolor=face, markersize=4.5, label=f"readings, {name}")
    for (name, model), style in zip(models.items(), ("-", "--", ":", "-."), strict=False):
        ax.plot(frequency_mhz, model, style, color=BLUE, linewidth=1.5, label=f"fit, {name}")
    ax.axvline(centre_mhz, color=GREY, linewidth=0.9, linestyle="-.", label=centre)
    return legend_above(name_axes(ax, axis_label("frequency_mhz"), axis_label("optical_power_mw")))


def plot_efficiency(
    rf_power_w: Floats,
    efficiency: Floats,
    confidence: Band,
    read_w: Floats,
    read_efficiency: Floats,
    u_read: tuple[Floats, Floats] | None = None,
    saturation_w: tuple[float, float, float] | None = None,
    label: str = "",
    ax: Axes | None = None,
) -> Axes:
    """Draw efficiency against RF power; ``saturation_w`` is (low, best, high) of the saturation power.

    ``u_read`` are the standard uncertainties of the readings in power and in efficiency.
    """
    ax = plot_curve(rf_power_w, efficiency, confidence, x_column="rf_power_w", y_column="efficiency", ax=ax)
    u_x, u_y = u_read if u_read is not None else (None, None)
    ax.errorbar(
        read_w,
        read_efficiency,
        yerr=u_y,
        xerr=u_x,
        fmt="o",
        color=ORANGE,
        markersize=4.5,
        linewidth=1,
        label="readings",
    )
    if saturation_w is not None:
        low, best, high = saturation_w
        shown = f"saturation {best:.3g} W"
        ax.axvline(best, color=GREY, linewidth=1, linestyle="--", label=shown)
        if np.isfinite([low, high]).all():
            ax.axvspan(low, high, color=GREY, alpha=0.12, linewidth=0)
    if label:
        ax.set_title(label, fontsize="medium", loc="left")
    ax.set_ylim(bottom=min(0.0, float(np.min(read_efficiency))))
    return legend_above(ax)


def mark_rated_power(ax: Axes, rated_w: float) -> Axes:
    """Mark the crystal's rated RF power on an efficiency plot, without widening the plot for it."""
    low, high = ax.get_xlim()
    ax.axvline(rated_w, color="black", linewidth=2, label=f"rated {rated_w:g} W" if rated_w <= high else None)
    ax.set_xlim(low, high)
    if rated_w <= high:
        legend_above(ax)
    return ax


def plot_light_residuals(rf_power_w: Floats, residual: Floats, u: Floats, ax: Axes | None = None) -> Axes:
    """Draw residuals of an efficiency curve, in percent of the light, with guide lines at 5 %."""
    ax = axes_or_new(ax)
    ax.errorbar(rf_power_w, residual, yerr=u, fmt="o", color=ORANGE, markersize=4, linewidth=1)
    ax.axhline(0, color=GREY, linewidth=0.8)
    for sign in (-1, 1):
        ax.axhline(5 * sign, color=BLUE, linewidth=1, linestyle="--")
    ax.set_title("broken lines: 5 % of the light", fontsize="small", loc="right", color=BLUE, pad=2)
    name_axes(ax, axis_label("rf_power_w"), "Residual (%)").yaxis.label.set_fontsize("small")
    return ax


def plot_residuals(
    x: Floats,
    residual_mhz: Floats,
    u_mhz: Floats,
    *,
    x_column: str,
    five_percent_mhz: float | None = None,
    half_band: tuple[Floats, Floats] | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw residuals in kHz with 5 %-of-light guide lines at +-``five_percent_mhz``, in words where that is far out.

    ``half_band`` is (grid of x, half width in MHz) of the curve's confidence band.
    """
    ax = axes_or_new(ax)
    if half_band is not None:
        grid, half = half_band
        ax.fill_between(grid, -1e3 * half, 1e3 * half, color=BLUE, alpha=0.25, linewidth=0)
    ax.errorbar(x, 1e3 * residual_mhz, yerr=1e3 * u_mhz, fmt="o", color=ORANGE, markersize=4, linewidth=1)
    ax.axhline(0, color=GREY, linewidth=0.8)
    if five_percent_mhz is not None:
        near = five_percent_mhz <= _FAR * float(np.max(np.abs(residual_mhz) + u_mhz, initial=0.0))
        for sign in (-1, 1) if near else ():
            ax.axhline(sign * 1e3 * five_percent_mhz, color=BLUE, linewidth=1, linestyle="--")
        told = (
            "broken lines: 5 % of the light lost"
            if near
            else f"5 % of the light lost: ±{1e3 * five_percent_mhz:.0f} kHz"
        )
        ax.set_title(told, fontsize="small", loc="right", color=BLUE, pad=2)
    name_axes(ax, axis_label(x_column), "Residual (kHz)").yaxis.label.set_fontsize("small")
    return ax
