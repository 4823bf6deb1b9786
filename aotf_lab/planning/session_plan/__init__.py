"""How many readings, and where, before any is made: what a session must hold to reach a target.

typical   the bench as it may be: an oscillator of the stated range, a crystal of the stated cut
scan      how many points of a scan, how wide, for how well a peak
powers    which RF powers tell a saturation power, and how often each
joint     curve, tuning law and stated wavelengths as one set of unknowns, and every reading on it
plan      readings one after the other, each the best for its cost, until the target is met
result    the plan as a table and in words
"""

from aotf_lab.planning.session_plan.plan import plan_session
from aotf_lab.planning.session_plan.powers import PowerPlan
from aotf_lab.planning.session_plan.result import PlannedScan, SessionPlan
from aotf_lab.planning.session_plan.typical import Prospect, ProspectLine

__all__ = ["PlannedScan", "PowerPlan", "Prospect", "ProspectLine", "SessionPlan", "plan_session"]
