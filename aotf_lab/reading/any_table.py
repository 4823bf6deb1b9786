"""Read any table of the bench whose headings can be understood."""

from __future__ import annotations

import os
from collections.abc import Sequence

from aotf_lab.reading.accuracy import add_drive_errors, add_frequency_errors, add_optical_errors
from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.instruments import Instruments
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.table import read_bare_table

__all__ = ["read_table"]


def read_table(
    path: str | os.PathLike[str],
    *,
    columns: ColumnMap | None = None,
    instruments: Instruments | None = None,
    layout: Layout | None = None,
    label: str | Sequence[str] = (),
) -> Readings:
    """Return every understood column of ``path`` in bench units, with ``file`` and ``line``.

    Nothing is derived: a level stays a level, a wavelength stays in its medium (a heading that
    does not name the medium gives ``wavelength_stated_nm``). With ``instruments`` the columns
    ``drive_v``, ``frequency_mhz`` and the optical powers receive their u and their shared errors;
    without, only what the file states is there. ``columns`` maps a column name to the heading that holds it,
    or to several that hold repeats; ``layout`` states what else is not to be found from the file; ``label``
    names lines that have a column each. Raises ``ReadingError``.
    """
    readings = read_bare_table(path, columns=columns, layout=layout, label=label)
    if instruments is None:
        return readings
    if "drive_v" in readings.table.columns:
        readings = add_drive_errors(readings, instruments)
    if "frequency_mhz" in readings.table.columns:
        readings = add_frequency_errors(readings, instruments)
    if "optical_power_mw" in readings.table.columns:
        readings = add_optical_errors(readings, instruments)
    return readings
