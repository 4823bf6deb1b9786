"""The crystal: passband, tuning curve and cut, efficiency against RF power.

    tuning          lines -> frequency against wavelength and back    tuning_law, tuning_lines, tuning_order,
                    tuning_checks, tuning_labels, tuning_cures serve it
    cut             lines -> the parallel-tangent cut by exact phase matching
"""

from aotf_lab.crystal.cut import Cut, fit_cut
from aotf_lab.crystal.tuning import Tuning, fit_tuning

__all__ = ["Cut", "Tuning", "fit_cut", "fit_tuning"]
