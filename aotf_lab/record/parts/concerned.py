"""Which kept calibrations, files and lines a change concerns, and how much it moves them."""

from __future__ import annotations

from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.parts.known import Result

__all__ = ["concerned", "size_of_change"]

_MOST_FILES = 4
_MOVED = {"supply": ("mhz_per_supply_v", 0.1, "V of supply"), "box": ("mhz_per_k", 1.0, "K")}
"""Part -> (coefficient, a change to speak of, its unit)."""


def concerned(
    result: Result, oscillator: OscillatorRecord | None, crystal: CrystalRecord | None, line: str = ""
) -> str:
    """Return the calibration that holds ``result``, its raw files and its lines (only ``line`` where one is named)."""
    record = {"oscillator": oscillator, "crystal": crystal}.get(result.of)
    if record is None:
        return ""
    words = f"{result.of} of {record.measured}"
    files = [s.name for s in record.made_of]
    if result.lines and isinstance(record, CrystalRecord):
        lines = [n for n in record.lines if record.known(result.lines, n) and line in ("", n)]
        return (
            f"{words}: line{'s' if len(lines) > 1 else ''} {', '.join(lines)}"
            if lines
            else f"{words}: not known of any line"
        )
    if files:
        more = f" and {len(files) - _MOST_FILES} more" if len(files) > _MOST_FILES else ""
        words += f": {', '.join(files[:_MOST_FILES])}{more}"
    return words


def size_of_change(part: str, result: str, oscillator: OscillatorRecord | None, crystal: CrystalRecord | None) -> str:
    """Return by how much a usual change of ``part`` moves the oscillator, as words to be added; empty if not known."""
    if result != "oscillator" or oscillator is None or part not in _MOVED:
        return ""
    coefficient, step, unit = _MOVED[part]
    if coefficient not in oscillator.coefficients:
        return ""
    moved = abs(step * oscillator.coefficients[coefficient][0])
    words = f": {step:g} {unit} is {1e3 * moved:.3g} kHz"
    lines = [] if crystal is None else [n for n in crystal.lines if crystal.known("fwhm", n)]
    if crystal is None or not lines:
        return words
    narrowest = min(crystal.fwhm_mhz(n).n for n in lines)
    return f"{words}, {moved / narrowest:.2f} of a passband"
