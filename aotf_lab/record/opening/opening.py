"""The check at the start of a day: a few readings say whether the kept calibrations still hold, and renew them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, TypeVar

import numpy as np
import pandas as pd
from uncertainties import UFloat

from aotf_lab.errors import ReadingsError, RecordError, Said
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.given import given, given_day, given_list, given_number, given_table
from aotf_lab.reading.readings import Readings, as_readings
from aotf_lab.reading.source import SourceFile
from aotf_lab.record.calibration import Update
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.given import given_crystal, given_oscillator
from aotf_lab.record.opening.ask_crystal import ask_crystal
from aotf_lab.record.opening.ask_oscillator import ask_oscillator, box_temperature_c
from aotf_lab.record.opening.link import LinkCheck, checked_link
from aotf_lab.record.opening.words import link_rows, update_words
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.sound import require_sound
from aotf_lab.record.stored import StoredNumbers

__all__ = ["Opening", "opening_check"]

_Record = TypeVar("_Record", OscillatorRecord, CrystalRecord)


@dataclass(frozen=True, eq=False)
class Opening:
    """What the check found, made by ``opening_check``.

    ``oscillator_link`` and ``crystal_link`` are the verdicts, None for a link of which nothing was read.
    ``oscillator`` and ``crystal`` are the calibrations to go on with: brought up to date, or as they were where
    nothing was read or the verdict is "measure again". ``against`` are the dates from which the two stood before;
    ``remarks`` say which checks of the calibrations had failed, and what was left out or taken for granted.
    """

    measured: str
    oscillator_link: LinkCheck | None
    crystal_link: LinkCheck | None
    oscillator: OscillatorRecord = field(repr=False)
    crystal: CrystalRecord = field(repr=False)
    against: tuple[str, str]
    remarks: tuple[str, ...] = ()

    @property
    def links(self) -> tuple[LinkCheck, ...]:
        """The links of which something was read."""
        return tuple(link for link in (self.oscillator_link, self.crystal_link) if link is not None)

    @property
    def renewed(self) -> tuple[OscillatorRecord | CrystalRecord, ...]:
        """The calibrations that the check brought up to date: what is worth keeping."""
        pairs = ((self.oscillator_link, self.oscillator), (self.crystal_link, self.crystal))
        return tuple(r for link, r in pairs if link is not None and link.verdict != "measure again")

    @property
    def usable(self) -> bool:
        """Whether no link that was looked at must be measured again."""
        return all(link.verdict != "measure again" for link in self.links)

    def plot(self, ax: Any = None) -> Any:
        """Draw how far each reading lies from the kept curves; return the Axes."""
        from aotf_lab.drawing.opening import plot_opening

        told = [(link, reading) for link in self.links for reading in link.readings]
        gap, u, found, matters = (
            1e3 * np.array([(r.gap_mhz, r.u_gap_mhz, link.shift_mhz, link.matters_mhz) for link, r in told]).T
        )
        return plot_opening([r.place for _, r in told], gap, u, found, matters, ax=ax)

    def rows(self) -> list[tuple[str, str]]:
        """Return each link's verdict and what it rests on as name and value."""
        unread = [n for n, link in (("oscillator", self.oscillator_link), ("crystal", self.crystal_link)) if not link]
        rows = [row for link in self.links for row in link_rows(link)]
        return rows + [(name, "nothing read: as it was kept") for name in unread]

    def __str__(self) -> str:
        return rows_text(self._title, self.rows(), self.remarks)

    def _repr_html_(self) -> str:
        return rows_html(self._title, self.rows(), self.remarks)

    @property
    def _title(self) -> str:
        return f"Opening check of {self.measured}, against {' and '.join(self.against)}"


def opening_check(
    oscillator: OscillatorRecord,
    crystal: CrystalRecord,
    *,
    measured: str | date,
    oscillator_readings: Readings | pd.DataFrame | None = None,
    line_peak: Mapping[str, UFloat] | None = None,
    box_c: float | None = None,
    crystal_c: float | None = None,
    instruments: Mapping[str, str] | None = None,
    peak_files: Iterable[SourceFile] = (),
) -> Opening:
    """Return the verdict on each link from today's readings, and the calibrations brought up to date.

    ``measured`` is today, as ISO text or a date. ``oscillator_readings`` are one to three rows (more will do) of
    ``drive_v``, as the bench's voltmeter shows it, and ``frequency_mhz``, as the counter does; ``line_peak`` is a
    line's peak in true MHz, such as the ``centre_mhz`` of a scan, by name. ``box_c`` (by default the mean of the
    readings' ``temperature_c``) and ``crystal_c`` are today's temperatures; ``instruments`` as in
    ``oscillator_record``. ``peak_files`` are the raw files of the peaks; with those of the readings they are noted in
    what is renewed.

    A link is used as it is where the readings lie within the prediction of the kept curve, or miss it by less than
    1 % of the light; a significant plain shift, or with three readings a tilt smaller than the shift, is corrected; a
    change of shape, a shift that is no drift or too large a rest of doubt asks for a new measurement.

    Raises ``ReadingsError`` without any reading, and for values that are none; ``OutOfRangeError`` outside the
    measured voltages; ``AotfLabError`` for a line whose peak was not kept; ``RecordError`` for a date that is none or
    before the calibration, and for readings that the calibration holds already: they would count twice.
    """
    given_oscillator(oscillator)
    given_crystal(crystal)
    day = given_day(measured, "measured")
    box_c, crystal_c = (
        None if value is None else given_number(value, name, "C")
        for name, value in (("box_c", box_c), ("crystal_c", crystal_c))
    )
    allowed, cure = "names of lines and their peaks (MHz)", "write {line: scan.centre_mhz}"
    told, peaks = oscillator_readings, given_table(line_peak or {}, "line_peak", allowed, cure)
    if (told is None or not len(as_readings(told).table)) and not peaks:
        raise ReadingsError(
            "an opening check without a reading", found=Said("neither readings of the oscillator nor a peak"),
            allowed="one to three readings of the oscillator, the peak of a line, or both", cure="measure one",
        )  # fmt: skip
    first = second = None
    today, warm = oscillator, crystal
    if told is not None:
        sources = as_readings(told).sources
        _require_new(oscillator, sources)
        box_c = box_temperature_c(as_readings(told)) if box_c is None else box_c
        first, numbers = checked_link(ask_oscillator(oscillator, crystal, told, box_c, instruments))
        today = _renewed(oscillator, numbers, first, day, {"temperature_c": box_c}, sources)
    if peaks:
        cure = "give scan.readings.sources"
        files = tuple(given_list(peak_files, "peak_files", "the records of files, not their names", cure))
        for file in files:
            given(file, SourceFile, "one of peak_files", "the record of a file, with its hash", cure)
        _require_new(crystal, files)
        second, numbers = checked_link(ask_crystal(crystal, peaks, crystal_c, instruments))
        warm = _renewed(crystal, numbers, second, day, {"crystal_c": crystal_c}, files)
    doubts = (*oscillator.doubts, *crystal.doubts)
    return Opening(day, first, second, today, warm, (oscillator.as_of, crystal.as_of), doubts)


def _require_new(record: OscillatorRecord | CrystalRecord, files: tuple[SourceFile, ...]) -> None:
    """Raise ``RecordError`` for readings that the calibration holds already."""
    held = record.holds(files)
    if held:
        raise RecordError(
            "readings that the calibration holds already", where=f"{record.part} {record.name} as of {record.as_of}",
            found=Said(", ".join(s.name for s in held)), allowed="readings made since: the same would count twice",
            cure="read again, or take the calibration from before them",
        )  # fmt: skip


def _renewed(
    record: _Record, numbers: StoredNumbers, link: LinkCheck, measured: str, conditions: Mapping[str, float | None],
    files: tuple[SourceFile, ...],
) -> _Record:  # fmt: skip
    """Return the record with its new numbers; as it was where it must be measured again.

    ``conditions`` are today's: one that is None is not known, and that of the calibration no longer holds.
    """
    if measured < record.as_of:
        raise RecordError(
            "an opening check before its calibration", where=f"{record.part} {record.name}", found=measured,
            allowed=f"{record.as_of} or later",
            cure="state the day of the check, or take an older calibration: put a file aside whose date is a slip",
        )  # fmt: skip
    if link.verdict == "measure again":
        return record
    update = Update(measured, update_words(link), link.shift_mhz, link.u_shift_mhz, files)
    today = {**record.conditions, **conditions}
    known = {name: value for name, value in today.items() if value is not None}
    renewed = replace(record, numbers=numbers, updates=(*record.updates, update), conditions=known)
    require_sound(renewed, f"{record.part} {record.name} after the opening check")
    return renewed
