"""From the fitted curves of a crystal to the calibration that is kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal import Tuning
from aotf_lab.errors import RecordError, Said
from aotf_lab.estimation.checks import Check
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.planning import Curves
from aotf_lab.reading.source import SourceFile
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.kept_efficiency import efficiency_numbers, kept_efficiency
from aotf_lab.record.knots import enough_knots, same_curve
from aotf_lab.record.make_oscillator import versions
from aotf_lab.record.sound import require_crystal
from aotf_lab.record.stored import common_keys, stored_numbers

__all__ = ["crystal_record"]

_KNOTS = 9

Wavelengths = Mapping[str, UFloat | float | None]


def crystal_record(
    curves: Curves,
    wavelengths_nm: Wavelengths,
    *,
    name: str,
    measured: str,
    conditions: Mapping[str, float] | None = None,
    coefficients: Mapping[str, UFloat] | None = None,
    instruments: Mapping[str, str] | None = None,
) -> CrystalRecord:
    """Return the calibration of the crystal in ``curves``, to be kept under ``name``; ``measured`` is an ISO date.

    ``wavelengths_nm`` are the vacuum wavelengths of its lines, found or stated, None where unknown. Its knots are so
    dense that the kept tuning curve departs by less than 0.1 kHz, its u by less than 1 %, from the fitted one.
    ``instruments`` names an instrument where a bench has several of a kind (see ``common_keys``). Raises
    ``RecordError`` when there is nothing to keep, or for a date that is none.
    """
    if curves.tuning is None and not curves.scans and not curves.modulators:
        raise RecordError(
            "nothing is known of this crystal", where=name,
            found=Said(curves.missing.get("tuning", "no scan and no tuning curve")),
            allowed="a tuning curve, or at least one scanned line", cure="scan the lines",
        )  # fmt: skip
    lines = dict(_lines(curves, wavelengths_nm))
    keys = common_keys(instruments)

    def made(nm: FloatArray) -> CrystalRecord:
        tuned = curves.tuning.frequency(nm) if curves.tuning is not None else []
        numbers = {f"tuning {w:.2f} nm": f for w, f in zip(nm, tuned, strict=True)} | lines
        return CrystalRecord(
            name=name,
            measured=measured,
            wavelengths_nm=nm,
            numbers=stored_numbers(numbers, common=keys, rest_name="scatter of the crystal's scans and lines"),
            lines={n: float("nan") if w is None else float(nominal_value(w)) for n, w in wavelengths_nm.items()},
            rated_rf_power_w=curves.rated_rf_power_w,
            efficiency=kept_efficiency(curves.efficiency, curves.missing.get("efficiency", "")),
            anchored_nm=None if curves.tuning is None else curves.tuning.anchored_nm,
            coverage_factors=dict(_factors(curves)),
            conditions=dict(conditions or {}),
            coefficients={k: (float(c.n), float(c.s)) for k, c in (coefficients or {}).items()},
            made_of=tuple({s.sha256: s for s in _sources(curves)}.values()),
            versions=versions(),
            checks=tuple(_checks(curves)),
        )

    record = made(np.zeros(0)) if curves.tuning is None else _dense(made, curves.tuning)
    require_crystal(record, f"calibration of crystal {name}")
    return record


def _dense(made: Callable[[FloatArray], CrystalRecord], tuning: Tuning) -> CrystalRecord:
    low, high = tuning.range_nm
    places = np.linspace(low, high, 301)

    def agrees(record: CrystalRecord) -> bool:
        return same_curve(tuning.frequency(places), record.frequency(places))

    nodes = np.linspace(low**-2, high**-2, _KNOTS) ** -0.5
    nodes[[0, -1]] = low, high
    return enough_knots(made, agrees, nodes, 2)


def _lines(curves: Curves, wavelengths_nm: Wavelengths) -> Iterator[tuple[str, UFloat | float]]:
    for name, nm in wavelengths_nm.items():
        if isinstance(nm, UFloat):
            yield f"wavelength {name}", nm
        if name in curves.scans:
            scan = curves.scans[name]
            yield f"peak {name}", scan.centre_mhz
            yield f"fwhm {name}", scan.fwhm_mhz
            yield f"signal_mw {name}", scan.peak_power_mw
            yield f"drive {name}", scan.drive_ratio
        elif name in curves.modulators:
            response = curves.modulators[name].response
            yield f"peak {name}", response.carrier_mhz
            yield f"fwhm {name}", response.bandwidth_mhz
            yield f"signal_mw {name}", response.peak_power_mw
            yield f"drive {name}", response.drive_ratio
    if curves.efficiency is not None:
        yield from efficiency_numbers(curves.efficiency, wavelengths_nm)


def _factors(curves: Curves) -> Iterator[tuple[str, float]]:
    if curves.tuning is not None:
        yield "tuning", curves.tuning.fit.coverage_factor()
    for name, scan in curves.scans.items():
        yield name, scan.fit.coverage_factor()
    for name, modulator in curves.modulators.items():
        yield name, modulator.response.fit.coverage_factor()


def _sources(curves: Curves) -> Iterator[SourceFile]:
    if curves.tuning is not None:
        yield from curves.tuning.readings.sources
    for scan in curves.scans.values():
        yield from scan.readings.sources
    for modulator in curves.modulators.values():
        yield from modulator.response.table.readings.sources
    for curve in curves.efficiency.own.values() if curves.efficiency is not None else ():
        yield from curve.readings.sources


def _checks(curves: Curves) -> Iterator[Check]:
    if curves.tuning is not None:
        yield from _named("tuning", curves.tuning.fit.checks)
    for name, scan in curves.scans.items():
        yield from _named(f"scan of line {name}", scan.fit.checks)
    for name, modulator in curves.modulators.items():
        yield from _named(f"modulator at line {name}", modulator.response.fit.checks)
    if curves.efficiency is not None:
        yield from _named("efficiency", curves.efficiency.fit.checks)
    for name, doubt in curves.doubts.items():
        yield Check(f"line {name}", not doubt.grave, doubt.words)


def _named(part: str, checks: tuple[Check, ...]) -> Iterator[Check]:
    return (replace(check, name=f"{part}: {check.name}") for check in checks)
