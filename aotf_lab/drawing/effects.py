"""The plots of what moves the oscillator's frequency: the load behind it, and the mains."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes

__all__ = ["plot_hum", "plot_pulling"]

Floats = NDArray[np.float64]


def plot_pulling(
    loads: Sequence[str], shift_mhz: Floats, half_mhz: Floats, reference: str, *, ax: Axes | None = None
) -> Axes:
    """Draw the shift (k,) of ``loads`` from the ``reference`` and half its interval (k,) in kHz; return the Axes."""
    ax = axes_or_new(ax)
    places = np.arange(len(loads))[::-1]
    ax.errorbar(
        1e3 * shift_mhz, places, xerr=1e3 * half_mhz, fmt="o", color=BLUE, capsize=3, label="shift, 95 % interval"
    )
    ax.axvline(0, color=GREY, linewidth=0.9, linestyle="--", label=f"{reference}, the reference")
    ax.set_yticks(places, list(loads))
    ax.set_ylim(-0.6, len(loads) - 0.4)
    return legend_above(name_axes(ax, "Shift of the frequency (kHz)", "Load"))


def plot_hum(
    frequency_hz: Floats,
    amplitude_mhz: Floats,
    lines_mhz: Mapping[float, tuple[float, float]],
    *,
    ax: Axes | None = None,
) -> Axes:
    """Draw the amplitude (n,) in the readings, and each line (Hz) with its own and half its interval; return the Axes.

    Both are in MHz and are drawn in kHz.
    """
    ax = axes_or_new(ax)
    ax.plot(frequency_hz, 1e3 * amplitude_mhz, "-", color=BLUE, linewidth=0.8, label="readings, Hann window")
    found = np.array([size for size, _ in lines_mhz.values()])
    half = np.array([half for _, half in lines_mhz.values()])
    low = np.minimum(half, found)
    ax.errorbar(
        list(lines_mhz), 1e3 * found, yerr=1e3 * np.stack([low, half]), fmt="o", color=ORANGE, capsize=3,
        label="hum, 95 % interval",
    )  # fmt: skip
    return legend_above(name_axes(ax, "Frequency of the wander (Hz)", "Amplitude of the frequency (kHz)"))
