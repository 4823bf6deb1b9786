"""Read a trace of light that is switched, alone or beside the drive."""

from __future__ import annotations

import os

from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.trace import read_trace

__all__ = ["read_edge"]


def read_edge(
    path: str | os.PathLike[str], columns: ColumnMap | None = None, *, layout: Layout | None = None
) -> Readings:
    """Return one row per sample: ``time_s``, ``signal_v`` (the light's detector) and, if there, ``drive_v``; ``file``
    and ``line``.

    ``drive_v`` is the channel that shows the drive: the oscillator's port, or the gate of a switch. Time may be a
    column or follow from a sample interval above the headings. Raises ``ReadingError``, also for a trace without time.
    """
    return read_trace(path, columns, layout=layout)
