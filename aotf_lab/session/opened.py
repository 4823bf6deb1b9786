"""A session folder: session.toml and raw files in, every curve and set-point out."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from uncertainties import UFloat, nominal_value, ufloat

from aotf_lab.crystal import (
    Cut,
    EfficiencyLines,
    Scan,
    Tuning,
    fit_cut,
    fit_efficiency_lines,
    fit_scan,
    fit_tuning,
)
from aotf_lab.crystal.scan.known import U_TIME_CONSTANT
from aotf_lab.driver import Vco, fit_vco
from aotf_lab.driver.level import Level, SafeSupply, fit_level, safe_supply
from aotf_lab.driver.match import Match, fit_match
from aotf_lab.driver.stability import Pushing, WarmUp, fit_pushing, fit_warm_up
from aotf_lab.driver.waveform import Waveform, fit_waveform
from aotf_lab.driver.waveform.shares import typical_harmonics
from aotf_lab.errors import AotfLabError, Said, SessionError, UnsafeDriveError
from aotf_lab.estimation import Check, new_cause
from aotf_lab.planning import Curves, SetPoints, set_points
from aotf_lab.planning.doubts import doubts, drive_check, label_checks
from aotf_lab.planning.safe_drive import CONFIDENCE
from aotf_lab.reading.by_purpose import READERS, read_raw_file
from aotf_lab.reading.instruments import Instruments
from aotf_lab.reading.readings import Readings, join_readings
from aotf_lab.reading.session_file import RawFile, SessionFile, load_session_file
from aotf_lab.session.lines import lines_from_scans, stated_wavelength

__all__ = ["PARTS", "Session", "open_session"]

_In = TypeVar("_In")
_Out = TypeVar("_Out")

PARTS = ("all_readings", "vco", "scans", "tuning", "efficiency")
"""What is computed from a session, in the order in which one part needs the other."""


@dataclass(frozen=True)
class Session:
    """An open session; every result is computed when it is first asked for, and kept.

    ``facts`` is what session.toml says. ``vco``, ``tuning`` and ``efficiency`` raise when they cannot be
    computed; ``curves`` leaves them out. ``scans`` holds those that could be fitted. ``troubles`` says
    what is missing, and why.
    """

    facts: SessionFile
    _troubles: dict[str, AotfLabError] = field(default_factory=dict, repr=False, compare=False)

    def files(self, purpose: str, line: str | None = None) -> tuple[RawFile, ...]:
        """Return the raw files of ``purpose`` (and of ``line``), in the order of session.toml."""
        return tuple(f for f in self.facts.files if f.purpose == purpose and line in (None, f.line))

    @cached_property
    def instruments(self) -> Instruments:
        """The instruments as stated, with the driver's harmonics as its traces show them.

        A level in volts rms or peak to peak then gives the power of the fundamental.
        """
        stated = self.facts.instruments
        harmonics = typical_harmonics(self.waveforms.values())
        return stated if harmonics is None else stated.with_harmonics(harmonics)

    @cached_property
    def waveforms(self) -> Mapping[str, Waveform]:
        """The wave of each saved trace, by file name."""
        bench = self.facts.instruments

        def fitted(file: RawFile) -> Waveform:
            return fit_waveform(read_raw_file(file, bench), bench, counter_mhz=file.counter_mhz)

        return self._each({f.path.name: f for f in self.files("trace")}, fitted, "trace")

    def readings(self, purpose: str, line: str | None = None) -> Readings:
        """Return the rows of all files of ``purpose`` (and of ``line``) joined, in bench units.

        Raises ``SessionError`` when the session has no such file, ``ReadingError`` when one cannot
        be understood.
        """
        files = self.files(purpose, line)
        if not files:
            of_line = f" of line {line}" if line else ""
            raise SessionError(
                f"no file with purpose {purpose!r}{of_line}",
                where="session.toml",
                found=", ".join(sorted({f.purpose for f in self.facts.files})) or "no files",
                allowed=f"a [[file]] with purpose = {purpose!r}",
                cure="add it to session.toml",
            )
        return join_readings(read_raw_file(f, self.instruments) for f in files)

    @cached_property
    def all_readings(self) -> Mapping[str, Readings]:
        """The readings of every file that has a reader and could be read, by file name."""
        return self._each(
            {f.path.name: f for f in self.facts.files if f.purpose in READERS},
            lambda file: read_raw_file(file, self.instruments),
            "file",
        )

    @cached_property
    def vco(self) -> Vco:
        """The oscillator: drive voltage to frequency."""
        return fit_vco(self.readings("oscillator"))

    @cached_property
    def level(self) -> Level:
        """The amplifier: supply voltage and frequency to RF power, from every file of level."""
        files = self.files("level")
        if not files:
            self.readings("level")
        return fit_level([read_raw_file(f, self.instruments) for f in files])

    @cached_property
    def safe_supply(self) -> SafeSupply:
        """The highest supply of the amplifier that is sure to keep the crystal below its rating.

        Raises ``UnsafeDriveError`` when there is none, or no rating is stated.
        """
        rated = self.facts.crystal.rated_rf_power_w
        if rated is None:
            raise UnsafeDriveError(
                "no supply can be called safe", where="session.toml", found=Said("no rated RF power"),
                allowed="[crystal] rated_rf_power_w", cure="state it from the crystal's own papers",
            )  # fmt: skip
        return safe_supply(
            self.level, rated, CONFIDENCE, crystal_return_loss_db=self.crystal_return_loss_db,
            source_return_loss_db=self.facts.instruments.scope.source_return_loss_db,
        )  # fmt: skip

    @cached_property
    def crystal_return_loss_db(self) -> float | None:
        """The lowest return loss (dB) of the crystal where the level was measured, None where that was not measured."""
        if not self.files("match"):
            return None
        low, high = (max(a, b) if k == 0 else min(a, b) for k, (a, b) in
                     enumerate(zip(self.match.range_mhz, self.level.range_mhz, strict=True)))  # fmt: skip
        return float(np.min(self.match.return_loss_bounds_db(np.linspace(low, high, 1001))[0])) if low < high else None

    @cached_property
    def match(self) -> Match:
        """The reflection at the crystal's connector."""
        readings, file = self.readings("match"), self.files("match")[0]
        return fit_match(readings, directivity_db=file.directivity_db, cable_loss_db=file.cable_loss_db or 0.0)

    @cached_property
    def warm_up(self) -> WarmUp:
        """How the oscillator settles after power-on."""
        return fit_warm_up(self.readings("warm_up"))

    @cached_property
    def pushing(self) -> Pushing:
        """How the oscillator's own supply moves its frequency."""
        return fit_pushing(self.readings("pushing"))

    @cached_property
    def scans(self) -> Mapping[str, Scan]:
        """The passband of each scanned line."""
        names = {f.line: f.line for f in self.files("scan") if f.line}
        seconds = self.facts.instruments.power_meter.time_constant_s
        # one meter, so one error of its time constant for all scans
        lag = None if seconds is None else new_cause("power meter time constant", U_TIME_CONSTANT * seconds, seconds)

        def fitted(name: str) -> Scan:
            return fit_scan(self.readings("scan", name), line=name, time_constant_s=lag)

        return self._each(names, fitted, "scan of line")

    @cached_property
    def line_readings(self) -> Readings:
        """The anchor lines: stated wavelength against measured frequency, from scans or a table."""
        if self.files("lines"):
            return self.readings("lines")
        anchors = [line for line in self.facts.lines if line.use == "anchor" and line.name in self.scans]
        if not anchors:
            raise SessionError(
                "no anchor line was scanned",
                where="session.toml",
                found=Said(", ".join(f"{line.name} ({line.use})" for line in self.facts.lines) or "no lines"),
                allowed='scans of two or more lines with use = "anchor", or a file with purpose = "lines"',
                cure="scan lines of known wavelength",
            )
        return lines_from_scans(anchors, self.scans)

    @cached_property
    def tuning(self) -> Tuning:
        """The crystal: wavelength to frequency."""
        return fit_tuning(self.line_readings, material=self.facts.crystal.material)

    @cached_property
    def efficiency(self) -> EfficiencyLines:
        """Efficiency against RF power of every line that was measured."""
        names = {f.line: f.line for f in self.files("efficiency") if f.line}
        if not names:
            self.readings("efficiency")
        readings = self._each(names, lambda name: self.readings("efficiency", name), "efficiency of line")
        wavelengths = {n: self.wavelengths_nm[n] for n in readings}
        return fit_efficiency_lines(
            {n: (readings[n], None if w is None else float(nominal_value(w))) for n, w in wavelengths.items()}
        )

    @cached_property
    def velocity_m_s(self) -> UFloat | None:
        """The acoustic velocity stated in session.toml; 1 % when its uncertainty is not."""
        crystal = self.facts.crystal
        if crystal.velocity_m_s is None:
            return None
        u = crystal.u_velocity_m_s
        return ufloat(crystal.velocity_m_s, 0.01 * crystal.velocity_m_s if u is None else u, tag="acoustic velocity")

    @cached_property
    def found_nm(self) -> Mapping[str, UFloat]:
        """Vacuum wavelength of each line to find whose peak lies within the tuning curve's range."""
        tuning, scans = self.part("tuning"), self.part("scans") or {}
        low, high = tuning.range_mhz if tuning is not None else (1.0, 0.0)
        names = [line.name for line in self.facts.lines if line.use == "find" and line.name in scans]
        return {n: tuning.wavelength(scans[n].centre_mhz) for n in names if low <= scans[n].centre_mhz.n <= high}

    @cached_property
    def wavelengths_nm(self) -> Mapping[str, UFloat | float | None]:
        """Vacuum wavelength of each line: as found from its peak where it was to be found, else as stated."""
        return {line.name: self.found_nm.get(line.name, stated_wavelength(line)) for line in self.facts.lines}

    @cached_property
    def checks(self) -> tuple[Check, ...]:
        """The checks that concern the session as a whole: found wavelengths against labels, drive against rating."""
        efficiency, rated = self.part("efficiency"), self.facts.crystal.rated_rf_power_w
        drive = [] if efficiency is None or rated is None else [drive_check(efficiency.own, rated)]
        return (*label_checks(self.facts.lines, self.found_nm), *drive)

    @cached_property
    def cut(self) -> Cut:
        """The cut of the crystal whose exact phase matching fits the lines."""
        return fit_cut(self.tuning, velocity_m_s=self.velocity_m_s)

    @cached_property
    def curves(self) -> Curves:
        """All curves that could be computed; what is missing stands in ``troubles``."""
        vco, tuning, efficiency = self.part("vco"), self.part("tuning"), self.part("efficiency")
        return Curves(
            vco,
            tuning,
            efficiency,
            self.part("scans") or {},
            self.facts.crystal.rated_rf_power_w,
            doubts(self.facts.lines, self.found_nm, tuning, self._troubles.get("tuning"), self.checks),
            {part: str(error) for part, error in self._troubles.items()},
            self.part("level") if self.files("level") else None,
            self.part("safe_supply") if self.files("level") and self.facts.crystal.rated_rf_power_w else None,
        )

    @property
    def troubles(self) -> Mapping[str, AotfLabError]:
        """What could not be computed, and why: part -> error."""
        for part in PARTS:
            self.attempt(part)
        told = {str(error) for part, error in self._troubles.items() if not part.startswith("file ")}
        return {p: e for p, e in self._troubles.items() if not p.startswith("file ") or str(e) not in told}

    def attempt(self, part: str) -> None:
        """Compute ``part`` (one of ``PARTS``) unless that was done; a failure goes to ``troubles``."""
        if part in self._troubles or part in self.__dict__:
            return
        try:
            getattr(self, part)
        except AotfLabError as error:
            self._troubles[part] = error

    def part(self, part: str) -> Any:
        """Return ``part`` (one of ``PARTS``), None when it cannot be computed; ``troubles`` says why."""
        self.attempt(part)
        return self.__dict__.get(part)

    def set_points(self) -> SetPoints:
        """Return the set-points of all lines of the session."""
        return set_points(self)

    def _each(self, items: Mapping[str, _In], work: Callable[[_In], _Out], what: str) -> dict[str, _Out]:
        """Return the results of ``work`` by name; one failure does not stop the others."""
        results = {}
        for name, item in items.items():
            try:
                results[name] = work(item)
            except AotfLabError as error:
                self._troubles[f"{what} {name}"] = error
        return results


def open_session(folder: str | os.PathLike[str]) -> Session:
    """Open the session in ``folder`` and return it; raw files are read when they are needed.

    Raises ``SessionError`` when session.toml is missing, contradictory or names files that are not
    there.
    """
    return Session(load_session_file(folder))
