"""Read forward and reflected voltages from a directional coupler."""

from __future__ import annotations

import os

from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.table import read_bare_table

__all__ = ["read_reflection"]


def read_reflection(
    path: str | os.PathLike[str], columns: ColumnMap | None = None, *, layout: Layout | None = None
) -> Readings:
    """Return ``frequency_mhz``, ``forward_v`` and ``reflected_v`` (V), one row per frequency.

    ``file`` and ``line`` say where each stands. Both voltages come from one meter with one coupling, so that only
    their ratio counts. Raises ``ReadingError``.
    """
    required = ("frequency_mhz", "forward_v", "reflected_v")
    return read_bare_table(path, columns=columns, layout=layout, required=required)
