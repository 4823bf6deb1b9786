"""The plot of an identity: peaks over wavelength against the catalogue, and how far two assignments miss them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes, name_points
from aotf_lab.quantities import axis_label

__all__ = ["plot_identity"]

Floats = NDArray[np.float64]


def plot_identity(
    names: Sequence[str],
    frequency_mhz: Floats,
    catalogue_nm: Floats,
    places_nm: Mapping[str, Floats],
    misfits: Mapping[str, Floats],
    found_nm: Floats,
    curve: Callable[[Floats], Floats] | None,
    ax: Axes | None = None,
) -> Axes:
    """Draw peaks (m,) at the wavelengths that each assignment gives them, over the lines of the catalogue (n,).

    ``places_nm`` and ``misfits`` (in standard uncertainties) are (m,) for each assignment, the best first, nan where
    a peak is no line; ``found_nm`` is where the others put each peak. The misfits go into a panel within the Axes.
    """
    ax = axes_or_new(ax)
    for k, nm in enumerate(catalogue_nm):
        ax.axvline(nm, color="0.8", linewidth=0.7, label="lines of the catalogue" if k == 0 else None)
    if curve is not None:
        shown = np.concatenate([*places_nm.values(), found_nm])
        grid = np.linspace(np.nanmin(shown), np.nanmax(shown), 200)
        ax.plot(grid, curve(grid), "-", color=BLUE, linewidth=1.4, label="curve of the best assignment")
    for (name, nm), (marker, ink, face, size) in zip(places_nm.items(), _STYLES, strict=False):
        ax.plot(nm, frequency_mhz, marker, color=ink, markerfacecolor=face, markersize=size, label=name)
    spare = np.isnan(next(iter(places_nm.values())))
    if spare.any():
        ax.plot(found_nm[spare], frequency_mhz[spare], "x", color=GREY, markersize=6, label="none of these lines")
    places = np.where(spare, found_nm, next(iter(places_nm.values())))
    known = np.isfinite(places)
    name_points(ax, np.asarray(names)[known].tolist(), places[known], frequency_mhz[known])
    legend_above(name_axes(ax, axis_label("wavelength_nm"), axis_label("frequency_mhz")))
    _misfits(ax, places_nm, misfits)
    return ax


_STYLES = (("o", ORANGE, ORANGE, 5), ("s", GREY, "none", 9))


def _misfits(ax: Axes, places_nm: Mapping[str, Floats], misfits: Mapping[str, Floats]) -> None:
    """Draw the misfits in the lower quarter of the space of ``ax``."""
    if not any(np.isfinite(z).any() for z in misfits.values()):
        return
    low, high = ax.get_ylim()
    ticks = [t for t in ax.get_yticks() if low <= t <= high]
    ax.set_ylim(low - 0.5 * (high - low), high + 0.06 * (high - low))
    ax.set_yticks(ticks)
    below = ax.inset_axes((0.0, 0.0, 1.0, 0.26), sharex=ax)
    below.axhline(0.0, color="0.6", linewidth=0.8)
    for (name, z), (marker, ink, face, size) in zip(misfits.items(), _STYLES, strict=False):
        below.plot(places_nm[name], z, marker, color=ink, markerfacecolor=face, markersize=0.8 * size)
    below.margins(y=0.3)
    below.set_ylabel("Misfit (u)", fontsize="small")
    below.tick_params(labelsize="small")
    below.tick_params(axis="x", length=0, labelbottom=False)
