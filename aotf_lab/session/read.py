"""The raw files of a session, read; and what was found while that was tried."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeVar

from aotf_lab.driver.waveform import Waveform, fit_waveform
from aotf_lab.driver.waveform.shares import DriverHarmonic, typical_harmonics
from aotf_lab.errors import AotfLabError, Said, SessionError
from aotf_lab.reading.by_purpose import READERS, read_raw_file
from aotf_lab.reading.instruments import Instruments
from aotf_lab.reading.readings import Readings, join_readings
from aotf_lab.reading.session_file import RawFile, SessionFile
from aotf_lab.session.by_name import ByName

__all__ = ["SessionReadings"]

_OF_A_FILTER = frozenset(
    {
        "scans",
        "tuning",
        "cut",
        "identity",
        "hunt",
        "spectrum",
        "passbands",
        "leakage",
        "crosstalk",
        "one_drive",
        "park",
        "sweep",
        "advice",
    }
)
_OF_A_MODULATOR = frozenset({"modulators"})
"""Parts that only a crystal of the kind has."""

_In = TypeVar("_In")
_Out = TypeVar("_Out")


@dataclass(frozen=True)
class SessionReadings:
    """What session.toml says (``facts``), and the readings of its files.

    Traces are read and fitted first: the harmonics that they show belong to how levels are read.
    """

    facts: SessionFile
    _troubles: dict[str, AotfLabError] = field(default_factory=dict, repr=False, compare=False)
    _kept: dict[int, tuple[RawFile, Readings]] = field(default_factory=dict, repr=False, compare=False)

    def files(self, purpose: str, line: str | None = None) -> tuple[RawFile, ...]:
        """Return the raw files of ``purpose`` (and of ``line``), in the order of session.toml."""
        return tuple(f for f in self.facts.files if f.purpose == purpose and line in (None, f.line))

    def lines_of(self, purpose: str) -> dict[str, str]:
        """Return the lines of the files of ``purpose``, each by itself; "" where a file names none."""
        return {f.line or "": f.line or "" for f in self.files(purpose)}

    @cached_property
    def instruments(self) -> Instruments:
        """The instruments as stated, with the driver's harmonics as its traces show them.

        A level in volts rms or peak to peak then gives the power of the fundamental.
        """
        stated, harmonics = self.facts.instruments, self.driver_harmonics
        return stated if harmonics is None else stated.with_harmonics(harmonics)

    @cached_property
    def driver_harmonics(self) -> tuple[DriverHarmonic, ...] | None:
        """The driver's harmonics as its traces show them, None without a trace."""
        return typical_harmonics(self.waveforms.values())

    @cached_property
    def waveforms(self) -> Mapping[str, Waveform]:
        """The wave of each saved trace, by file name."""
        bench = self.facts.instruments

        def fitted(file: RawFile) -> Waveform:
            return fit_waveform(self.read(file), bench, counter_mhz=file.counter_mhz)

        return self._each({f.path.name: f for f in self.files("trace")}, fitted, "trace")

    def read(self, file: RawFile) -> Readings:
        """Return the readings of one of the session's files, which is read once. Raises as ``read_raw_file``."""
        if id(file) not in self._kept:  # the file is kept beside its readings, so that no other one takes its id
            bench = self.facts.instruments if file.purpose == "trace" else self.instruments
            self._kept[id(file)] = file, read_raw_file(file, bench)
        return self._kept[id(file)][1]

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
                found=", ".join(sorted({f.purpose for f in self.facts.files})) or Said("no files"),
                allowed=f"a [[file]] with purpose = {purpose!r}",
                cure="add it to session.toml",
            )
        return join_readings(self.read(f) for f in files)

    @cached_property
    def all_readings(self) -> Mapping[str, Readings]:
        """The readings of every file that has a reader and could be read, by file name."""
        return self._each(
            {f.path.name: f for f in self.facts.files if f.purpose in READERS},
            self.read,
            "file",
        )

    @property
    def absent(self) -> frozenset[str]:
        """The parts that a crystal of this kind does not have: they are neither computed nor missed."""
        return _OF_A_FILTER if self.facts.crystal.kind == "modulator" else _OF_A_MODULATOR

    def attempt(self, part: str) -> None:
        """Compute ``part`` unless that was done; a failure goes to ``troubles``."""
        if part in self.absent or part in self._troubles or part in self.__dict__:
            return
        try:
            getattr(self, part)
        except AotfLabError as error:
            self._troubles[part] = error

    def part(self, part: str) -> Any:
        """Return ``part``, None when it cannot be computed; ``troubles`` says why."""
        self.attempt(part)
        return self.__dict__.get(part)

    def _each(self, items: Mapping[str, _In], work: Callable[[_In], _Out], what: str) -> ByName[_Out]:
        """Return the results of ``work`` by name; one failure does not stop the others."""
        results, failed = {}, {}
        for name, item in items.items():
            try:
                results[name] = work(item)
            except AotfLabError as error:
                self._troubles[f"{what} {name}" if name else what.removesuffix(" of line")] = failed[name] = error
        return ByName(results, what, failed)
