"""A session folder: session.toml and raw files in, every curve and set-point out."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

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
from aotf_lab.errors import AotfLabError, Said, SessionError
from aotf_lab.estimation import Check, new_cause
from aotf_lab.planning import Curves, SetPoints, set_points
from aotf_lab.planning.doubts import doubts, drive_check, label_checks
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.session_file import load_session_file
from aotf_lab.session.driver import SessionDriver
from aotf_lab.session.lines import lines_from_scans, stated_wavelength

__all__ = ["Session", "open_session"]

_In = TypeVar("_In")
_Out = TypeVar("_Out")

_WHERE_MEASURED = {
    "waveforms": "trace",
    "level": "level",
    "match": "match",
    "safe_supply": "level",
    "warm_up": "warm_up",
    "stability": "warm_up",
    "pushing": "pushing",
}
"""Part of a session that nobody misses -> the purpose of the files that it is computed from."""


@dataclass(frozen=True)
class Session(SessionDriver):
    """An open session; every result is computed when it is first asked for, and kept.

    ``facts`` is what session.toml says. ``vco``, ``tuning`` and ``efficiency`` raise when they cannot be
    computed; ``curves`` leaves them out. ``scans`` holds those that could be fitted. ``troubles`` says
    what is missing, and why.
    """

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
            *(self.part(part) if part in self.parts else None for part in ("level", "safe_supply")),
        )

    @property
    def parts(self) -> tuple[str, ...]:
        """What is to be computed from this session, in the order in which one part needs the other."""
        measured = [p for p, purpose in _WHERE_MEASURED.items() if self.files(purpose)]
        if self.facts.crystal.rated_rf_power_w is None and "safe_supply" in measured:
            measured.remove("safe_supply")
        return ("all_readings", "vco", *measured, "scans", "tuning", "efficiency")

    @property
    def troubles(self) -> Mapping[str, AotfLabError]:
        """What could not be computed, and why: part -> error."""
        for part in self.parts:
            self.attempt(part)
        told = {str(error) for part, error in self._troubles.items() if not part.startswith("file ")}
        return {p: e for p, e in self._troubles.items() if not p.startswith("file ") or str(e) not in told}

    def set_points(self) -> SetPoints:
        """Return the set-points of all lines of the session."""
        return set_points(self)


def open_session(folder: str | os.PathLike[str]) -> Session:
    """Open the session in ``folder`` and return it; raw files are read when they are needed.

    Raises ``SessionError`` when session.toml is missing, contradictory or names files that are not
    there.
    """
    return Session(load_session_file(folder))
