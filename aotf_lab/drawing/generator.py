"""Volts at the oscillator's port against time, with the windows in which each line lights."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes

__all__ = ["plot_generator_levels", "plot_generator_sweep"]

Floats = NDArray[np.float64]

_HATCHES = ("///", "\\\\\\", "xxx", "...", "---", "+++", "|||")


def plot_generator_levels(
    port_v: Sequence[float],
    u_port_v: Sequence[float],
    windows_v: Mapping[str, tuple[float, float]],
    ax: Axes | None = None,
) -> Axes:
    """Draw levels (V) in their order over two cycles with their 95 % intervals, and each line's volts; return the Axes.

    ``windows_v`` says by name between which volts a line has half of its light; a window of no width is a plain level.
    Time is in steps of the cycle.
    """
    ax = axes_or_new(ax)
    count = len(port_v)
    levels = np.array([*port_v, *port_v, port_v[0]])
    _draw_bands(ax, windows_v, 2.0 * count)
    ax.step(np.arange(2 * count + 1), levels, where="post", color=BLUE, linewidth=1.8, label="volts at the port")
    middles = np.arange(2 * count) + 0.5
    ax.errorbar(middles, levels[:-1], yerr=1.96 * np.array([*u_port_v, *u_port_v]), fmt="none", ecolor=ORANGE,
                capsize=4, linewidth=1.4, label="95 % as typed")  # fmt: skip
    ax.set_xlim(0.0, 2.0 * count)
    return legend_above(name_axes(ax, "Time (steps)", "Volts at the port (V)"))


def plot_generator_sweep(
    time_us: Floats,
    port_v: Floats,
    bands_v: Mapping[str, tuple[float, float]],
    windows_us: Mapping[str, Sequence[tuple[float, float]]],
    ax: Axes | None = None,
) -> Axes:
    """Draw ``port_v`` (n,) against ``time_us`` (n,), thick where a line lights, over the lines' volts; return the Axes.

    ``bands_v`` and ``windows_us`` say by name between which volts, and when, a line has half of its light or more.
    """
    ax = axes_or_new(ax)
    _draw_bands(ax, bands_v, float(time_us[-1]))
    ax.plot(time_us, port_v, "-", color=GREY, linewidth=1.2, label="volts at the port")
    period = float(time_us[-1])
    for k, (start, stop) in enumerate(pair for pairs in windows_us.values() for pair in pairs):
        lit = ((time_us - start) % period) <= stop - start
        ax.plot(time_us, np.where(lit, port_v, np.nan), "-", color=BLUE, linewidth=4.5, solid_capstyle="butt",
                label="a line lights" if k == 0 else None)  # fmt: skip
        ax.axvline((0.5 * (start + stop)) % period, color=ORANGE, linewidth=0.8, linestyle=":")
    ax.set_xlim(0.0, period)
    return legend_above(name_axes(ax, "Time (µs)", "Volts at the port (V)"))


def _draw_bands(ax: Axes, bands_v: Mapping[str, tuple[float, float]], right: float) -> None:
    for k, (name, (low, high)) in enumerate(bands_v.items()):
        if high > low:
            ax.axhspan(low, high, facecolor="0.88", edgecolor=GREY, hatch=_HATCHES[k % len(_HATCHES)], linewidth=0.6)
        else:
            ax.axhline(low, color=GREY, linewidth=0.8, linestyle="--")
        ax.annotate(name, (right, 0.5 * (low + high)), xytext=(4, 0), textcoords="offset points", va="center",
                    fontsize="small", annotation_clip=False)  # fmt: skip
