"""Find the frequency at which least light leaks, for sure, and the drive voltage that sets it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from uncertainties import UFloat

from aotf_lab.driver import Vco
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation import Check
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.given import given_number
from aotf_lab.planning.curves import Curves, HasCurves, curves_of
from aotf_lab.planning.incident import incident_of
from aotf_lab.planning.park.bound import bounded_leak, full_light_doubts
from aotf_lab.planning.park.drive import ParkedDrive, parked_drive
from aotf_lab.planning.park.harmonics import harmonic_levels
from aotf_lab.planning.park.leak import Combine, LeakMap, LeakModel, PassbandsLike, decibel, line_weights
from aotf_lab.planning.park.places import quiet_places
from aotf_lab.planning.park.reach import Reach, reach_of
from aotf_lab.planning.park.result import Park, QuietPlace, Trap
from aotf_lab.reading.harmonic_content import HarmonicShare
from aotf_lab.reading.session_limits import GeneratorFacts, OscillatorFacts

__all__ = ["DRIFT_MHZ", "park_frequency"]

DRIFT_MHZ = 0.15
"""How far an oscillator may have drifted until it is calibrated again, where nothing is stated (common practice, no
source)."""

_K = 2.0
_POINTS_PER_WIDTH = 30
_RUNNERS = 4
_APART_WIDTHS = 3.0
_LOUD_DB = -20.0


def park_frequency(
    source: Curves | HasCurves,
    passbands: PassbandsLike,
    *,
    harmonics: Sequence[HarmonicShare] | None = None,
    incident_mw: Mapping[str, float] | None = None,
    combine: Combine = "sum",
    supply_v: float | None = None,
    rf_power_w: UFloat | float | None = None,
    oscillator: OscillatorFacts | None = None,
    generator: GeneratorFacts | None = None,
    drift_mhz: float | None = None,
    band_mhz: tuple[float, float] | None = None,
) -> Park:
    """Return the setting that leaks least over all lines of ``passbands`` and the driver's harmonics 1 to 3.

    ``combine`` "sum": light of all lines that leaks, over the full light of one (their mean), each weighted by its
    ``incident_mw`` (by the scans where they show it, else alike); "worst": the worst line over its own full light.
    ``harmonics`` as saved traces show them (None: assumed wide). The amplifier stands at ``supply_v`` (None: at the one
    drive for all lines); without an amplifier curve state ``rf_power_w``. The frequency may be off by two standard
    uncertainties of the oscillator's curve plus ``drift_mhz`` (None: 0.15 MHz): the largest leak in that window counts.
    ``oscillator``, ``generator``, ``band_mhz`` limit what can be set.

    Raises ``UnsafeDriveError`` for a drive that is not safe or without a rating, ``AotfLabError`` where no frequency is
    within reach, the power is not known, or an argument has no meaning.
    """
    curves, own = curves_of(source)
    lines = _require_lines(passbands, combine, drift_mhz)
    reach = reach_of(curves, oscillator, generator, band_mhz)
    drive = parked_drive(source, curves, supply_v, rf_power_w)
    incident, known = incident_of(curves.scans, passbands, lines, incident_mw)
    how = (
        "lines weighted alike: incident power is not known of every one"
        if incident is None
        else (f"lines weighted by their incident power, {known}")
    )
    full = np.array([_full_light(passbands, drive, line) for line in lines])
    levels = harmonic_levels(harmonics, curves.assumed_driver)
    model = LeakModel(passbands, lines, drive, levels, full, line_weights(lines, full, incident), combine)
    window = _K * _u_frequency(curves.vco, reach) + (DRIFT_MHZ if drift_mhz is None else drift_mhz)
    found = model.map(_grid(reach, passbands, lines), window)
    places = _quiet(curves.vco, model, found, reach, window)
    traps = _traps(model, reach)
    checks = (
        _harmonics_check(harmonics is not None), _lines_check([n for n in own if n not in lines], len(lines)),
        _drift_check(drift_mhz, window), _loud_check(places[0]),
    )  # fmt: skip
    return Park(
        places[0], tuple(places[1:]), curves.vco, drive.supply_v, drive.power_w(places[0].at_mhz), drive.words, window,
        levels, combine, how, traps, reach, found, {n: float(passbands.peak_mhz(n).n) for n in lines}, checks,
    )  # fmt: skip


def _require_lines(passbands: PassbandsLike, combine: Combine, drift_mhz: float | None) -> tuple[str, ...]:
    lines = tuple(passbands.lines)
    if not lines:
        raise AotfLabError("no line that could leak", found=0, allowed="one line or more", cure="scan a line")
    if combine not in ("sum", "worst"):
        raise AotfLabError(
            "no such way to combine lines", found=combine, allowed="sum, worst", cure="name one of the two"
        )
    drift_mhz = None if drift_mhz is None else given_number(drift_mhz, "drift_mhz", "MHz")
    if drift_mhz is not None and not (np.isfinite(drift_mhz) and drift_mhz >= 0):
        raise AotfLabError(
            "a drift without a meaning", found=drift_mhz, allowed="0 MHz or more", cure="state it in MHz"
        )
    return lines


def _full_light(passbands: PassbandsLike, drive: ParkedDrive, line: str) -> float:
    """Return the efficiency at the line's peak at the same drive, or its maximum where that is not known."""
    peak = float(passbands.peak_mhz(line).n)
    power = drive.power_at_line_w(peak)
    w = float((passbands.saturation_power_w(line) if power is None else power).n)
    return float(np.asarray(passbands.nominal(line, peak, w)))


def _u_frequency(vco: Vco | None, reach: Reach) -> float:
    """Return the largest standard uncertainty (MHz) of a frequency that the oscillator is set to, within reach."""
    if vco is None:
        return 0.0
    places = np.clip(np.linspace(reach.low_mhz, reach.high_mhz, 41), *vco.range_mhz)
    return float(max(f.s for f in vco.frequency(np.array([d.n for d in vco.drive(places)]))))


def _grid(reach: Reach, passbands: PassbandsLike, lines: tuple[str, ...]) -> FloatArray:
    step = min(float(passbands.fwhm_mhz(n).n) for n in lines) / _POINTS_PER_WIDTH
    low, high = reach.shown_mhz
    return np.linspace(low, high, int(np.ceil((high - low) / step)) + 1)


def _quiet(vco: Vco | None, model: LeakModel, found: LeakMap, reach: Reach, window: float) -> list[QuietPlace]:
    f = found.frequency_mhz
    sure = np.where((f >= reach.low_mhz) & (f <= reach.high_mhz), found.sure, np.nan)
    apart = _APART_WIDTHS * max(float(model.passbands.fwhm_mhz(n).n) for n in model.lines)
    places = quiet_places(f, sure, 1 + _RUNNERS, apart)
    if not places:
        raise AotfLabError(
            "no frequency within reach has a known RF power all over the window in which it may lie",
            found=Said(f"{reach.low_mhz:.4g} to {reach.high_mhz:.4g} MHz, window +-{window:.2g} MHz"),
            allowed="a level measured there", cure="measure the amplifier over the band, or state a smaller drift_mhz",
        )  # fmt: skip
    full = full_light_doubts(model)
    bounds = [bounded_leak(model, float(f[k]), window, full) for k in places]
    quiet = [
        QuietPlace(float(f[k]), None if vco is None else vco.drive(float(f[k])), b.leak_db, b.bound_db, b.line, b.order,
                   b.share, float(decibel(float(found.total[k]))))
        for k, b in zip(places, bounds, strict=True)
    ]  # fmt: skip
    return [quiet[0], *sorted(quiet[1:], key=lambda place: place.leak_db)]


def _traps(model: LeakModel, reach: Reach) -> tuple[Trap, ...]:
    """Return the frequencies within reach at which a harmonic hits a line, the loudest first."""
    hits = []
    for k, line in enumerate(model.lines):
        for h, level in enumerate(model.levels):
            at = float(model.passbands.peak_mhz(line).n) / level.order
            if level.order > 1 and reach.low_mhz <= at <= reach.high_mhz:
                leak = float(model.terms(np.array([at]))[k, h, 0])
                if np.isfinite(leak) and decibel(leak) > _LOUD_DB:
                    hits.append(Trap(at, line, level.order, float(decibel(leak))))
    return tuple(sorted(hits, key=lambda t: -t.leak_db))


def _harmonics_check(measured: bool) -> Check:
    if measured:
        return Check("harmonics measured", True, "their levels are those of saved traces, at the amplifier's output")
    detail = "no trace was saved: -20 dBc and -25 dBc +- 6 dB assumed; save a trace of the drive"
    return Check("harmonics measured", False, detail)


def _lines_check(left_out: list[str], counted: int) -> Check:
    if not left_out:
        return Check("all lines counted", True, f"{counted} lines, each with a passband")
    detail = f"{', '.join(left_out)} without a passband: what leaks of them is not counted"
    return Check("all lines counted", False, f"{detail}; scan them, or state their wavelengths")


def _drift_check(drift_mhz: float | None, window: float) -> Check:
    detail = f"the largest leak within +-{1e3 * window:.0f} kHz counts"
    if drift_mhz is None:
        return Check("drift stated", True, f"{detail}; {1e3 * DRIFT_MHZ:.0f} kHz of it assumed for drift")
    return Check("drift stated", True, detail)


def _loud_check(best: QuietPlace) -> Check:
    detail = f"at most {best.bound_db:.1f} dB leaks (95 %), limit {_LOUD_DB:g} dB"
    passed = best.bound_db <= _LOUD_DB
    return Check("dark when parked", passed, detail if passed else f"{detail}; switch RF off instead of parking")
