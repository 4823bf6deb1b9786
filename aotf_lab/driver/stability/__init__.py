"""The oscillator in time: warm-up, stability, what pushes and pulls it, and what each costs at a set-point.

warm_up_fit  ``fit_warm_up``: log -> ``WarmUp`` (warm_up.py, its checks in warm_up_checks.py)
             log.py the rows, smooth_temperature.py the box, exponentials.py the law, walk.py the noise
"""

from aotf_lab.driver.stability.warm_up import WarmUp
from aotf_lab.driver.stability.warm_up_fit import fit_warm_up

__all__ = ["WarmUp", "fit_warm_up"]
