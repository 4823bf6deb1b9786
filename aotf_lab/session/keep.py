"""Keep what a session found of its oscillator and of its crystal, each in a file of its own."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

from uncertainties import UFloat

from aotf_lab.errors import RecordError, Said
from aotf_lab.estimation.checks import Check
from aotf_lab.given import given_day
from aotf_lab.reading.session_day import late_day, newest_day
from aotf_lab.record import CrystalRecord, OscillatorRecord, crystal_record, oscillator_record, save_record
from aotf_lab.session.session import Session, given_session

__all__ = ["date_of", "keep", "records_of"]


def keep(
    session: Session,
    folder: str | os.PathLike[str],
    *,
    measured: str | date | None = None,
    instruments: Mapping[str, str] | None = None,
) -> tuple[Path, ...]:
    """Write the calibrations of ``session`` into ``folder`` and return the files: the oscillator's, the crystal's.

    ``measured`` is the date of the readings (ISO text, or a ``date``), by default that of session.toml, else that of
    the newest raw file; one that lies years after the raw files is a failed check of what is kept. ``instruments``
    names the counter (or another instrument) where a lab has several: {"counter": "counter 2"}; calibrations made with
    one share its errors. What the session could not find is not kept. A failed check hinders nothing: the file holds it
    (``failed`` of what ``records_of`` returns), and every opening check by that file names it. Raises ``RecordError``
    when nothing was found, or the date is none; ``OSError`` as the file system does.
    """
    return tuple(save_record(r, folder) for r in records_of(session, measured=measured, instruments=instruments))


def records_of(
    session: Session, *, measured: str | date | None = None, instruments: Mapping[str, str] | None = None
) -> tuple[OscillatorRecord | CrystalRecord, ...]:
    """Return the calibrations that ``keep`` writes. Raises as ``keep``."""
    when, dated = date_of(given_session(session), measured)
    kept: list[OscillatorRecord | CrystalRecord] = []
    vco, curves = session.part("vco"), session.curves
    if vco is not None:
        log = session.part("warm_up") if "warm_up" in session.parts else None
        supply_v = session.facts.limits.oscillator.supply_v
        kept.append(
            oscillator_record(
                vco,
                name=session.facts.name,
                measured=when,
                wander_mhz=0.0 if log is None else log.wander_mhz(log.range_s[1] - log.range_s[0]),
                conditions={} if supply_v is None else {"supply_v": supply_v},
                coefficients=_oscillator_coefficients(session),
                instruments=instruments,
            )
        )
    if curves.tuning is not None or curves.scans or curves.modulators:
        crystal_c = session.facts.crystal.temperature_c
        kept.append(
            crystal_record(
                curves,
                session.wavelengths_nm,
                name=session.facts.name,
                measured=when,
                conditions={} if crystal_c is None else {"crystal_c": crystal_c},
                instruments=instruments,
            )
        )
    if not kept:
        raise RecordError(
            "nothing of this session can be kept", where=session.facts.name,
            found=Said("; ".join(f"{part}: {error}" for part, error in session.troubles.items()) or "no curve"),
            allowed="an oscillator's curve, or a scanned line", cure="put right what its check names",
        )  # fmt: skip
    return tuple(replace(record, checks=(*record.checks, *dated)) for record in kept)


def date_of(session: Session, measured: str | date | None) -> tuple[str, tuple[Check, ...]]:
    """Return the ISO date of the readings, and a remark where it was not stated, or years after the raw files.

    Where it was not stated it is that of the newest raw file.
    """
    stated = session.facts.date if measured is None else given_day(measured, "measured")
    paths = [f.path for f in session.facts.files]
    if stated is not None:
        late = late_day(stated, paths)
        return stated, (Check("date", False, late),) if late else ()
    found = (newest_day(paths) or date.fromtimestamp(0)).isoformat()
    return found, (Check("date", True, f"{found} is the time of the newest raw file: no date was stated"),)


def _oscillator_coefficients(session: Session) -> dict[str, UFloat]:
    """Return what temperature and supply do to the oscillator, where a log shows it."""
    found = {}
    log = session.part("warm_up") if "warm_up" in session.parts else None
    if log is not None and log.temperature_mhz_per_k is not None:
        found["mhz_per_k"] = log.temperature_mhz_per_k
    if "pushing" in session.parts and session.part("pushing") is not None:
        found["mhz_per_supply_v"] = session.pushing.mhz_per_v
    return found
