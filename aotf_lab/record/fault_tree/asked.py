"""Take what the caller gave: names that are known, numbers with their u, and a stored number for every reading."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from uncertainties import UFloat, nominal_value, std_dev, ufloat

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.given import given_number, given_table
from aotf_lab.record.fault_tree.chain import READINGS, STRONGEST_RATIO
from aotf_lab.record.fault_tree.known import causes

__all__ = ["CONSTANTS", "asked", "wander_of"]

CONSTANTS = (
    "drive_ratio", "saturation_w", "detuning_mhz", "mhz_per_k", "mhz_per_supply_v", "relative_per_k", "db_per_supply_v",
    "aperture_mm", "beam_diameter_mm", "range_mw", "lean",
)  # fmt: skip
"""Stored numbers that are no readings."""
_ABOVE_ZERO = (
    "light_mw", "incident_mw", "through_mw", "depletion", "fwhm_mhz", "rf_power_w", "return_loss_db", "rise_us",
    "drive_ratio", "saturation_w", "aperture_mm", "beam_diameter_mm",
)  # fmt: skip

_U_LEAN = 0.1
"""Lean of a passband where none is stored: a tenth (common practice, no source)."""

_SAME = 1e-9
"""A share of today's u that counts as rounding."""

Numbers = dict[str, UFloat | float]


def asked(stored: Mapping[str, UFloat | float], today: Mapping[str, UFloat]) -> tuple[Numbers, dict[str, UFloat]]:
    """Return the stored numbers, with the drive ratio from power and saturation, and today's readings, both checked."""
    given_table(stored, "stored", "names and numbers", "take them from the calibrations: line_numbers(crystal)")
    given_table(today, "today", "names and numbers", 'write {"light_mw": ufloat(value, u)}')
    bases = dict.fromkeys(base for base, _ in READINGS.values())
    _known("stored number", stored, (*bases, *CONSTANTS))
    _known("reading", today, READINGS)
    if not today:
        raise AotfLabError(
            "no reading of today", found=Said("none"), allowed="one reading or more",
            cure="read the light meter and the counter first",
        )  # fmt: skip
    for name, value in stored.items():
        given_number(value, f"stored {name}", above=0 if name in _ABOVE_ZERO else None, with_u=True)
    for name, value in today.items():
        given_number(value, name, with_u=True)
        base = READINGS[name][0]
        if base not in stored:
            raise AotfLabError(
                "a reading without a stored number to hold it against", where=name, found=Said("none stored"),
                allowed=f"a stored {base}", cure="leave the reading out, or add that of the day when all was well",
            )  # fmt: skip
        if not std_dev(value) > 0:
            raise AotfLabError(
                "a reading of today without uncertainty", where=name, found=value, allowed="a number with u above zero",
                cure="state it as ufloat(value, u), u as the instrument's papers give it",
            )  # fmt: skip
        if std_dev(value - stored[base]) <= _SAME * std_dev(value):
            raise AotfLabError(
                "a stored number given as a reading of today: both are one and err alike, so their difference has no u",
                where=name, found=value, allowed="what was read today, with errors of its own",
                cure="state it as ufloat(value, u), with the u of today's instrument, or leave it out",
            )  # fmt: skip
    return _with_ratio(stored), dict(today)


def _with_ratio(stored: Mapping[str, UFloat | float]) -> Numbers:
    numbers = dict(stored)
    numbers.setdefault("lean", ufloat(0.0, _U_LEAN))
    saturation = numbers.pop("saturation_w", None)
    if "drive_ratio" not in numbers and saturation is not None and "rf_power_w" in numbers:
        numbers["drive_ratio"] = numbers["rf_power_w"] / saturation
    ratio = numbers.get("drive_ratio")
    if ratio is not None and not nominal_value(ratio) < STRONGEST_RATIO:
        raise AotfLabError(
            "stored drive ratio P / P_sat at which hardly any light is diffracted", found=nominal_value(ratio),
            allowed=f"below {STRONGEST_RATIO:g}", cure="check the RF power and the saturation power of the line",
        )  # fmt: skip
    return numbers


def _known(kind: str, given: Collection[str], allowed: Collection[str]) -> None:
    for name in given:
        if name not in allowed:
            raise AotfLabError(
                f"no such {kind} in the fault tree",
                found=name,
                allowed=", ".join(allowed),
                cure="use one of these names",
            )


def wander_of(changed: Mapping[str, float]) -> dict[str, float]:
    """Return change -> healthy wander, with those of single causes (by key) replaced."""
    _known("cause", given_table(changed, "wander", "causes and numbers", "write {cause: number}"), causes())
    found: dict[str, float] = {}
    for key, cause in causes().items():
        u = given_number(changed.get(key, cause.wander), f"wander of {key}", at_least=0)
        if u > 0:
            found[cause.branches[0]] = u
    return found
