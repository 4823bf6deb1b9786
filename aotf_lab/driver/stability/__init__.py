"""The oscillator in time: warm-up, stability, what pushes and pulls it, and what each costs at a set-point.

warm_up_fit   ``fit_warm_up``: log -> ``WarmUp`` (warm_up.py, its checks in warm_up_checks.py)
              log.py the rows, smooth_temperature.py the box, exponentials.py the law, walk.py the noise
stability_of  ``stability``: log -> ``Stability`` (stability.py); allan.py the deviation, even.py the rows
pushing, pulling, hum   supply, load, mains; stepped.py what changes from row to row do beside drift and wander
budget_of     ``stability_budget``: all of these -> ``StabilityBudget`` (budget.py)
"""

from aotf_lab.driver.stability.allan import Allan, allan_deviation
from aotf_lab.driver.stability.budget import StabilityBudget, StabilityTerm
from aotf_lab.driver.stability.budget_of import stability_budget
from aotf_lab.driver.stability.hum import Hum, fit_hum
from aotf_lab.driver.stability.pulling import Pulling, fit_pulling
from aotf_lab.driver.stability.pushing import Pushing, fit_pushing
from aotf_lab.driver.stability.stability import Stability
from aotf_lab.driver.stability.stability_of import stability
from aotf_lab.driver.stability.warm_up import WarmUp
from aotf_lab.driver.stability.warm_up_fit import fit_warm_up

__all__ = [
    "Allan",
    "Hum",
    "Pulling",
    "Pushing",
    "Stability",
    "StabilityBudget",
    "StabilityTerm",
    "WarmUp",
    "allan_deviation",
    "fit_hum",
    "fit_pulling",
    "fit_pushing",
    "fit_warm_up",
    "stability",
    "stability_budget",
]
