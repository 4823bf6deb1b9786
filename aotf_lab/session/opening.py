"""The opening check of a day whose few readings stand in a session folder of their own."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from aotf_lab.errors import Said, SessionError
from aotf_lab.record.folder import RecordFolder
from aotf_lab.record.opening import Opening, opening_check
from aotf_lab.session.keep import date_of
from aotf_lab.session.opened import Session

__all__ = ["opening_of"]


def opening_of(
    records: RecordFolder | str | os.PathLike[str],
    session: Session,
    *,
    measured: str | None = None,
    name: str | None = None,
    instruments: Mapping[str, str] | None = None,
) -> Opening:
    """Return the opening check of the newest calibrations in ``records`` by the readings of ``session``.

    Its files of the oscillator and its scans are taken, of every line whose peak was kept. ``measured`` is the ISO
    date of the session, by default as ``keep`` finds it; ``name`` is that of the calibrations, by default the
    session's own; ``instruments`` as in ``keep``. Raises ``SessionError`` for a session with neither, ``RecordError``
    without calibrations of that name, and as ``opening_check``.
    """
    folder = records if isinstance(records, RecordFolder) else RecordFolder(Path(records))
    called = session.facts.name if name is None else name
    oscillator, crystal = folder.latest_oscillator(called), folder.latest_crystal(called)
    scans = session.scans if session.files("scan") else {}
    peaks = {line: scan.centre_mhz for line, scan in scans.items() if crystal.known("peak", line)}
    told = session.readings("oscillator") if session.files("oscillator") else None
    if told is None and not peaks:
        raise SessionError(
            "no reading for an opening check", where="session.toml",
            found=Said(", ".join(sorted({f.purpose for f in session.facts.files})) or "no files"),
            allowed='a [[file]] with purpose = "oscillator", or scans of a line that was scanned before',
            cure="measure one to three voltages and one line",
        )  # fmt: skip
    return opening_check(
        oscillator, crystal, measured=date_of(session, measured)[0], oscillator_readings=told, line_peak=peaks,
        crystal_c=session.facts.crystal.temperature_c, instruments=instruments,
    )  # fmt: skip
