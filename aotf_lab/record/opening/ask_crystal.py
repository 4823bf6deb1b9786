"""The peak of a line against the one that was kept."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from uncertainties import UFloat

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.opening.link import NORMAL_95, Question
from aotf_lab.record.opening.prior import CRYSTAL_DRIFT, crystal_columns
from aotf_lab.record.stored import common_keys, stored_numbers

__all__ = ["ask_crystal"]


def ask_crystal(
    record: CrystalRecord,
    peaks: Mapping[str, UFloat],
    crystal_c: float | None,
    instruments: Mapping[str, str] | None,
) -> Question:
    """Return what the peaks (line -> true MHz) ask of the crystal.

    Raises ``ReadingsError`` for a peak without a size or u, ``AotfLabError`` for a line whose peak was not kept.
    """
    for line, peak in peaks.items():
        if not (isinstance(peak, UFloat) and np.isfinite(peak.n) and peak.n > 0 and np.isfinite(peak.s) and peak.s > 0):
            raise ReadingsError(
                f"peak of line {line}", found=Said(str(peak)), allowed="a frequency in MHz with its uncertainty",
                cure="give the centre_mhz of a fitted scan, or ufloat(value, u)",
            )  # fmt: skip
        record.peak(line)
    names = [line for line in record.lines if record.known("peak", line)]
    places = {line: record.numbers.place(f"peak {line}") for line in names}
    units = np.eye(len(record.numbers))
    rows = units[[places[line] for line in peaks]]
    widths = [record.fwhm_mhz(line).n for line in peaks if record.known("fwhm", line)]
    return Question(
        "crystal", record.numbers, rows,
        stored_numbers({f"peak of {line}": peak for line, peak in peaks.items()}, common=common_keys(instruments)),
        crystal_columns(record), CRYSTAL_DRIFT, units[list(places.values())], min(widths, default=float("nan")),
        float(np.mean(rows @ record.numbers.values)), max(1.0, *(record.coverage_factor(n) / NORMAL_95 for n in peaks)),
        _by_temperature(record, float(np.mean(rows @ record.numbers.values)), crystal_c),
    )  # fmt: skip


def _by_temperature(record: CrystalRecord, frequency_mhz: float, today_c: float | None) -> tuple[float, float] | None:
    """Return what the crystal's temperature makes of the shift (MHz) with its u, None where that is not known."""
    then_c, coefficient = record.conditions.get("crystal_c"), record.coefficients.get("relative_per_k")
    if today_c is None or then_c is None or coefficient is None:
        return None
    warmer = today_c - then_c
    return frequency_mhz * coefficient[0] * warmer, frequency_mhz * coefficient[1] * abs(warmer)
