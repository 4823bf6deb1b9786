"""The plot of a modulator's response: light against the carrier's frequency, best carrier and bandwidth marked."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.curves import plot_scan
from aotf_lab.drawing.figures import BLUE, legend_above

__all__ = ["plot_response"]

Floats = NDArray[np.float64]


def plot_response(
    frequency_mhz: Floats,
    power_mw: Floats,
    readings: Mapping[str, tuple[Floats, Floats]],
    carrier_mhz: float,
    bandwidth_mhz: float,
    ax: Axes | None = None,
) -> Axes:
    """Draw the fitted light (mW) at carriers (MHz) and the ``readings`` of each way; return the Axes."""
    named = f"best carrier {carrier_mhz:.4g} MHz"
    ax = plot_scan(frequency_mhz, {"response": power_mw}, readings, carrier_mhz, ax, centre=named)
    half = 0.5 * bandwidth_mhz
    label = f"-3 dB band {bandwidth_mhz:.3g} MHz"
    ax.axvspan(carrier_mhz - half, carrier_mhz + half, color=BLUE, alpha=0.08, linewidth=0, label=label)
    return legend_above(ax)
