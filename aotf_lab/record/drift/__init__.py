"""What moves the links between calibrations, and when the next is due.

drift     ``drift_of``, ``drift_of_tables`` -> ``Drift``: both links, ``due``
history   one link's records side by side; ``records`` makes them out of kept calibrations
link      ``LinkDrift``: temperature and ageing of one link; ``checks`` what could make them wrong
between   the fit with an unknown scatter between records -> ``Scattered`` (scattered.py); wander a part of it
chart     ``control_chart`` -> ``ControlChart``
due       ``Due``: the day, and what sets it; ``due_of`` finds it
"""

from aotf_lab.record.drift.chart import ControlChart, control_chart
from aotf_lab.record.drift.drift import Drift, drift_of, drift_of_tables
from aotf_lab.record.drift.due import Due, Passband
from aotf_lab.record.drift.link import LinkDrift

__all__ = ["ControlChart", "Drift", "Due", "LinkDrift", "Passband", "control_chart", "drift_of", "drift_of_tables"]
