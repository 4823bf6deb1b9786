"""What a session says of its crystal: passbands, tuning, efficiency, cut, and the lines that were found by them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

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
from aotf_lab.crystal.modulator.modulator import Modulator, fit_modulator
from aotf_lab.crystal.scan.known import TIME_CONSTANT, U_TIME_CONSTANT
from aotf_lab.errors import Said, SessionError
from aotf_lab.estimation import new_cause
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.session_file import LineFacts
from aotf_lab.session.driver import SessionDriver
from aotf_lab.session.lines import lines_from_scans, stated_wavelength

__all__ = ["SessionCrystal"]


@dataclass(frozen=True)
class SessionCrystal(SessionDriver):
    """The crystal's curves; each raises when it cannot be computed."""

    @cached_property
    def meter_s(self) -> UFloat | None:
        """The power meter's time constant (s) as stated: one meter, so one error for all that it trails in."""
        seconds = self.facts.instruments.power_meter.time_constant_s
        return None if seconds is None else new_cause(TIME_CONSTANT, U_TIME_CONSTANT * seconds, seconds)

    @cached_property
    def stated_nm(self) -> Mapping[str, UFloat]:
        """Vacuum wavelength (nm) of each line as session.toml states it: one cause a label."""
        stated = {line.name: stated_wavelength(line) for line in self.facts.lines}
        return {name: value for name, value in stated.items() if value is not None}

    @cached_property
    def scans(self) -> Mapping[str, Scan]:
        """The passband of each scanned line."""
        names = {f.line: f.line for f in self.files("scan") if f.line}

        def fitted(name: str) -> Scan:
            return fit_scan(self.readings("scan", name), line=name, time_constant_s=self.meter_s)

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
        return fit_tuning(self.line_readings, material=self.facts.crystal.material, stated_nm=self.stated_nm)

    @cached_property
    def efficiency(self) -> EfficiencyLines:
        """Efficiency against RF power of every line that was measured."""
        names = {f.line: f.line for f in self.files("efficiency") if f.line}
        if not names:
            self.readings("efficiency")
        readings = self._each(names, lambda name: self.readings("efficiency", name), "efficiency of line")
        if not readings:
            raise next(iter(readings.failed.values()))
        wavelengths = {n: self.wavelengths_nm[n] for n in readings}
        return fit_efficiency_lines(
            {n: (readings[n], None if w is None else float(nominal_value(w))) for n, w in wavelengths.items()}
        )

    @cached_property
    def modulators(self) -> Mapping[str, Modulator]:
        """What a plain modulator does at each scanned line; the velocity is the one that session.toml states."""
        scanned = {f.line for f in self.files("scan")}
        if not scanned:
            self.readings("scan")
        lines = {line.name: line for line in self.facts.lines if line.name in scanned}
        efficiency = self.part("efficiency") if self.files("efficiency") else None
        sizes = (self.part("beam_size") if self.files("beam_size") else None) or {}

        def fitted(line: LineFacts) -> Modulator:
            curve = efficiency.line(line.name) if efficiency is not None and line.name in efficiency.own else None
            nm, size = self.stated_nm.get(line.name), sizes.get(line.name, sizes.get(""))
            if nm is None:
                raise SessionError(
                    f"wavelength of line {line.name}", where="session.toml", found=Said("none"),
                    allowed="wavelength_nm in its [[line]]", cure="state it: a modulator does not tell it",
                )  # fmt: skip
            return fit_modulator(
                self.readings("scan", line.name), wavelength_nm=nm, efficiency=curve, velocity_m_s=self.velocity_m_s,
                diameter_mm=None if size is None else size.diameter_mm, line=line.name, time_constant_s=self.meter_s,
            )  # fmt: skip

        return self._each(lines, fitted, "modulator at line")

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
        known = {**self.stated_nm, **self.found_nm}
        return {line.name: known.get(line.name) for line in self.facts.lines}

    @cached_property
    def cut(self) -> Cut:
        """The cut of the crystal whose exact phase matching fits the lines."""
        return fit_cut(self.tuning, velocity_m_s=self.velocity_m_s)
