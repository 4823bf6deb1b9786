"""The lines of a session: as stated in session.toml, and as readings for the tuning fit."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd
from uncertainties import UFloat, ufloat

from aotf_lab.crystal import Scan
from aotf_lab.estimation import u_by_cause
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.session_file import LineFacts

__all__ = ["lines_from_scans", "stated_wavelength"]


def stated_wavelength(line: LineFacts) -> UFloat | None:
    """Return the line's vacuum wavelength (nm) as stated, None when it is not."""
    if line.wavelength_nm is None:
        return None
    return ufloat(line.wavelength_nm, line.u_wavelength_nm, tag=f"wavelength of line {line.name}")


def lines_from_scans(anchors: list[LineFacts], scans: Mapping[str, Scan]) -> Readings:
    """Return the anchors with the centres of their scans as readings for the tuning fit.

    The errors that all scans share (the counter's time base) stay shared: they are no part of ``u_frequency_mhz``.
    """
    rows = [
        {
            "label": line.name,
            "wavelength_nm": line.wavelength_nm,
            "u_wavelength_nm": line.u_wavelength_nm,
            "frequency_mhz": scans[line.name].centre_mhz.n,
            "u_frequency_mhz": _u_without_shared(scans[line.name]),
        }
        for line in anchors
    ]
    parts = [scans[line.name].readings for line in anchors]
    common = {id(e.variable): e for p in parts for e in p.common_errors("frequency_mhz")}
    sources = tuple(s for p in parts for s in p.sources)
    return Readings(pd.DataFrame(rows), tuple(common.values()), (), sources)


def _u_without_shared(scan: Scan) -> float:
    """Return the standard uncertainty of a scan's centre (MHz) without the errors shared by all scans."""
    shared = {e.name for e in scan.readings.common_errors("frequency_mhz")}
    return float(sum(u**2 for cause, u in u_by_cause(scan.centre_mhz).items() if cause not in shared) ** 0.5)
