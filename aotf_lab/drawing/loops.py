"""The plots of slowness curves and of the loops that they make on a screen, both axes to one scale."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, name_axes
from aotf_lab.quantities import axis_label

__all__ = ["plot_loops", "plot_slowness"]

Floats = NDArray[np.float64]

_INKS = {"slow shear": BLUE, "fast shear": GREY, "longitudinal": "black"}


def plot_loops(
    loops: Sequence[tuple[str, Floats, Floats]],
    order_mm: tuple[float, float] | None = None,
    seen: tuple[Floats, Floats, Floats, Floats] | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw closed curves (name "wave, polarisation", x, y in mm), the orders, and points seen; return the Axes.

    The light's polarisation tells full lines (extraordinary) from broken ones. ``seen`` is x, y and their standard
    uncertainties (NaN where not known).
    """
    ax = axes_or_new(ax)
    named: set[str] = set()
    for name, x, y in loops:
        wave, _, polarisation = name.partition(", ")
        style, ink = "-" if polarisation == "extraordinary" else "--", _INKS.get(wave, GREY)
        label = "" if name in named else name
        named.add(name)
        ax.plot(np.append(x, x[:1]), np.append(y, y[:1]), style, color=ink, linewidth=1.1, label=label)
    ax.plot(0.0, 0.0, "o", color="black", markersize=6, label="undiffracted light")
    if order_mm is not None:
        ax.plot(*order_mm, "*", color=ORANGE, markersize=11, label="diffracted order")
    if seen is not None:
        x, y, u_x, u_y = (np.nan_to_num(part) for part in seen)
        ax.errorbar(x, y, xerr=u_x, yerr=u_y, fmt="s", color=ORANGE, markersize=4, linewidth=1, label="seen")
    ax.set_aspect("equal", adjustable="box")
    ax.legend(frameon=False, fontsize="small", loc="upper left", bbox_to_anchor=(1.0, 1.0))
    return name_axes(ax, axis_label("x_mm"), axis_label("y_mm"))


def plot_slowness(
    curves: Sequence[tuple[str, Floats, Floats]],
    axes: tuple[str, str],
    sound_s_km: float,
    sound_deg: float,
    energy_deg: float,
    ax: Axes | None = None,
) -> Axes:
    """Draw slowness curves (wave, x, y in s/km), the sound's wave normal and the way of its energy; return the Axes."""
    ax = axes_or_new(ax)
    for name, x, y in curves:
        ax.plot(x, y, "-", color=_INKS.get(name, GREY), linewidth=1.6 if name == "slow shear" else 1.1, label=name)
    tip = sound_s_km * np.array([np.cos(np.radians(sound_deg)), np.sin(np.radians(sound_deg))])
    way = 0.35 * sound_s_km * np.array([np.cos(np.radians(energy_deg)), np.sin(np.radians(energy_deg))])
    ax.plot([0.0, tip[0]], [0.0, tip[1]], "--", color=ORANGE, linewidth=1.4, label=f"sound at {sound_deg:.3g}°")
    ax.plot([tip[0], tip[0] + way[0]], [tip[1], tip[1] + way[1]], "-", color=ORANGE, linewidth=2.4,
            label=f"its energy at {energy_deg:.3g}°")  # fmt: skip
    ax.set_aspect("equal", adjustable="box")
    ax.legend(frameon=False, fontsize="small", loc="upper left", bbox_to_anchor=(1.0, 1.0))
    return name_axes(ax, f"Slowness along {axes[0]} (s/km)", f"Slowness along {axes[1]} (s/km)")
