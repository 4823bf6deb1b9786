"""``aotf-lab keep``, ``opening``, ``drift`` and ``changed``: calibrations over the months."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from aotf_lab.commands.printed import printed

if TYPE_CHECKING:
    from aotf_lab.record import RecordFolder
    from aotf_lab.session import Session

__all__ = ["add_kept"]

_RECORDS = "folder of kept calibrations"
_SESSION = "folder with session.toml and the raw files"
_NAME = "name of the bench, where the folder holds several"


def add_kept(commands: Any) -> None:
    """Add the four commands to ``commands``, the parser's."""
    keep = commands.add_parser("keep", help="keep the calibrations of a session, oscillator and crystal apart")
    keep.add_argument("session", type=Path, metavar="SESSION", help=_SESSION)
    keep.add_argument("records", type=Path, metavar="RECORDS", help=f"{_RECORDS}; made when it is not there")
    keep.set_defaults(run=_keep)
    opening = commands.add_parser("opening", help="check kept calibrations by a few readings of today")
    opening.add_argument("records", type=Path, metavar="RECORDS", help=_RECORDS)
    opening.add_argument("session", type=Path, metavar="SESSION", help=f"today's readings: {_SESSION}")
    opening.add_argument("--keep", action="store_true", help="keep the calibrations that the check brought up to date")
    opening.add_argument("--name", metavar="NAME", help=f"{_NAME} (that of the session)")
    opening.set_defaults(run=_opening)
    drift = commands.add_parser("drift", help="say what moves with temperature and time, and when to measure again")
    drift.add_argument("records", type=Path, metavar="RECORDS", help=_RECORDS)
    drift.add_argument("--loss", type=float, default=1.0, metavar="PERCENT", help="light that may be lost (1)")
    drift.add_argument("--name", metavar="NAME", help=_NAME)
    drift.set_defaults(run=_drift)
    changed = commands.add_parser("changed", help="say what a change of a part leaves, and what restores the rest")
    changed.add_argument("part", metavar="PART", help="oscillator, amplifier, cable, supply, alignment, laser, ...")
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
            allowed=_SESSION, cure="exchange the two folders",
        )  # fmt: skip
    return open_session(folder)


def _unusable(folder: RecordFolder) -> list[str]:
    """Return what is to be said of the files of ``folder`` that were passed over."""
    return [f"cannot be used: {error}" for error in folder.troubles.values()]
