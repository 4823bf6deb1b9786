"""Public names of aotf_lab, for type checkers; the homes are those of ``__init__.py``."""

from aotf_lab.crystal import (
    Cut as Cut,
    Efficiency as Efficiency,
    EfficiencyLines as EfficiencyLines,
    Scan as Scan,
    Tuning as Tuning,
    fit_cut as fit_cut,
    fit_efficiency as fit_efficiency,
    fit_efficiency_lines as fit_efficiency_lines,
    fit_scan as fit_scan,
    fit_tuning as fit_tuning,
)
from aotf_lab.driver import (
    Vco as Vco,
    fit_vco as fit_vco,
)
from aotf_lab.errors import (
    AotfLabError as AotfLabError,
    FitError as FitError,
    MaterialError as MaterialError,
    OutOfRangeError as OutOfRangeError,
    ReadingError as ReadingError,
    ReadingsError as ReadingsError,
    SessionError as SessionError,
    UnsafeDriveError as UnsafeDriveError,
)
from aotf_lab.planning import (
    Curves as Curves,
    SetPoint as SetPoint,
    SetPoints as SetPoints,
    set_points as set_points,
)
from aotf_lab.reading import (
    Instruments as Instruments,
    Readings as Readings,
    Receipt as Receipt,
    read_counter as read_counter,
    read_lines as read_lines,
    read_power_log as read_power_log,
    read_scope_levels as read_scope_levels,
    read_table as read_table,
)
from aotf_lab.report import (
    write_report as write_report,
)
from aotf_lab.session import (
    Session as Session,
    open_session as open_session,
)
from aotf_lab.simulate import (
    simulate_session as simulate_session,
)

__all__ = [
    "AotfLabError",
    "Curves",
    "Cut",
    "Efficiency",
    "EfficiencyLines",
    "FitError",
    "Instruments",
    "MaterialError",
    "OutOfRangeError",
    "ReadingError",
    "Readings",
    "ReadingsError",
    "Receipt",
    "Scan",
    "Session",
    "SessionError",
    "SetPoint",
    "SetPoints",
    "Tuning",
    "UnsafeDriveError",
    "Vco",
    "fit_cut",
    "fit_efficiency",
    "fit_efficiency_lines",
    "fit_scan",
    "fit_tuning",
    "fit_vco",
    "open_session",
    "read_counter",
    "read_lines",
    "read_power_log",
    "read_scope_levels",
    "read_table",
    "set_points",
    "simulate_session",
    "write_report",
]
