"""The plot of a spectrum: density against wavelength, its uncertainty, and the resolution it was seen with."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes
from aotf_lab.quantities import axis_label

__all__ = ["plot_spectrum"]

Floats = NDArray[np.float64]


def plot_spectrum(
    wavelength_nm: Floats,
    density_mw_per_nm: Floats,
    u_noise: Floats,
    u_whole: Floats,
    resolution_nm: Floats,
    label: str = "",
    ax: Axes | None = None,
) -> Axes:
    """Draw the density at rising wavelengths (n,); bars are each point's own u, the band is the whole at 95 %.

    A bar at the top shows the resolution at the highest point. Returns the Axes.
    """
    ax = axes_or_new(ax)
    low, high = density_mw_per_nm - 1.96 * u_whole, density_mw_per_nm + 1.96 * u_whole
    ax.fill_between(wavelength_nm, low, high, color=BLUE, alpha=0.25, linewidth=0, label="95 %, shared errors included")
    ax.plot(wavelength_nm, density_mw_per_nm, "-", color=BLUE, linewidth=1.2)
    ax.errorbar(
        wavelength_nm, density_mw_per_nm, yerr=u_noise, fmt="o", color=ORANGE, markersize=3, linewidth=0.8,
        label="readings, u of each alone",
    )  # fmt: skip
    top = int(np.argmax(density_mw_per_nm))
    half, height = 0.5 * float(resolution_nm[top]), 1.06 * float(density_mw_per_nm[top])
    ax.plot(wavelength_nm[top] + np.array([-half, half]), [height, height], "|-", color=GREY, linewidth=1.6,
            label=f"resolution, {2 * half:.2g} nm")  # fmt: skip
    if label:
        ax.set_title(label, fontsize="medium", loc="left")
    return legend_above(name_axes(ax, axis_label("wavelength_nm"), "Spectral power S (mW/nm)"))
