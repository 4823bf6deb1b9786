"""Efficiencies that were read beside the peak of their line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from aotf_lab.estimation.checks import z_limit
from aotf_lab.session.contradictions.contradiction import Contradiction, ReadFile
from aotf_lab.session.session import Session

__all__ = ["against_peak"]

MOST_MISSED = 0.02
"""Share of the light that a setting beside the peak may cost before the efficiency is called another's (our own)."""


def against_peak(session: Session, reads: Sequence[ReadFile]) -> Iterator[Contradiction]:
    """Yield efficiencies of a scanned line whose counted frequency lies beside its peak.

    The light lost there is that of the scan's own passband, at the least that its uncertainty allows. What lies a whole
    scan away from the scan is left to ``against_scans``.
    """
    scans = session.part("scans") or {}
    for read in reads:
        scan = scans.get(read.file.line or "")
        if read.file.purpose != "efficiency" or scan is None or not read.has("frequency_mhz"):
            continue
        low, high = scan.range_mhz
        at = float(np.nanmedian(read.readings.table["frequency_mhz"].to_numpy(dtype=float)))
        if not 2.0 * low - high <= at <= 2.0 * high - low:
            continue
        share = scan.share_of_peak(min(max(at, low), high))
        if 1.0 - share.n - z_limit() * share.s > MOST_MISSED:
            yield Contradiction(
                "an efficiency measured beside the peak of its line", read.name,
                f"{at:.6g} MHz, where the scan passes {100.0 * share.n:.0f} % of the light",
                f'line = "{read.file.line}", whose scan peaks at {scan.centre_mhz.n:.6g} MHz',
                "measure it at the peak, for it says nothing of the light there; or correct line", True,
            )  # fmt: skip
