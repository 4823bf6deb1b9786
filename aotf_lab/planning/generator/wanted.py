"""Which levels are wanted at the oscillator's port: those of lines, and of a place to park."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat, nominal_value, ufloat

from aotf_lab.driver import Vco
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.given import given_number
from aotf_lab.planning.curves import Curves, HasCurves, curves_of
from aotf_lab.planning.set_points import set_points

__all__ = ["PARK", "Wanted", "needed_vco", "wanted_levels"]

PARK = "park"


@dataclass(frozen=True)
class Wanted:
    """A level wanted: its frequency, and the volts that make it.

    ``port_v`` is true and carries the error of the voltmeter of the readings; ``drive_v`` is what that voltmeter shows.
    ``u_setting_mhz`` is the u of the frequency when it is set by that voltmeter, ``fwhm_mhz`` the passband's (None:
    no light is wanted here), ``coverage`` the factor of a 95 % interval.
    """

    name: str
    frequency_mhz: UFloat
    drive_v: UFloat
    port_v: UFloat
    fwhm_mhz: float | None
    u_setting_mhz: float
    coverage: float


def needed_vco(curves: Curves) -> Vco:
    """Return the oscillator's curve; raises ``AotfLabError`` where there is none."""
    if curves.vco is None:
        raise AotfLabError(
            "no curve of the oscillator", found=Said(curves.missing.get("vco", "it was not measured")),
            allowed="readings of frequency against voltage", cure="measure the oscillator first",
        )  # fmt: skip
    return curves.vco


def wanted_levels(
    source: Curves | HasCurves,
    lines: str | Mapping[str, UFloat | float | None] | Iterable[float | str],
    park_mhz: UFloat | float | None,
) -> tuple[Wanted, ...]:
    """Return the levels in the order asked for, that of ``park_mhz`` last.

    Raises ``AotfLabError`` for a line that has no set-point, and where no line is named.
    """
    curves, _ = curves_of(source)
    vco = needed_vco(curves)
    found = []
    for point in set_points(source, [lines] if isinstance(lines, str) else lines):
        if point.frequency_mhz is None or point.drive_v is None or point.drive_other_meter_v is None:
            raise AotfLabError(
                "no set-point for this line", where=point.line, found=Said(point.remark),
                allowed="a line within the oscillator's curve", cure="leave it out, or measure further out",
            )  # fmt: skip
        line = curves.scans.get(point.line) or curves.tuning
        factors = [c.fit.coverage_factor() for c in (vco, line) if c is not None]
        found.append(Wanted(
            point.line, point.frequency_mhz, point.drive_v, point.drive_other_meter_v,
            curves.fwhm_mhz(point.frequency_mhz.n), point.u_setting_mhz or 0.0, max(factors),
        ))  # fmt: skip
    if park_mhz is not None:
        found.append(_park(vco, given_number(park_mhz, "park_mhz", "MHz", with_u=True)))
    if not found:
        raise AotfLabError("no level is asked for", found=Said("no line"), allowed="one line or more", cure="name one")
    return tuple(found)


def _park(vco: Vco, park_mhz: UFloat | float) -> Wanted:
    drive, value = vco.drive(park_mhz), float(nominal_value(park_mhz))
    if not np.isfinite(value):
        raise AotfLabError(
            "frequency to park at (MHz)", found=value, allowed="a finite number", cure="give that of the park map"
        )
    u = float((vco.frequency(drive.n) - park_mhz).s)
    frequency = park_mhz if isinstance(park_mhz, UFloat) else ufloat(value, 1e-12)
    return Wanted(PARK, frequency, drive, vco.drive_true(park_mhz), None, u, vco.fit.coverage_factor())
