"""The verdict of an opening check in words."""

from __future__ import annotations

import math

from aotf_lab.record.opening.link import LinkCheck

__all__ = ["link_rows", "update_words"]


def link_rows(link: LinkCheck) -> list[tuple[str, str]]:
    """Return the verdict on a link and what it rests on as name and value."""
    rows: list[tuple[str, str]] = [(link.link, _verdict(link))]
    rows += [
        (f"  {r.place}", f"{r.frequency_mhz:.4f} MHz, {_khz(r.gap_mhz, r.u_gap_mhz)} from the kept curve")
        for r in link.readings
    ]
    if link.expected_mhz is not None:
        rows.append(("  by temperature", f"{_khz(*link.expected_mhz)} expected"))
    found = link.judgement
    if found.dof:
        rows.append(("  left after that", f"chi2 = {found.chi2:.1f} on {found.dof}, limit {found.limit:.1f}"))
    if not math.isnan(link.light_lost):
        rows.append(("  light", _light(link)))
    return rows


def update_words(link: LinkCheck) -> str:
    """Return what the check did to the calibration."""
    readings = "1 reading" if len(link.readings) == 1 else f"{len(link.readings)} readings"
    moved = _khz(link.shift_mhz, link.u_shift_mhz)
    done = (
        f"the kept numbers hold, {moved} taken in" if link.verdict == "use" else f"moved by {_moved(link)}, corrected"
    )
    return f"opening check, {readings}: {done}"


def _verdict(link: LinkCheck) -> str:
    if link.verdict == "measure again":
        return f"measure again: {link.reason}"
    if link.verdict == "corrected":
        return f"moved by {_moved(link)} and corrected"
    return f"use: {_khz(link.shift_mhz, link.u_shift_mhz)} from what was kept"


def _moved(link: LinkCheck) -> str:
    tilt = "" if link.tilt_mhz is None else f" in the middle, {1e3 * link.tilt_mhz:+.1f} kHz more at the upper end"
    return _khz(link.shift_mhz, link.u_shift_mhz) + tilt


def _light(link: LinkCheck) -> str:
    lost = f"set-points left as they were lose up to {100 * link.light_lost:.2g} %"
    if link.verdict == "measure again":
        return lost
    return f"{lost}; after the update {100 * link.still_lost:.2g} % at the most (95 %)"


def _khz(value_mhz: float, u_mhz: float) -> str:
    return f"{1e3 * value_mhz:+.1f} +- {1e3 * u_mhz:.1f} kHz"
