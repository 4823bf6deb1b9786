"""Public names of aotf_lab, for type checkers; the homes are those of ``__init__.py``."""

from aotf_lab.crystal import (
    Cut as Cut,
)
from aotf_lab.crystal import (
    Efficiency as Efficiency,
)
from aotf_lab.crystal import (
    EfficiencyLines as EfficiencyLines,
)
from aotf_lab.crystal import (
    Scan as Scan,
)
from aotf_lab.crystal import (
    Tuning as Tuning,
)
from aotf_lab.crystal import (
    fit_cut as fit_cut,
)
from aotf_lab.crystal import (
    fit_efficiency as fit_efficiency,
)
from aotf_lab.crystal import (
    fit_efficiency_lines as fit_efficiency_lines,
)
from aotf_lab.crystal import (
    fit_scan as fit_scan,
)
from aotf_lab.crystal import (
    fit_tuning as fit_tuning,
)
from aotf_lab.driver import (
    Vco as Vco,
)
from aotf_lab.driver import (
    fit_vco as fit_vco,
)
from aotf_lab.errors import (
    AotfLabError as AotfLabError,
)
from aotf_lab.errors import (
    FitError as FitError,
)
from aotf_lab.errors import (
    MaterialError as MaterialError,
)
from aotf_lab.errors import (
    OutOfRangeError as OutOfRangeError,
)
from aotf_lab.errors import (
    ReadingError as ReadingError,
)
from aotf_lab.errors import (
    ReadingsError as ReadingsError,
)
from aotf_lab.errors import (
    SessionError as SessionError,
)
from aotf_lab.errors import (
    UnsafeDriveError as UnsafeDriveError,
)
from aotf_lab.planning import (
    Curves as Curves,
)
from aotf_lab.planning import (
    SetPoint as SetPoint,
)
from aotf_lab.planning import (
    SetPoints as SetPoints,
)
from aotf_lab.planning import (
    set_points as set_points,
)
from aotf_lab.reading import (
    Instruments as Instruments,
)
from aotf_lab.reading import (
    Readings as Readings,
)
from aotf_lab.reading import (
    Receipt as Receipt,
)
from aotf_lab.reading import (
    read_counter as read_counter,
)
from aotf_lab.reading import (
    read_lines as read_lines,
)
from aotf_lab.reading import (
    read_power_log as read_power_log,
)
from aotf_lab.reading import (
    read_scope_levels as read_scope_levels,
)
from aotf_lab.reading import (
    read_table as read_table,
)
from aotf_lab.report import (
    write_report as write_report,
)
from aotf_lab.session import (
    Session as Session,
)
from aotf_lab.session import (
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
