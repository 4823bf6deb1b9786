"""RF power over the band and against the amplifier's supply, and the highest supply that cannot hurt the crystal.

fit           ``fit_level``: readings of level -> ``Level`` (level.py)
parts         a table for each file, with the errors of its own way of reading
rows          which readings make the run over the supply, and which the run over the band
supply_curve  sqrt(power) against supply: the law with a threshold and a knee, or a smooth curve where it fails
numbers       many powers from few independent causes, their correlation kept
current       the amplifier's current, heat and efficiency;  checks  what was asked of the readings
limits        average and peak: two limits, never one for the other
safe_supply   the highest supply whose upper bound stays below the limit at every frequency of the band
"""

from aotf_lab.driver.level.fit import fit_level
from aotf_lab.driver.level.level import Level
from aotf_lab.driver.level.limits import DriveLimits, average_w
from aotf_lab.driver.level.safe_supply import SafeSupply, safe_supply, supply_for

__all__ = ["DriveLimits", "Level", "SafeSupply", "average_w", "fit_level", "safe_supply", "supply_for"]
