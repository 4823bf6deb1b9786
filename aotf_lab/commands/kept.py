"""``aotf-lab keep``, ``opening``, ``drift`` and ``changed``: calibrations over the months."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from aotf_lab.commands.described import SESSION, add_command
from aotf_lab.commands.printed import printed

if TYPE_CHECKING:
    from aotf_lab.record import RecordFolder
    from aotf_lab.session import Session

__all__ = ["add_kept"]

_RECORDS = "folder of kept calibrations"
_TODAY = (
    "session folder of today's few readings: a session.toml with the [session] name of the kept bench, one to three "
    'voltages in a [[file]] with purpose = "oscillator", scans of one line, or both'
)
_NAME = "name of the bench, where the folder holds several"


def add_kept(commands: Any) -> None:
    """Add the four commands to ``commands``, the parser's."""
    keep = add_command(
        commands, "keep", "keep the calibrations of a session, oscillator and crystal apart",
        "Write the oscillator's and the crystal's calibration into RECORDS, as files such as "
        "oscillator_2031-03-02.json that a person can read; none is replaced. Names the checks of them that failed.",
        "keep mybench records",
    )  # fmt: skip
    keep.add_argument("session", type=Path, metavar="SESSION", help=SESSION)
    keep.add_argument("records", type=Path, metavar="RECORDS", help=f"{_RECORDS}; made when it is not there")
    keep.set_defaults(run=_keep)
    opening = add_command(
        commands, "opening", "check kept calibrations by a few readings of today",
        "Hold today's few readings against the newest kept calibrations: each still holds, moved and was corrected, or "
        "must be measured again. Writes nothing but, with --keep, the calibrations brought up to date.",
        "opening records today --keep",
    )  # fmt: skip
    opening.add_argument("records", type=Path, metavar="RECORDS", help=_RECORDS)
    opening.add_argument("session", type=Path, metavar="TODAY", help=_TODAY)
    opening.add_argument("--keep", action="store_true", help="keep the calibrations that the check brought up to date")
    opening.add_argument("--name", metavar="NAME", help=f"{_NAME} (that of the session)")
    opening.set_defaults(run=_opening)
    drift = add_command(
        commands, "drift", "say what moves with temperature and time, and when to measure again",
        "Compare all calibrations kept in RECORDS: what moved with temperature, what with time, and when the light "
        "that may be lost is used up. Writes nothing.",
        "drift records --loss 2",
    )  # fmt: skip
    drift.add_argument("records", type=Path, metavar="RECORDS", help=_RECORDS)
    drift.add_argument("--loss", type=float, default=1.0, metavar="PERCENT", help="light that may be lost (1)")
    drift.add_argument("--name", metavar="NAME", help=_NAME)
    drift.set_defaults(run=_drift)
    changed = add_command(
        commands, "changed", "say what a change of a part leaves, and what restores the rest",
        "Say for a part that was changed or moved which results still hold, which must be checked or are gone, and the "
        "least to measure anew. Writes nothing.",
        "changed amplifier --records records",
    )  # fmt: skip
    changed.add_argument(
        "part", metavar="PART", help="what was changed: oscillator, amplifier, cable, supply, alignment, laser, ..."
    )
    changed.add_argument("--line", default="", metavar="LINE", help="the line of a changed laser")
    changed.add_argument("--records", type=Path, metavar="RECORDS", help=f"{_RECORDS}, whose files are then named")
    changed.add_argument("--name", metavar="NAME", help=_NAME)
    changed.set_defaults(run=_changed)


def _keep(options: argparse.Namespace) -> tuple[str, int]:
    from aotf_lab.record import save_record
    from aotf_lab.session.keep import records_of

    records = records_of(_session(options.session))
    kept = [f"{save_record(record, options.records)} kept" for record in records]
    doubts = [doubt for record in records for doubt in record.doubts]
    return printed(*kept, *doubts, *["Look into this before you rely on what was kept."] * bool(doubts)), 0


def _opening(options: argparse.Namespace) -> tuple[str, int]:
    from aotf_lab.record import RecordFolder, save_record
    from aotf_lab.session.opening import opening_of

    session, folder = _session(options.session), RecordFolder(options.records)
    found = opening_of(folder, session, name=options.name)
    kept = [f"{save_record(r, options.records)} kept" for r in found.renewed] if options.keep else []
    return printed(found, *_unusable(folder), *kept), 0 if found.usable else 1


def _drift(options: argparse.Namespace) -> tuple[str, int]:
    from aotf_lab.record import RecordFolder
    from aotf_lab.record.drift import drift_of

    folder = RecordFolder(options.records)
    found = drift_of(folder, name=options.name)
    return printed(found, found.due(options.loss), *_unusable(folder)), 0


def _changed(options: argparse.Namespace) -> tuple[str, int]:
    from aotf_lab.record import RecordFolder
    from aotf_lab.record.parts import change_of_parts

    if options.records is None:
        return printed(change_of_parts(options.part, line=options.line)), 0
    folder = RecordFolder(options.records)
    oscillator, crystal = folder.latest_oscillator(options.name), folder.latest_crystal(options.name)
    found = change_of_parts(options.part, line=options.line, oscillator=oscillator, crystal=crystal)
    return printed(found, *_unusable(folder)), 0


def _session(folder: Path) -> Session:
    """Return the open session; one who gave a folder of calibrations instead is told so."""
    from aotf_lab.errors import Said, SessionError
    from aotf_lab.session import open_session

    kept = [p.name for kind in ("oscillator", "crystal") for p in sorted(folder.glob(f"{kind}_*.json"))]
    if kept and not (folder / "session.toml").exists():
        raise SessionError(
            "a folder of kept calibrations in the place of a session", where=folder.name, found=Said(kept[0]),
            allowed=SESSION, cure="exchange the two folders",
        )  # fmt: skip
    return open_session(folder)


def _unusable(folder: RecordFolder) -> list[str]:
    """Return what is to be said of the files of ``folder`` that were passed over."""
    return [f"cannot be used: {error}" for error in folder.troubles.values()]
