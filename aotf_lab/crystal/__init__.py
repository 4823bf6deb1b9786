"""The crystal: passband, tuning curve and cut, efficiency against RF power.

tuning/      lines -> frequency against wavelength, and back
cut          lines -> the parallel-tangent cut, by exact phase matching
scan         readings around a peak -> the passband of one line
efficiency/  RF powers and light -> efficiency of one line, or of several that share the crystal
"""

from aotf_lab.crystal.cut import Cut, fit_cut
from aotf_lab.crystal.efficiency.curve import EfficiencyCurve
from aotf_lab.crystal.efficiency.lines import EfficiencyLines, fit_efficiency_lines
from aotf_lab.crystal.efficiency.one_line import Efficiency, fit_efficiency
from aotf_lab.crystal.scan.passband import Scan, fit_scan
from aotf_lab.crystal.tuning.curve import Tuning, fit_tuning

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
