"""A session folder: session.toml and raw files in, every curve and set-point out."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeVar

import pandas as pd
from uncertainties import UFloat, nominal_value, ufloat

from aotf_lab.crystal import EfficiencyLines, Scan, Tuning, fit_efficiency_lines, fit_scan, fit_tuning
from aotf_lab.driver import Vco, fit_vco
from aotf_lab.errors import AotfLabError, OutOfRangeError, SessionError
from aotf_lab.estimation import u_by_cause
from aotf_lab.planning import Curves, SetPoints, set_points
from aotf_lab.reading.by_purpose import READERS, read_raw_file
from aotf_lab.reading.readings import Readings, join_readings
from aotf_lab.reading.session_file import LineFacts, RawFile, SessionFile, load_session_file

__all__ = ["PARTS", "Session", "open_session"]

_In = TypeVar("_In")
_Out = TypeVar("_Out")

PARTS = ("all_readings", "vco", "scans", "tuning", "efficiency")
"""What is computed from a session, in the order in which one part needs the other."""


@dataclass(frozen=True)
class Session:
    """An open session; every result is computed when it is first asked for, and kept.

    ``facts`` is what session.toml says. A part asked for by name (``vco``, ``scans``, ``tuning``,
    ``efficiency``) raises when it cannot be computed; ``curves`` leaves it out and ``troubles`` says
    why.
    """

    facts: SessionFile
    _troubles: dict[str, AotfLabError] = field(default_factory=dict, repr=False, compare=False)

    def files(self, purpose: str, line: str | None = None) -> tuple[RawFile, ...]:
        """Return the raw files of ``purpose`` (and of ``line``), in the order of session.toml."""
        return tuple(f for f in self.facts.files if f.purpose == purpose and line in (None, f.line))

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
        return join_readings(read_raw_file(f, self.facts.instruments) for f in files)

    @cached_property
    def all_readings(self) -> Mapping[str, Readings]:
        """The readings of every file that has a reader and could be read, by file name."""
        return self._each(
            {f.path.name: f for f in self.facts.files if f.purpose in READERS},
            lambda file: read_raw_file(file, self.facts.instruments),
            "file",
        )

    @cached_property
    def vco(self) -> Vco:
        """The oscillator: drive voltage to frequency."""
        return fit_vco(self.readings("oscillator"))

    @cached_property
    def scans(self) -> Mapping[str, Scan]:
        """The passband of each scanned line."""
        names = {f.line: f.line for f in self.files("scan") if f.line}
        lag = self.facts.instruments.power_meter.time_constant_s

        def fitted(name: str) -> Scan:
            return fit_scan(self.readings("scan", name), line=name, time_constant_s=lag)

        return self._each(names, fitted, "scan of line")

    @cached_property
    def line_readings(self) -> Readings:
        """The anchor lines: stated wavelength against measured frequency, from scans or a table."""
        if self.files("lines"):
            return self.readings("lines")
        anchors = [line for line in self.facts.lines if line.use == "anchor" and line.name in self.scans]
        return _lines_from_scans(anchors, self.scans)

    @cached_property
    def tuning(self) -> Tuning:
        """The crystal: wavelength to frequency."""
        return fit_tuning(self.line_readings, material=self.facts.crystal.material)

    @cached_property
    def efficiency(self) -> EfficiencyLines:
        """Efficiency against RF power of every line that was measured."""
        names = dict.fromkeys(f.line for f in self.files("efficiency") if f.line)
        if not names:
            self.readings("efficiency")
        found = {n: self.wavelengths_nm[n] for n in names}
        return fit_efficiency_lines(
            {
                name: (self.readings("efficiency", name), None if w is None else float(nominal_value(w)))
                for name, w in found.items()
            }
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
    def wavelengths_nm(self) -> Mapping[str, UFloat | float | None]:
        """Vacuum wavelength of each line: as stated for anchors, as found from its peak for the others."""
        return {line.name: self._found(line) if line.use == "find" else _stated(line) for line in self.facts.lines}

    def _found(self, line: LineFacts) -> UFloat | float | None:
        tuning, scans = self._part("tuning"), self._part("scans") or {}
        if tuning is None or line.name not in scans:
            return _stated(line)
        try:
            found: UFloat = tuning.wavelength(scans[line.name].centre_mhz)
        except OutOfRangeError:
            return _stated(line)
        return found

    @cached_property
    def curves(self) -> Curves:
        """All curves that could be computed; what is missing stands in ``troubles``."""
        rated = self.facts.crystal.rated_rf_power_w
        vco, tuning, efficiency = self._part("vco"), self._part("tuning"), self._part("efficiency")
        return Curves(vco, tuning, efficiency, self._part("scans") or {}, rated)

    @property
    def troubles(self) -> Mapping[str, AotfLabError]:
        """What could not be computed, and why: part -> error."""
        for part in PARTS:
            self.attempt(part)
        return self._troubles

    def attempt(self, part: str) -> None:
        """Compute ``part`` (one of ``PARTS``) unless that was done; a failure goes to ``troubles``."""
        if part in self._troubles or part in self.__dict__:
            return
        try:
            getattr(self, part)
        except AotfLabError as error:
            self._troubles[part] = error

    def set_points(self) -> SetPoints:
        """Return the set-points of all lines of the session."""
        return set_points(self)

    def _part(self, part: str) -> Any:
        self.attempt(part)
        return self.__dict__.get(part)

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


def _stated(line: LineFacts) -> UFloat | float | None:
    if line.wavelength_nm is None:
        return None
    return ufloat(line.wavelength_nm, line.u_wavelength_nm, tag=f"wavelength of line {line.name}")


def _lines_from_scans(anchors: list[LineFacts], scans: Mapping[str, Scan]) -> Readings:
    """Return the anchors with the centres of their scans as readings for the tuning fit.

    The errors that all scans share (the counter's time base) stay shared: they are no part of ``u_frequency_mhz``.
    """
    rows = [
        {
            "label": line.name,
            "wavelength_nm": line.wavelength_nm,
            "u_wavelength_nm": line.u_wavelength_nm,
            "frequency_mhz": scans[line.name].centre_mhz.n,
            "u_frequency_mhz": _u_without_shared(scans[line.name]),
        }
        for line in anchors
    ]
    parts = [scans[line.name].readings for line in anchors]
    common = {id(e.variable): e for p in parts for e in p.common_errors("frequency_mhz")}
    sources = tuple(s for p in parts for s in p.sources)
    return Readings(pd.DataFrame(rows), tuple(common.values()), (), sources)


def _u_without_shared(scan: Scan) -> float:
    """Return the standard uncertainty of a scan's centre (MHz) without the errors shared by all scans."""
    shared = {e.name for e in scan.readings.common_errors("frequency_mhz")}
    return float(sum(u**2 for cause, u in u_by_cause(scan.centre_mhz).items() if cause not in shared) ** 0.5)
