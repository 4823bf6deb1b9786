"""Histories out of kept calibrations: the oscillator at set drives, the crystal at its lines, side by side.

What two calibrations share, such as the time base of one counter, cancels in their difference. The oscillator is asked
for its frequency at a drive and the crystal for that of its peaks: neither contains the other's drift.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeVar

import numpy as np
from uncertainties import UFloat, covariance_matrix

from aotf_lab.errors import AotfLabError, ReadingsError, Said
from aotf_lab.estimation import Check
from aotf_lab.estimation.checks import z_check, z_limit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.given import given_list, given_numbers
from aotf_lab.record.calibration import Calibration
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.drift.due import Passband
from aotf_lab.record.drift.history import History, history_of
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.stored import CauseBook

__all__ = ["crystal_history", "known_coefficient", "oscillator_history", "passbands_of"]

Kept = TypeVar("Kept", bound=Calibration)

_DRIVES = 5
_ROUNDING = 1e-8
"""What rounding may put between equal differences (kHz or ppm), some hundred MHz being kept to 16 digits."""
_SURE_NM = 0.2
"""A line whose wavelength is less sure than this is no mark for the crystal: its laser may be what moved."""


def oscillator_history(
    records: Sequence[OscillatorRecord], drives_v: Sequence[float] | None = None
) -> tuple[History, Check]:
    """Return the mean shift of the oscillator over ``drives_v``, and the check that it is the same at both ends.

    The drives are five over the range that all records have, unless stated. Raises ``ReadingsError`` for fewer than
    two records or ranges that do not overlap, ``OutOfRangeError`` for a drive outside them.
    """
    ordered = _by_date(records, "oscillator")
    if drives_v is not None:
        drives_v = given_numbers(drives_v, "drives_v")
    if drives_v is None:
        low, high = max(r.range_v[0] for r in ordered), min(r.range_v[1] for r in ordered)
        if not low < high:
            raise ReadingsError(
                "the oscillator's records share no drive", found=Said(f"{low:.3g} V above {high:.3g} V"),
                allowed="ranges that overlap", cure="leave out the record of another range",
            )  # fmt: skip
        drives_v = np.linspace(low, high, _DRIVES).tolist()
    book, drives = CauseBook(), np.sort(np.asarray(drives_v, dtype=float))
    curves = [r.frequency(drives, book) for r in ordered]
    means = [sum(curve) / len(drives) for curve in curves]
    gaps = [1e3 * ((curve[-1] - curve[0]) - (curves[-1][-1] - curves[-1][0])) for curve in curves[:-1]]
    worst = max(range(len(gaps)), key=lambda k: _size(gaps[k]))
    ends = f"the shift at {drives[-1]:.3g} V less that at {drives[0]:.3g} V"
    check = z_check(
        "parallel", gaps[worst].n, _u_of(gaps[worst]),
        f"from {ordered[worst].as_of} to {ordered[-1].as_of} {ends}", "kHz",
        "the curve changed its shape: one shift does not describe it, measure it anew", len(gaps),
    )  # fmt: skip
    return _history("oscillator", ordered, [_condition(r, "temperature_c") for r in ordered], means), check


def crystal_history(records: Sequence[CrystalRecord], lines: Sequence[str] | None = None) -> tuple[History, Check]:
    """Return the mean relative shift of the crystal's peaks at ``lines``, and the check that all move alike.

    The lines are those with a peak in every record and a wavelength sure to 0.2 nm, unless stated. Raises
    ``ReadingsError`` for fewer than two records or no such line.
    """
    ordered = _by_date(records, "crystal")
    if lines is not None:
        lines = list(given_list(lines, "lines", "names of lines", "put them into a list"))
    if lines is None:
        lines = [n for n in ordered[-1].lines if all(r.known("peak", n) and _is_mark(r, n) for r in ordered)]
    if not lines:
        raise ReadingsError(
            "the crystal's records share no line", found=Said("; ".join(", ".join(r.lines) for r in ordered)),
            allowed=f"a line with a peak in each, its wavelength sure to {_SURE_NM:g} nm",
            cure="scan one line every time",
        )  # fmt: skip
    book = CauseBook()
    peaks = [[r.peak(n, book) for n in lines] for r in ordered]
    ratios = [[p / last.n for p, last in zip(row, peaks[-1], strict=True)] for row in peaks]
    means = [sum(row) / len(lines) for row in ratios]
    check = _alike(ordered, lines, ratios, means)
    return _history("crystal", ordered, [_crystal_c(r) for r in ordered], means), check


def _alike(
    ordered: Sequence[CrystalRecord], lines: Sequence[str], ratios: list[list[UFloat]], means: list[UFloat]
) -> Check:
    if len(lines) < 2:
        return Check("lines move alike", True, f"only {lines[0]} is in every record: not asked")
    gaps = {
        (r.as_of, name): 1e6 * ((row[k] - mean) - (ratios[-1][k] - means[-1]))
        for r, row, mean in zip(ordered[:-1], ratios, means, strict=False)
        for k, name in enumerate(lines)
    }
    (day, name), gap = max(gaps.items(), key=lambda item: _size(item[1]))
    cure = f"the laser of {name} may have moved, or its scan was clipped: leave the line out, or scan it anew"
    what = f"from {day} to {ordered[-1].as_of} the shift of {name} less that of all"
    return z_check("lines move alike", gap.n, _u_of(gap), what, "ppm", cure, len(gaps))


def known_coefficient(records: Sequence[Calibration], name: str) -> tuple[float, float] | None:
    """Return the weighted mean of a coefficient that the records hold, with its u; None where none does.

    The same numbers in two records are one measurement, handed on. Raises ``AotfLabError`` where the measurements
    contradict each other.
    """
    own = {r.coefficients[name]: r.as_of for r in records if name in r.coefficients and r.coefficients[name][1] > 0}
    if not own:
        return None
    values, u = np.array(list(own), dtype=float).T
    weights = u**-2.0 / np.sum(u**-2.0)
    mean, spread = float(weights @ values), float(np.sum(u**-2.0) ** -0.5)
    far = np.abs(values - mean) / np.sqrt(np.maximum(u**2 - spread**2, 1e-24))
    if len(own) > 1 and float(far.max()) > z_limit(len(own)):
        bad = int(np.argmax(far))
        raise AotfLabError(
            f"the records contradict each other in {name}", where=list(own.values())[bad],
            found=Said(f"{values[bad]:.4g} +- {u[bad]:.2g}"), allowed=f"about {mean:.4g}, by all records",
            cure="leave out the record whose coefficient is wrong",
        )  # fmt: skip
    return mean, spread


def passbands_of(record: CrystalRecord) -> Mapping[str, Passband]:
    """Return peak and width of each line of ``record`` that has both."""
    return {
        n: Passband(float(record.peak(n).n), float(record.fwhm_mhz(n).n))
        for n in record.lines
        if record.known("peak", n) and record.known("fwhm", n)
    }


def _u_of(gap: UFloat) -> float:
    """Return the standard uncertainty of a difference (kHz or ppm), with its rounding."""
    return float(np.hypot(gap.s, _ROUNDING))


def _size(gap: UFloat) -> float:
    """Return a difference in its standard uncertainties; infinite for what is not a number."""
    return float(np.nan_to_num(abs(gap.n) / _u_of(gap), nan=np.inf))


def _is_mark(record: CrystalRecord, line: str) -> bool:
    return not record.known("wavelength", line) or record.number("wavelength", line).s <= _SURE_NM


def _by_date(records: Sequence[Kept], link: str) -> list[Kept]:
    if len(records) < 2:
        raise ReadingsError(
            f"no drift of the {link} from so few records", found=len(records), allowed="2 or more",
            cure="keep a second calibration on another day",
        )  # fmt: skip
    names = sorted({r.name for r in records})
    if len(names) > 1:
        raise ReadingsError(
            f"records of more than one {link}", found=Said(", ".join(names)), allowed="those of one",
            cure="name the one that is asked for",
        )  # fmt: skip
    return sorted(records, key=lambda r: r.as_of)


def _condition(record: Calibration, name: str) -> float:
    return float(record.conditions.get(name, np.nan))


def _crystal_c(record: CrystalRecord) -> float:
    own = _condition(record, "crystal_c")
    return own if np.isfinite(own) else _condition(record, "temperature_c")


def _history(link: str, ordered: Sequence[Calibration], temperature_c: list[float], means: list[UFloat]) -> History:
    covariance: FloatArray = np.array(covariance_matrix(means))
    values = np.array([m.n for m in means])
    return history_of(
        "oscillator" if link == "oscillator" else "crystal",
        [r.as_of for r in ordered],
        temperature_c,
        values,
        covariance,
    )
