"""The incident power of each line: as stated, or as its scan shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Protocol

import numpy as np
from uncertainties import nominal_value

from aotf_lab.crystal import Scan
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.given import given_numbers, given_table

__all__ = ["incident_of"]


class _Light(Protocol):
    """The light of lines, as ``Passbands`` knows it."""

    def nominal(self, line: str, frequency_mhz: Any, rf_power_w: Any) -> Any: ...
    def peak_mhz(self, line: str) -> Any: ...
    def saturation_power_w(self, line: str) -> Any: ...


_LEAST_DRIVE = 0.02
"""Below this drive a scan's light says little of the incident power."""


def incident_of(
    scans: Mapping[str, Scan], passbands: _Light, lines: Sequence[str], stated: Mapping[str, float] | None
) -> tuple[dict[str, float] | None, str]:
    """Return the incident power (mW) of each line, None where it is not known of all; and how it is known.

    A scan shows it: its light over the efficiency at the drive that it found. Raises ``AotfLabError`` for a stated
    power that is missing or not above zero.
    """
    if stated is not None:
        given_table(stated, "incident_mw", "lines and their incident power (mW)", 'write {"D": 1.2, "E": 0.8}')
        given_numbers(stated.values(), "incident_mw")
        bad = [n for n in lines if not (n in stated and np.isfinite(stated[n]) and stated[n] > 0)]
        if bad:
            raise AotfLabError(
                "no incident power of a line", found=Said(", ".join(bad)),
                allowed="a number above 0 mW for every line", cure="state it for all lines, or for none",
            )  # fmt: skip
        return {n: float(stated[n]) for n in lines}, "as stated"
    found = {}
    for name in lines:
        scan = scans.get(name)
        ratio = 0.0 if scan is None else float(scan.drive_ratio.n)
        if scan is None or ratio < max(_LEAST_DRIVE, 2 * float(scan.drive_ratio.s)):
            return None, "not known: all lines taken alike"
        power = ratio * float(passbands.saturation_power_w(name).n)
        light = float(np.asarray(passbands.nominal(name, float(nominal_value(passbands.peak_mhz(name))), power)))
        found[name] = float(scan.peak_power_mw.n) / light
    return found, "as their scans show it"
