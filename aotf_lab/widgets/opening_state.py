"""The opening check as it stands: today's few readings, a verdict on each link, and what is to be set after it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from uncertainties import UFloat, ufloat

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation.causes import CommonError, new_cause
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.given import given_day
from aotf_lab.planning.set_point import SetPoint, shown
from aotf_lab.reading.instruments import UNSTATED
from aotf_lab.reading.readings import Readings
from aotf_lab.record import CrystalRecord, KeptSetPoints, OscillatorRecord, kept_set_points
from aotf_lab.record.opening import Opening, opening_check
from aotf_lab.record.opening.link import MATTERS

__all__ = ["OpeningState", "opening_state", "places_to_read"]

_TIME_BASE = "counter time base"
_OTHER = "another counter"
_PEAK = "peak of "


@dataclass(frozen=True)
class OpeningState:
    """What today's readings say of the kept calibrations; made by ``opening_state``.

    ``opening`` is None while nothing was read. ``before`` and ``after`` are the set-points of the kept and of the
    renewed calibrations; ``places_v`` is where to read. ``u_reading_mhz`` (n,) is the standard uncertainty of a new
    reading at ``drive_v`` (n,) where nothing moved, ``u_peak_mhz`` that of the peak of each line. ``kept`` are the
    files that this state was kept in.
    """

    measured: str
    oscillator: OscillatorRecord = field(repr=False)
    crystal: CrystalRecord = field(repr=False)
    opening: Opening | None
    before: KeptSetPoints = field(repr=False)
    after: KeptSetPoints = field(repr=False)
    places_v: tuple[float, ...]
    drive_v: FloatArray = field(repr=False)
    u_reading_mhz: FloatArray = field(repr=False)
    u_peak_mhz: Mapping[str, float] = field(repr=False)
    kept: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """The verdicts in a line."""
        said = "nothing read yet"
        if self.opening is not None:
            said = ", ".join(f"{link.link} {_IN_WORDS[link.verdict]}" for link in self.opening.links)
        return f"Opening check of {self.measured}: {said}"

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value): verdicts and what they rest on, then what to set; before any reading, where to read."""
        if self.opening is None:
            half = 1e3 * self.oscillator.coverage_factor * np.interp(self.places_v, self.drive_v, self.u_reading_mhz)
            expected = self.oscillator.frequency(np.array(self.places_v))
            return tuple(
                (f"read at {v:.2f} V", f"{f.n:.4f} MHz if nothing has moved, give or take {h:.0f} kHz (95 %)")
                for v, f, h in zip(self.places_v, expected, half, strict=True)
            )
        if not self.opening.usable:
            return (*self.opening.rows(), ("set-points", "not given before what the verdict asks for is measured"))
        pairs = zip(self.before, self.after, strict=True)
        return (*self.opening.rows(), *((f"set for {new.line}", _words(old, new)) for old, new in pairs))

    @property
    def renewed(self) -> tuple[OscillatorRecord | CrystalRecord, ...]:
        """The calibrations that the check brought up to date: what is worth keeping."""
        return () if self.opening is None else self.opening.renewed

    @property
    def remarks(self) -> tuple[str, ...]:
        """What was not renewed, and which files were written."""
        links = () if self.opening is None else self.opening.links
        again = [f"{k.link}: not renewed, and not kept" for k in links if k.verdict == "measure again"]
        small = [
            f"{k.link}: moved beyond the 95 % range, but by less than {100 * MATTERS:g} % of the light: it may be used"
            for k in links
            if k.verdict == "use" and k.judgement.moved
        ]
        said = () if self.opening is None else self.opening.remarks
        return (*again, *small, *said, *(f"kept as {name}" for name in self.kept))

    @property
    def gaps_khz(self) -> tuple[tuple[float, ...], dict[str, float]]:
        """How far each reading of the oscillator, and the peak of each line, lies from what was kept (kHz)."""
        if self.opening is None:
            return (), {}
        first, second = self.opening.oscillator_link, self.opening.crystal_link
        own = () if first is None else tuple(1e3 * r.gap_mhz for r in first.readings)
        peaks = {} if second is None else {r.place.removeprefix(_PEAK): 1e3 * r.gap_mhz for r in second.readings}
        return own, peaks

    @property
    def peak_band_khz(self) -> dict[str, float]:
        """Half of the 95 % range (kHz) of a new peak of each line where nothing moved: of one read, with its own u."""
        found = {n: 1e3 * self.crystal.coverage_factor(n) * u for n, u in self.u_peak_mhz.items()}
        link = None if self.opening is None else self.opening.crystal_link
        for reading in () if link is None else link.readings:
            line = reading.place.removeprefix(_PEAK)
            found[line] = 1e3 * self.crystal.coverage_factor(line) * reading.u_gap_mhz
        return found

    @property
    def picture_words(self) -> str:
        """The picture in a sentence."""
        own, peaks = self.gaps_khz
        read = [*(f"{g:+.0f} kHz" for g in own), *(f"{g:+.0f} kHz at the peak of {n}" for n, g in peaks.items())]
        return (
            "Readings less the kept curve against drive voltage, and peaks less the kept ones, each with the 95 % "
            f"range of a new reading where nothing moved: {', '.join(read) or 'nothing read yet'}."
        )  # fmt: skip


_IN_WORDS = {"use": "holds", "corrected": "moved, corrected", "measure again": "to be measured again"}


def _words(old: SetPoint, new: SetPoint) -> str:
    if new.drive_v is None or old.drive_v is None:
        return f"cannot be set: {new.remark}"
    lost = "" if new.light_lost_percent is None else f", up to {new.light_lost_percent:.2g} % of the light lost (95 %)"
    moved = f"{shown(new.drive_v)} V, {1e3 * (new.drive_v.n - old.drive_v.n):+.1f} mV from what was kept{lost}"
    other = "" if new.drive_other_meter_v is None else f"; {shown(new.drive_other_meter_v)} V by another meter"
    return f"{moved}{other}" + ("" if new.rf_power_w is None else f"; {shown(new.rf_power_w)} W of RF")


def places_to_read(oscillator: OscillatorRecord, crystal: CrystalRecord) -> tuple[float, ...]:
    """Return three voltages (V) for an opening check: at the lowest, a middle and the highest line within reach.

    Over the oscillator's whole range where there are fewer than two.
    """
    low, high = oscillator.range_mhz
    peaks = sorted(crystal.peak(n).n for n in crystal.lines if crystal.known("peak", n))
    within = [p for p in peaks if low <= p <= high]
    if len(within) < 2:
        return tuple(np.round(np.linspace(*oscillator.range_v, 5)[1:4], 2).tolist())
    wanted = np.array([within[0], (within[0] + within[-1]) / 2, within[-1]])
    return tuple(np.round([v.n for v in oscillator.drive(wanted)], 2).tolist())


def opening_state(
    oscillator: OscillatorRecord, crystal: CrystalRecord, *, measured: str, read: Sequence[tuple[float, float]] = (),
    line_peak: Mapping[str, tuple[float, float]] | None = None, box_c: float | None = None,
    crystal_c: float | None = None, same_counter: bool = True,
) -> OpeningState:  # fmt: skip
    """Return what today's readings say.

    ``read`` are pairs of V and MHz, ``line_peak`` maps a line to its peak and the u of that (MHz), all as the bench's
    instruments show them. With ``same_counter`` today's counter is that of the oscillator's calibration, and its own
    error is shared; another one is taken as a plain quartz. Raises as ``opening_check``, ``RecordError`` for a date
    that is none even before any reading, ``AotfLabError`` for a peak without a u above zero.
    """
    given_day(measured, "measured")
    key = next((k for k in oscillator.numbers.causes if k.split("@")[0] == _TIME_BASE), None)
    counter, instruments = _counter(oscillator, key, same_counter)
    table = pd.DataFrame({"drive_v": [v for v, _ in read], "frequency_mhz": [f for _, f in read]})
    opening = None
    if read or line_peak:
        opening = opening_check(
            oscillator, crystal, measured=measured, instruments=instruments, box_c=box_c, crystal_c=crystal_c,
            oscillator_readings=Readings(table, counter) if read else None,
            line_peak={n: _peak(n, *pair, counter) for n, pair in (line_peak or {}).items()},
        )  # fmt: skip
    before = kept_set_points(oscillator, crystal)
    after = before if opening is None else kept_set_points(opening.oscillator, opening.crystal)
    shared_key = key if same_counter else None
    drive_v = np.linspace(*oscillator.range_v, 120)
    weights = oscillator.weights(drive_v)
    other = 0.0 if same_counter or not counter else counter[0].variable.s
    u = np.hypot(_u_without(oscillator, weights, shared_key), other * (weights @ oscillator.numbers.values))
    peaks = [n for n in crystal.lines if crystal.known("peak", n)]
    rows = np.eye(len(crystal.numbers))[[crystal.numbers.place(f"peak {n}") for n in peaks]]
    u_peaks = np.hypot(_u_without(crystal, rows, shared_key), other * (rows @ crystal.numbers.values))
    return OpeningState(
        measured, oscillator, crystal, opening, before, after, places_to_read(oscillator, crystal), drive_v,
        np.hypot(u, oscillator.u_reading_mhz), dict(zip(peaks, u_peaks.tolist(), strict=True)),
    )  # fmt: skip


def _counter(
    oscillator: OscillatorRecord, key: str | None, same: bool
) -> tuple[tuple[CommonError, ...], dict[str, str] | None]:
    """Return the error of today's counter, and its name where it has one."""
    if not same:
        variable = UNSTATED.causes[_TIME_BASE]
        size = 0.0 if variable is None else variable.s
    else:
        size = 0.0 if key is None else float(np.mean(oscillator.numbers.causes[key] / oscillator.numbers.values))
    error = (
        ()
        if size == 0
        else (CommonError(_TIME_BASE, "frequency_mhz", "relative", new_cause(_TIME_BASE, abs(size)), 1.0),)
    )
    named = _OTHER if not same else (key or "").partition("@")[2]
    return error, {"counter": named} if named else None


def _peak(line: str, frequency_mhz: float, u_mhz: float, counter: tuple[CommonError, ...]) -> UFloat:
    if not (np.isfinite(u_mhz) and u_mhz > 0):
        raise AotfLabError(
            f"peak of line {line} without an uncertainty", found=Said(f"{1e3 * u_mhz:g} kHz"), allowed="above 0 kHz",
            cure="give that of the scan's fit, some kHz as a rule",
        )  # fmt: skip
    peak = ufloat(frequency_mhz, u_mhz)
    for error in counter:
        peak = error.applied_to(peak)
    return peak


def _u_without(record: OscillatorRecord | CrystalRecord, weights: FloatArray, key: str | None) -> FloatArray:
    """Return u (m,) of ``weights`` (m, n) @ the kept numbers, less what is shared by ``key``."""
    variance = np.einsum("ij,jk,ik->i", weights, record.numbers.rest, weights)
    for name, effect in record.numbers.causes.items():
        if name != key:
            variance = variance + (weights @ effect) ** 2
    return np.asarray(np.sqrt(np.clip(variance, 0.0, None)))
