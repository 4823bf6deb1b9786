"""Drawing: every plot; takes arrays and an Axes, returns the Axes. The only importer of matplotlib."""

from aotf_lab.drawing.curves import (
    mark_found_lines,
    mark_rated_power,
    plot_curve,
    plot_efficiency,
    plot_light_residuals,
    plot_residuals,
    plot_scan,
    plot_tuning,
    plot_vco,
)
from aotf_lab.drawing.figures import axes_or_new, figure_to_svg, legend_above, legend_in_words, lightened, new_figure

__all__ = [
    "axes_or_new",
    "figure_to_svg",
    "legend_above",
    "legend_in_words",
    "lightened",
    "mark_found_lines",
    "mark_rated_power",
    "new_figure",
    "plot_curve",
    "plot_efficiency",
    "plot_light_residuals",
    "plot_residuals",
    "plot_scan",
    "plot_tuning",
    "plot_vco",
]
