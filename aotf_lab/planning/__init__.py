"""Planning: what to set, line by line, so that it is safe and sure."""

from aotf_lab.planning.curves import Curves, light_lost_percent
from aotf_lab.planning.safe_drive import highest_safe_power, require_safe, upper_bound
from aotf_lab.planning.set_point import SetPoint, SetPoints, shown
from aotf_lab.planning.set_points import set_points

__all__ = [
    "Curves",
    "SetPoint",
    "SetPoints",
    "highest_safe_power",
    "light_lost_percent",
    "require_safe",
    "set_points",
    "shown",
    "upper_bound",
]
