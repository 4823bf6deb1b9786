"""A session folder: session.toml and raw files in, every curve and set-point out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TypeVar

import pandas as pd
from uncertainties import UFloat, ufloat

from aotf_lab.crystal import EfficiencyLines, Scan, Tuning, fit_efficiency_lines, fit_scan, fit_tuning
from aotf_lab.driver import Vco, fit_vco
from aotf_lab.errors import AotfLabError, SessionError
from aotf_lab.planning import Curves, SetPoints, set_points
from aotf_lab.reading import (
    Readings,
    join_readings,
    load_session_file,
    read_counter,
    read_lines,
    read_power_log,
    read_scope_levels,
)
from aotf_lab.reading.session_file import LineFacts, RawFile, SessionFile

__all__ = ["Session", "open_session"]

_Result = TypeVar("_Result")

_READERS = {
    "oscillator": read_counter,
    "scan": read_power_log,
    "efficiency": read_power_log,
    "level": read_scope_levels,
    "lines": read_lines,
}


@dataclass(frozen=True)
class Session:
    """An open session; every result is computed when it is first asked for, and kept.

    ``facts`` is what session.toml says.
    """

    facts: SessionFile

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
        return join_readings(self._read(f) for f in files)

    def _read(self, file: RawFile) -> Readings:
        return _READERS[file.purpose](file.path, self.facts.instruments, file.columns)

    @cached_property
    def all_readings(self) -> Mapping[str, Readings]:
        """The readings of every file with a purpose, by file name."""
        return {f.path.name: self._read(f) for f in self.facts.files if f.purpose in _READERS}

    @cached_property
    def vco(self) -> Vco:
        """The oscillator: drive voltage to frequency."""
        return fit_vco(self.readings("oscillator"))

    @cached_property
    def scans(self) -> Mapping[str, Scan]:
        """The passband of each scanned line."""
        names = dict.fromkeys(f.line for f in self.files("scan") if f.line)
        return {n: fit_scan(self.readings("scan", n), line=n) for n in names}

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
        found = self.wavelengths_nm
        names = dict.fromkeys(f.line for f in self.files("efficiency") if f.line)
        return fit_efficiency_lines({n: (self.readings("efficiency", n), _nominal(found[n])) for n in names})

    @cached_property
    def wavelengths_nm(self) -> Mapping[str, UFloat | float | None]:
        """Vacuum wavelength of each line: as stated for anchors, as found from its peak for the others."""
        result: dict[str, UFloat | float | None] = {}
        for line in self.facts.lines:
            result[line.name] = _stated(line) if line.use == "anchor" else self._found(line)
        return result

    def _found(self, line: LineFacts) -> UFloat | float | None:
        scan = self._optional(lambda: self.scans).get(line.name) if self._optional(lambda: self.scans) else None
        tuning = self._optional(lambda: self.tuning)
        if scan is None or tuning is None:
            return _stated(line)
        try:
            found: UFloat = tuning.wavelength(scan.centre_mhz)
        except AotfLabError:
            return _stated(line)
        return found

    @cached_property
    def troubles(self) -> Mapping[str, AotfLabError]:
        """What could not be computed, and why: part -> error."""
        troubles: dict[str, AotfLabError] = {}
        for part in ("vco", "scans", "tuning", "efficiency"):
            try:
                getattr(self, part)
            except AotfLabError as error:
                troubles[part] = error
        return troubles

    @cached_property
    def curves(self) -> Curves:
        """All curves that could be computed; what is missing stands in ``troubles``."""
        return Curves(
            self._optional(lambda: self.vco),
            self._optional(lambda: self.tuning),
            self._optional(lambda: self.efficiency),
            self._optional(lambda: self.scans) or {},
            self.facts.crystal.rated_rf_power_w,
        )

    def set_points(self) -> SetPoints:
        """Return the set-points of all lines of the session."""
        return set_points(self)

    @staticmethod
    def _optional(part: Callable[[], _Result]) -> _Result | None:
        try:
            return part()
        except AotfLabError:
            return None


def open_session(folder: str | Path) -> Session:
    """Open the session in ``folder`` and return it; raw files are read when they are needed.

    Raises ``SessionError`` when session.toml is missing, contradictory or names files that are not
    there.
    """
    return Session(load_session_file(Path(folder)))


def _stated(line: LineFacts) -> UFloat | float | None:
    if line.wavelength_nm is None:
        return None
    return ufloat(line.wavelength_nm, line.u_wavelength_nm, tag=f"wavelength of line {line.name}")


def _nominal(value: UFloat | float | None) -> float | None:
    return value.n if isinstance(value, UFloat) else value


def _lines_from_scans(anchors: list[LineFacts], scans: Mapping[str, Scan]) -> Readings:
    """Return the anchors with the centres of their scans, in indicated MHz, as readings for the tuning fit."""
    rows = [
        {
            "label": line.name,
            "wavelength_nm": line.wavelength_nm,
            "u_wavelength_nm": line.u_wavelength_nm,
            "frequency_mhz": scans[line.name].centre_indicated_mhz.n,
            "u_frequency_mhz": scans[line.name].centre_indicated_mhz.s,
        }
        for line in anchors
    ]
    parts = [scans[line.name].readings for line in anchors]
    common = {id(e.variable): e for p in parts for e in p.common_errors("frequency_mhz")}
    sources = tuple(s for p in parts for s in p.sources)
    return Readings(pd.DataFrame(rows), tuple(common.values()), (), sources)
