"""The plots of purity: light of all lines against frequency, the crosstalk matrix, contrast against drive."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from aotf_lab.drawing.figures import BLUE, GREY, ORANGE, axes_or_new, legend_above, name_axes
from aotf_lab.quantities import axis_label

__all__ = ["plot_contrast", "plot_crosstalk", "plot_passbands"]

Floats = NDArray[np.float64]

_FLOOR_DB = -60.0


def plot_passbands(frequency_mhz: Floats, curves: Mapping[str, tuple[Floats, Floats]], ax: Axes | None = None) -> Axes:
    """Draw each line's efficiency (solid) and its bound (dotted), in dB; ``curves``: line -> the two (n,)."""
    ax = axes_or_new(ax)
    for k, (name, (nominal, upper)) in enumerate(curves.items()):
        ink = (BLUE, ORANGE, GREY)[k % 3]
        ax.plot(frequency_mhz, _db(nominal), "-", color=ink, linewidth=0.9)
        ax.plot(frequency_mhz, _db(upper), ":", color=ink, linewidth=1.3)
        top = int(np.nanargmax(nominal))
        ax.annotate(
            name, (frequency_mhz[top], _db(nominal)[top]), xytext=(0, 4), textcoords="offset points", ha="center"
        )
    ax.plot([], [], "-", color=GREY, linewidth=0.9, label="coupled waves, near the peak")
    ax.plot([], [], ":", color=GREY, linewidth=1.3, label="no null counted on")
    ax.set_ylim(_FLOOR_DB, 6.0)
    return legend_above(name_axes(ax, axis_label("frequency_mhz"), "Efficiency (dB)"))


def plot_crosstalk(
    lines: Sequence[str], others: Sequence[str], level_db: Floats, words: Sequence[Sequence[str]],
    ax: Axes | None = None,
) -> Axes:  # fmt: skip
    """Draw the matrix ``level_db`` (lines set, lines of light) in shades of grey-blue with ``words`` in each cell."""
    ax = axes_or_new(ax)
    shown = np.where(np.isfinite(level_db), level_db, _FLOOR_DB)
    ax.imshow(shown, cmap="Blues", vmin=_FLOOR_DB, vmax=0.0, aspect="auto")
    for row, cells in enumerate(words):
        for column, text in enumerate(cells):
            ink = "white" if shown[row, column] > 0.4 * _FLOOR_DB else "black"
            ax.text(column, row, text, ha="center", va="center", fontsize="x-small", color=ink)
    ax.set_xticks(range(len(others)), others)
    ax.set_yticks(range(len(lines)), lines)
    told = ": predicted, and measured below it" if any("\n" in text for cells in words for text in cells) else ""
    ax.set_title(f"Crosstalk in dB{told}", fontsize="medium")
    ax.set_xlabel("Light of line")
    ax.set_ylabel("Filter set to line")
    return ax


def plot_contrast(
    rf_power_w: Floats, light: Floats, level_db: Floats, bound_db: Floats, marks: Mapping[str, float], line: str,
    ax: Axes | None = None,
) -> Axes:  # fmt: skip
    """Draw crosstalk (dB, left) and the line's own efficiency (right, dashed) against RF power; ``marks`` in W."""
    ax = axes_or_new(ax)
    ax.plot(rf_power_w, bound_db, "-", color=BLUE, linewidth=1.6, label="crosstalk, no null counted on")
    ax.plot(rf_power_w, level_db, ":", color=BLUE, linewidth=1.4, label="crosstalk, coupled waves")
    for (name, power), style in zip(marks.items(), ("-.", "--", ":"), strict=False):
        ax.axvline(power, color=GREY, linewidth=0.9, linestyle=style, label=f"{name}: {power:.3g} W")
    name_axes(ax, axis_label("rf_power_w"), f"Light of the other lines over that of {line} (dB)")
    right = ax.twinx()
    right.plot(rf_power_w, light, "--", color=ORANGE, linewidth=1.6, label=f"efficiency of {line}")
    right.set_ylabel(axis_label("efficiency"))
    right.set_ylim(0.0, 1.0)
    return legend_above(ax)


def _db(values: Floats) -> Floats:
    return np.asarray(10.0 * np.log10(np.maximum(values, 1e-9)))
