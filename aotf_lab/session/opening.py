"""The opening check of a day whose few readings stand in a session folder of their own."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date

from uncertainties import UFloat

from aotf_lab.crystal import Scan
from aotf_lab.errors import Said, SessionError
from aotf_lab.record.folder import RecordFolder, record_folder
from aotf_lab.record.opening import Opening, opening_check
from aotf_lab.session.keep import date_of
from aotf_lab.session.session import Session, given_session

__all__ = ["opening_of"]


def opening_of(
    records: RecordFolder | str | os.PathLike[str],
    session: Session,
    *,
    measured: str | date | None = None,
    name: str | None = None,
    instruments: Mapping[str, str] | None = None,
) -> Opening:
    """Return the opening check of the newest calibrations in ``records`` by the readings of ``session``.

    Its files of the oscillator and its scans are taken, of every line whose peak was kept. ``measured`` is the
    date of the session (ISO text, or a ``date``), by default as ``keep`` finds it; ``name`` is that of the
    calibrations, by default the session's own; ``instruments`` as in ``keep``. A calibration that holds these readings
    already is passed over: the check can be made again. Raises ``SessionError`` for a session with neither,
    ``RecordError`` without older calibrations of that name, and as ``opening_check``.
    """
    given_session(session)
    folder = record_folder(records)
    called = session.facts.name if name is None else name
    told = session.readings("oscillator") if session.files("oscillator") else None
    scans = session.scans if session.files("scan") else {}
    scanned = tuple({s.sha256: s for scan in scans.values() for s in scan.readings.sources}.values())
    oscillator = folder.latest_oscillator(called, () if told is None else told.sources)
    crystal = folder.latest_crystal(called, scanned)
    peaks = {line: scan.centre_mhz for line, scan in scans.items() if crystal.known("peak", line)}
    unused = tuple(_unused(session, scans, peaks))
    if told is None and not peaks:
        raise SessionError(
            "no reading for an opening check", where="session.toml",
            found=Said("; ".join(unused) or ", ".join(sorted({f.purpose for f in session.facts.files})) or "no files"),
            allowed='a [[file]] with purpose = "oscillator", or scans of a line that was scanned before',
            cure="measure one to three voltages and one line",
        )  # fmt: skip
    day, dated = date_of(session, measured)
    found = opening_check(
        oscillator, crystal, measured=day, oscillator_readings=told, line_peak=peaks,
        crystal_c=session.facts.crystal.temperature_c, instruments=instruments,
        peak_files=[s for line in peaks for s in scans[line].readings.sources],
    )  # fmt: skip
    return replace(found, remarks=(*found.remarks, *unused, *(check.detail for check in dated)))


def _unused(session: Session, scans: Mapping[str, Scan], peaks: Mapping[str, UFloat]) -> Iterator[str]:
    """Yield why each scanned line without a part in the check has none."""
    for line in dict.fromkeys(f.line for f in session.files("scan") if f.line):
        if line not in scans:
            yield f"line {line} is not used: {session.troubles.get(f'scan of line {line}', 'its scan was not fitted')}"
        elif line not in peaks:
            yield f"line {line} is not used: no peak of it was kept"
