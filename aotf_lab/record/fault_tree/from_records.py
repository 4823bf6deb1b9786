"""The stored numbers of a fault tree, taken from kept calibrations."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from uncertainties import UFloat, nominal_value, ufloat

from aotf_lab.estimation import new_cause
from aotf_lab.given import given_number, given_table
from aotf_lab.physics.coupled_waves import diffraction_efficiency, passband_fwhm
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.given import given_crystal, given_oscillator
from aotf_lab.record.oscillator import OscillatorRecord

__all__ = ["line_numbers"]

_U_K = 0.2
"""Standard uncertainty (K) of a stored temperature (common practice, no source)."""
_U_SUPPLY_V = 0.01
"""Standard uncertainty (V) of a stored supply (common practice, no source)."""

_LINE = {"light_mw": "signal_mw", "peak_mhz": "peak", "fwhm_mhz": "fwhm", "drive_ratio": "drive"}
_CONDITIONS = {"temperature_c": ("box_c", _U_K), "supply_v": ("supply_v", _U_SUPPLY_V)}


def line_numbers(
    crystal: CrystalRecord,
    oscillator: OscillatorRecord | None = None,
    *,
    line: str,
    drive_v: float | None = None,
    also: Mapping[str, UFloat | float] | None = None,
) -> dict[str, UFloat | float]:
    """Return what two calibrations know of a line, as ``half_the_light`` takes it.

    From the crystal: light, peak, width and drive ratio of the line's scan, the RF power of that scan, its temperature
    and coefficient. From the oscillator: the frequency at ``drive_v`` (that of the line's peak where none is given)
    with the scatter of one reading, box temperature, supply and coefficients; where ``drive_v`` stands off the peak the
    light is less by coupled waves. ``also`` adds what no calibration keeps (light before the crystal, axis of the
    light, ...) and replaces what it names. The light has its dark reading subtracted; name ``dark_mw`` in ``also`` only
    beside a ``light_mw`` as the meter shows it. Raises ``AotfLabError`` for a line without a peak, ``OutOfRangeError``
    beyond the oscillator's curve.
    """
    given_crystal(crystal)
    if oscillator is not None:
        given_oscillator(oscillator)
    added = given_table(also or {}, "also", "names and numbers", 'write {"dark_mw": ufloat(value, u)}')
    drive_v = None if drive_v is None else given_number(drive_v, "drive_v", "V")
    peak = crystal.peak(line)
    found: dict[str, UFloat | float] = {
        name: crystal.number(kept, line) for name, kept in _LINE.items() if crystal.known(kept, line)
    }
    if "drive_ratio" in found and crystal.known("saturation_w", line):
        found["rf_power_w"] = found["drive_ratio"] * crystal.saturation_w(line)
    if "crystal_c" in crystal.conditions:
        found["crystal_c"] = ufloat(crystal.conditions["crystal_c"], _U_K)
    found |= _coefficients(crystal.coefficients, ("relative_per_k",))
    if oscillator is not None:
        found |= _of_oscillator(oscillator, float(oscillator.drive(peak).n) if drive_v is None else drive_v)
        found["detuning_mhz"] = float(nominal_value(found["frequency_mhz"]) - peak.n)
        if {"light_mw", "fwhm_mhz"} <= found.keys():
            found["light_mw"] = found["light_mw"] * _off_peak(found)
    return found | dict(added)


def _of_oscillator(oscillator: OscillatorRecord, drive_v: float) -> dict[str, UFloat | float]:
    scatter = new_cause("scatter of one reading", oscillator.u_reading_mhz)
    found: dict[str, UFloat | float] = {"frequency_mhz": oscillator.frequency(drive_v) + scatter}
    for condition, (name, u) in _CONDITIONS.items():
        if condition in oscillator.conditions:
            found[name] = ufloat(oscillator.conditions[condition], u)
    return found | _coefficients(oscillator.coefficients, ("mhz_per_k", "mhz_per_supply_v"))


def _coefficients(known: Mapping[str, tuple[float, float]], names: tuple[str, ...]) -> dict[str, UFloat | float]:
    return {name: ufloat(*known[name]) if known[name][1] > 0 else known[name][0] for name in names if name in known}


def _off_peak(numbers: Mapping[str, UFloat | float]) -> float:
    """Return the light at the stored detuning over that at the peak."""
    ratio = float(nominal_value(numbers.get("drive_ratio", 0.01)))
    offset = float(nominal_value(numbers["detuning_mhz"])) / float(nominal_value(numbers["fwhm_mhz"]))
    detuning = np.pi * float(passband_fwhm(ratio)) * offset
    return float(diffraction_efficiency(detuning, ratio) / diffraction_efficiency(0.0, ratio))
