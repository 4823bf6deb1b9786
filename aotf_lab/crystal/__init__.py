"""The crystal: passband, tuning curve and cut, efficiency against RF power.

tuning          lines -> frequency against wavelength and back    tuning_law, tuning_lines, tuning_order,
                tuning_checks, tuning_labels, tuning_cures serve it
scan            readings -> the passband of one line    scan_table, scan_guess, scan_known, scan_model, scan_first,
                scan_noise, scan_likelihood, scan_fit, scan_point, scan_sidelobes, scan_checks serve it
cut             lines -> the parallel-tangent cut by exact phase matching
efficiency      RF powers -> efficiency of one line and back      efficiency_law, efficiency_readings, efficiency_start,
                efficiency_curve, efficiency_intervals, efficiency_checks serve it
efficiency_lines  several lines that share one crystal            efficiency_shared serves it
"""

from aotf_lab.crystal.cut import Cut, fit_cut
from aotf_lab.crystal.efficiency import Efficiency, fit_efficiency
from aotf_lab.crystal.efficiency_curve import EfficiencyCurve
from aotf_lab.crystal.efficiency_lines import EfficiencyLines, fit_efficiency_lines
from aotf_lab.crystal.scan import Scan, fit_scan
from aotf_lab.crystal.tuning import Tuning, fit_tuning

__all__ = [
    "Cut",
    "Efficiency",
    "EfficiencyCurve",
    "EfficiencyLines",
    "Scan",
    "Tuning",
    "fit_cut",
    "fit_efficiency",
    "fit_efficiency_lines",
    "fit_scan",
    "fit_tuning",
]
