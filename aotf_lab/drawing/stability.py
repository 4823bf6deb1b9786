"""The plots of the oscillator in time: warm-up, Allan deviation, pushing, and the budget at a set-point."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, log_ticks, name_axes

__all__ = ["plot_allan", "plot_stability_budget", "plot_steps", "plot_warm_up"]

Floats = NDArray[np.float64]


def plot_warm_up(
    read_s: Floats,
    read_mhz: Floats,
    time_s: Floats,
    frequency_mhz: Floats,
    band: tuple[Floats, Floats],
    final_mhz: float,
    since: str,
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw readings (n,) and law (m,) with its ``band``, in kHz above ``final_mhz``, over minutes; return the Axes."""
    ax = axes_or_new(ax)
    ax.plot(
        read_s / 60,
        1e3 * (read_mhz - final_mhz),
        ".",
        color=ORANGE,
        markersize=3,
        label="readings at the mean temperature",
    )
    low, high = (1e3 * (edge - final_mhz) for edge in band)
    ax.fill_between(time_s / 60, low, high, color=BLUE, alpha=0.3, linewidth=0, label="95 % band of the warm-up")
    ax.plot(time_s / 60, 1e3 * (frequency_mhz - final_mhz), "-", color=BLUE, linewidth=1.5, label="law")
    ax.axhline(0, color=GREY, linewidth=0.8)
    return legend_above(name_axes(ax, f"Time since {since} (min)", f"Frequency less {final_mhz:.4f} MHz (kHz)"))


def plot_allan(
    tau_s: Floats,
    deviation: Floats,
    low: Floats,
    high: Floats,
    plain_tau_s: Floats,
    plain: Floats,
    best_s: float,
    frequency_mhz: float,
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw the Allan deviation (k,) in kHz at ``frequency_mhz`` with its interval, and the plain; return the Axes."""
    ax = axes_or_new(ax)
    khz = 1e3 * frequency_mhz
    bars = khz * np.stack([deviation - low, high - deviation])
    ax.errorbar(
        tau_s, khz * deviation, yerr=bars, fmt="o", color=BLUE, markersize=5, capsize=3, linewidth=1.2,
        label="overlapping, 95 % interval",
    )  # fmt: skip
    ax.plot(plain_tau_s, khz * plain, "s", color=ORANGE, markerfacecolor="white", markersize=5, label="not overlapping")
    ax.axvline(best_s, color=GREY, linewidth=0.9, linestyle="--", label=f"least at {best_s:.4g} s")
    name_axes(ax, "Averaging time τ (s)", f"Allan deviation at {frequency_mhz:.3f} MHz (kHz)")
    return legend_above(log_ticks(ax))


def plot_steps(
    supply_v: Floats,
    shift_mhz: Floats,
    grid_v: Floats,
    line_mhz: Floats,
    band: tuple[Floats, Floats],
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw the shifts (n,) over the supply and the straight line (m,) with its ``band``, in kHz; return the Axes."""
    ax = axes_or_new(ax)
    ax.fill_between(
        grid_v, 1e3 * band[0], 1e3 * band[1], color=BLUE, alpha=0.25, linewidth=0, label="95 % band of the slope"
    )
    ax.plot(grid_v, 1e3 * line_mhz, "-", color=BLUE, linewidth=1.5)
    ax.plot(supply_v, 1e3 * shift_mhz, "o", color=ORANGE, markersize=4.5, label="readings, drift removed")
    return legend_above(name_axes(ax, "Supply of the oscillator Vs (V)", "Shift of the frequency (kHz)"))


def plot_stability_budget(
    names: Sequence[str], u_mhz: Sequence[float], light_lost_percent: Sequence[float], *, ax: Axes | None = None
) -> Axes:
    """Draw the terms' u (kHz) as bars, each with the light that it costs at its 95 % limit; return the Axes."""
    ax = axes_or_new(ax)
    places = np.arange(len(names))[::-1]
    khz = 1e3 * np.asarray(u_mhz, dtype=float)
    ax.barh(places, khz, color=BLUE, height=0.6)
    for place, size, lost in zip(places.tolist(), khz.tolist(), light_lost_percent, strict=True):
        ax.annotate(
            f"{lost:.2g} % of light",
            (size, place),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize="small",
        )
    ax.set_yticks(places, list(names))
    ax.set_xlim(0, 1.3 * float(khz.max()) if khz.size and khz.max() > 0 else 1.0)
    ax.set_xlabel("Standard uncertainty of the frequency (kHz)")
    ax.grid(visible=True, axis="x", color="0.9", linewidth=0.6)
    ax.set_axisbelow(True)
    return ax
