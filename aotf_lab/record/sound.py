"""Whether a calibration can be relied on as it stands: asked before one is written, and after one was read."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date
from typing import NoReturn

import numpy as np
from scipy.linalg import eigh

from aotf_lab.crystal.efficiency.curve import FULL, INTERVAL, SLOPE_ONLY
from aotf_lab.errors import RecordError, Said
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.calibration import Calibration
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.kept_efficiency import required_numbers
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.stored import StoredNumbers

__all__ = ["require_crystal", "require_oscillator", "require_sound"]

_ROUNDING = 1e-8
"""By which share of the largest a covariance may miss symmetry, or an eigenvalue fall below zero."""

_MAKE_ANEW = "take the file as it was written, or make the calibration anew from its raw files"


def require_sound(record: OscillatorRecord | CrystalRecord, where: str) -> None:
    """Raise ``RecordError`` at ``where`` when ``record`` holds numbers that cannot be."""
    if isinstance(record, OscillatorRecord):
        require_oscillator(record, where)
    else:
        require_crystal(record, where)


def require_oscillator(record: OscillatorRecord, where: str) -> None:
    """Raise ``RecordError`` unless dates, numbers and covariance are sound and the curve rises."""
    _require_common(record, where)
    _require_knots(record.drive_v, record.numbers, "drive_v", where)
    if len(record.drive_v) != len(record.numbers):
        _refuse(
            "not one number for each knot", where, len(record.numbers), f"{len(record.drive_v)}, as there are knots"
        )
    _require_finite((record.u_reading_mhz, record.coverage_factor), "u_reading_mhz or coverage_factor", where)
    if not (record.u_reading_mhz > 0 and record.coverage_factor > 0):
        _refuse("scatter or coverage factor not above zero", where,
                Said(f"{record.u_reading_mhz:g} MHz, {record.coverage_factor:g}"), "numbers above zero")  # fmt: skip
    for name, u in (("u_gain", record.u_gain), ("u_offset_v", record.u_offset_v)):
        if u is not None and not (math.isfinite(u) and u >= 0):
            _refuse(f"{name} of the voltmeter cannot be", where, u, "zero or more, or none")
    if (record.u_gain is None) != (record.u_offset_v is None):
        known, lost = ("u_gain", "u_offset_v") if record.u_offset_v is None else ("u_offset_v", "u_gain")
        _refuse("half of the voltmeter's errors", where, Said(f"{known} without {lost}"), "both, or neither")
    if np.any(np.diff(record.numbers.values) <= 0):
        k = int(np.argmin(np.diff(record.numbers.values)))
        _refuse("the frequency does not rise with the voltage", where,
                Said(f"{record.numbers.values[k + 1]:.6g} MHz after {record.numbers.values[k]:.6g} MHz"),
                "a curve that rises everywhere")  # fmt: skip


def require_crystal(record: CrystalRecord, where: str) -> None:
    """Raise ``RecordError`` unless dates, numbers and covariance are sound and the tuning curve falls."""
    _require_common(record, where)
    count = len(record.wavelengths_nm)
    if count:
        _require_knots(record.wavelengths_nm, record.numbers, "wavelengths_nm", where)
        knots = record.numbers.values[:count]
        if np.any(np.diff(knots) >= 0):
            k = int(np.argmax(np.diff(knots)))
            found = Said(f"{knots[k + 1]:.6g} MHz after {knots[k]:.6g} MHz")
            _refuse("the frequency does not fall with wavelength", where, found, "a curve that falls everywhere")
    _require_finite(record.coverage_factors.values(), "coverage_factors", where)
    rated = record.rated_rf_power_w
    if rated is not None and not (math.isfinite(rated) and rated > 0):
        _refuse("rated_rf_power_w cannot be", where, rated, "a power above zero, or none")
    _require_efficiency(record, where)
    for name, nm in record.lines.items():
        if not (math.isnan(nm) or (math.isfinite(nm) and nm > 0)):
            _refuse(f"wavelength of line {name}", where, nm, "a wavelength above zero in nm, or none")


def _require_efficiency(record: CrystalRecord, where: str) -> None:
    kept = record.efficiency
    if kept is None:
        return
    lost = [name for name in required_numbers(kept) if name not in record.numbers]
    if lost:
        _refuse("numbers of the efficiency are missing", where, Said(f"no {', '.join(lost)}"), "every one")
    if not kept.missing and all(line.wavelength_nm is None for line in kept.lines.values()):
        _refuse("an efficiency of no line", where, Said(f"{len(kept.lines)} lines, none of a known wavelength"),
                "one of known wavelength or more")  # fmt: skip
    for name, level in (("all lines", kept.level), *((f"line {n}", line.level) for n, line in kept.lines.items())):
        if level not in (SLOPE_ONLY, INTERVAL, FULL):
            _refuse(f"level of {name}", where, level, f"{SLOPE_ONLY!r}, {INTERVAL!r} or {FULL!r}")
    for name, line in kept.lines.items():
        for what, value in (("wavelength_nm", line.wavelength_nm), ("driven_w", line.driven_w)):
            if value is not None and not (math.isfinite(value) and value > 0):
                _refuse(f"{what} of line {name} in the efficiency", where, value, "a number above zero")


def _require_common(record: Calibration, where: str) -> None:
    for words in (record.measured, *(update.date for update in record.updates)):
        try:
            good = date.fromisoformat(words).isoformat() == words
        except ValueError:
            good = False
        if not good:
            _refuse("a date that is none", where, words, "year-month-day, such as 2031-03-02", "state the date so")
    _require_finite(record.conditions.values(), "conditions", where)
    _require_finite((v for pair in record.coefficients.values() for v in pair), "coefficients", where)
    _require_numbers(record.numbers, where)


def _require_numbers(numbers: StoredNumbers, where: str) -> None:
    n = len(numbers)
    if len(set(numbers.names)) != n:
        _refuse("two numbers of one name", where, Said(", ".join(numbers.names)), "every name once")
    if numbers.values.shape != (n,):
        _refuse("not one value for each name", where, numbers.values.size, f"{n} values")
    if numbers.rest.shape != (n, n):
        _refuse("covariance of a wrong size", where, Said(str(numbers.rest.shape)), f"{n} rows of {n}")
    for key, effect in numbers.causes.items():
        if np.shape(effect) != (n,):
            _refuse(f"effects of cause {key!r} of a wrong length", where, np.size(effect), f"{n} numbers")
    _require_finite([*numbers.values, *numbers.rest.ravel(), *(v for e in numbers.causes.values() for v in e)],
                    "numbers", where)  # fmt: skip
    _require_covariance(numbers.rest, where)


def _require_covariance(rest: FloatArray, where: str) -> None:
    variance = np.diag(rest)
    if np.any(variance < 0):
        _refuse("a variance below zero", where, float(variance.min()), "zero or more")
    scale = np.sqrt(np.where(variance > 0, variance, 1.0))
    shares = rest / np.outer(scale, scale)
    off = np.abs(shares - shares.T)
    if off.size and off.max() > _ROUNDING:
        row, column = np.unravel_index(int(np.argmax(off)), off.shape)
        _refuse("the covariance is not symmetric", f"{where}, row {row + 1}, column {column + 1}",
                Said(f"{rest[row, column]:.6g} and {rest[column, row]:.6g}"), "the same number twice")  # fmt: skip
    lowest, highest = (eigh(shares, eigvals_only=True, driver="evr") if shares.size else np.zeros(1))[[0, -1]]
    if lowest < -_ROUNDING * max(highest, 1.0):
        _refuse("the covariance is indefinite: some sum of these numbers would have a variance below zero", where,
                Said(f"a least eigenvalue of {lowest:.3g}"), "none below zero")  # fmt: skip


def _require_knots(knots: FloatArray, numbers: StoredNumbers, name: str, where: str) -> None:
    _require_finite(knots, name, where)
    if len(knots) < 2 or np.any(np.diff(knots) <= 0):
        _refuse(f"{name} are no knots of a curve", where, Said(", ".join(f"{k:.6g}" for k in knots) or "none"),
                "two or more rising numbers")  # fmt: skip
    if len(numbers) < len(knots):
        _refuse("fewer numbers than knots", where, len(numbers), f"at least {len(knots)}")
    if np.any(numbers.values[: len(knots)] <= 0):
        _refuse("a frequency that is not above zero", where, float(numbers.values[: len(knots)].min()), "above 0 MHz")


def _require_finite(values: Iterable[float], name: str, where: str) -> None:
    for value in values:
        if not math.isfinite(value):
            _refuse(f"{name} not finite", where, Said(str(value)), "finite numbers")


def _refuse(what: str, where: str, found: object, allowed: str, cure: str = _MAKE_ANEW) -> NoReturn:
    raise RecordError(what, where=where, found=found, allowed=allowed, cure=cure)
