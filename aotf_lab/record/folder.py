"""A folder of kept calibrations: a history that a person can read and put under version control."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import count
from pathlib import Path
from typing import NoReturn, TypeVar

from aotf_lab.errors import RecordError, Said
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.given import given, given_path
from aotf_lab.reading.atomic import write_new_text
from aotf_lab.reading.session_file import FILE_NAME as SESSION_FILE
from aotf_lab.reading.source import SourceFile
from aotf_lab.record.calibration import Calibration
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.file import read_record, record_text
from aotf_lab.record.oscillator import OscillatorRecord

__all__ = ["KeptFile", "RecordFolder", "record_folder", "save_record"]

_Record = TypeVar("_Record", OscillatorRecord, CrystalRecord)
_FOLDER = "the folder of kept calibrations, as text or path"


def save_record(record: OscillatorRecord | CrystalRecord, folder: str | os.PathLike[str]) -> Path:
    """Write ``record`` into ``folder``, which is made where it is not there, and return the file.

    The file takes kind and date as its name, such as ``oscillator_2031-03-02.json``, with ``_2`` for the second of a
    day. It appears whole or not at all and never in the place of another: of two writers at once each gets a file of
    its own. A calibration that stands there already, word for word, is not written again. Raises ``RecordError`` for
    numbers that cannot be and for a file in the place of ``folder``, ``OSError`` as the file system does.
    """
    given(record, Calibration, "record", "one kept calibration", "keep a session with keep(session, folder)")
    home, text = given_path(folder, "folder", _FOLDER, "name it"), record_text(record)
    if home.exists() and not home.is_dir():
        raise RecordError(
            "no folder to keep a calibration in", where=home.name, found=Said("a file of that name"),
            allowed="a folder, or a name that is not there yet", cure="name another",
        )  # fmt: skip
    home.mkdir(parents=True, exist_ok=True)
    return write_new_text(_names(record, home), text)


def _names(record: OscillatorRecord | CrystalRecord, home: Path) -> Iterator[Path]:
    stem = f"{'oscillator' if isinstance(record, OscillatorRecord) else 'crystal'}_{record.as_of}"
    yield home / f"{stem}.json"
    yield from (home / f"{stem}_{k}.json" for k in count(2))


@dataclass(frozen=True)
class KeptFile:
    """A calibration and the file that it was read from."""

    path: Path
    record: OscillatorRecord | CrystalRecord


@dataclass(frozen=True)
class RecordFolder:
    """The calibrations kept in ``folder``, as they stood when they were first asked for.

    A file that cannot be used is skipped and named in ``troubles``.
    """

    folder: Path

    def __post_init__(self) -> None:
        object.__setattr__(self, "folder", given_path(self.folder, "folder", _FOLDER, "name it"))
        if not self.folder.is_dir():
            raise RecordError(
                "no folder of calibrations", where=self.folder.name, found=Said("no such folder"),
                allowed="a folder with files such as oscillator_2031-03-02.json", cure="keep a session first",
            )  # fmt: skip

    @cached_property
    def _read(self) -> tuple[tuple[KeptFile, ...], dict[str, RecordError]]:
        kept, troubles = [], {}
        for path in sorted(self.folder.glob("*.json")):
            if path.name.startswith("."):
                continue
            try:
                kept.append(KeptFile(path, read_record(path)))
            except RecordError as error:
                troubles[path.name] = error
        return tuple(sorted(kept, key=_when)), troubles

    @property
    def files(self) -> tuple[KeptFile, ...]:
        """All calibrations, the oldest first."""
        return self._read[0]

    @property
    def troubles(self) -> dict[str, RecordError]:
        """The files that cannot be used, and why."""
        return self._read[1]

    def oscillators(self, name: str | None = None) -> tuple[OscillatorRecord, ...]:
        """Return the oscillator's calibrations, the oldest first; those of one ``name`` where it is given."""
        found = (f.record for f in self.files if name in (None, f.record.name))
        return tuple(r for r in found if isinstance(r, OscillatorRecord))

    def crystals(self, name: str | None = None) -> tuple[CrystalRecord, ...]:
        """Return the crystal's calibrations, the oldest first; those of one ``name`` where it is given."""
        found = (f.record for f in self.files if name in (None, f.record.name))
        return tuple(r for r in found if isinstance(r, CrystalRecord))

    def latest_oscillator(self, name: str | None = None, without: Iterable[SourceFile] = ()) -> OscillatorRecord:
        """Return the newest calibration of the oscillator into which no reading of the files ``without`` went.

        Raises ``RecordError`` when there is none, or ``name`` is not given and there are several.
        """
        return self._latest(self.oscillators(name), "oscillator", name, tuple(without))

    def latest_crystal(self, name: str | None = None, without: Iterable[SourceFile] = ()) -> CrystalRecord:
        """Return the newest calibration of the crystal; as ``latest_oscillator``."""
        return self._latest(self.crystals(name), "crystal", name, tuple(without))

    def _latest(
        self, found: tuple[_Record, ...], kind: str, name: str | None, without: tuple[SourceFile, ...]
    ) -> _Record:
        if not found:
            self._none(kind, name)
        names = sorted({record.name for record in found})
        if len(names) > 1:
            raise RecordError(
                f"calibrations of more than one {kind}", where=self.folder.name, found=Said(", ".join(names)),
                allowed="one name", cure="say which of these names is meant",
            )  # fmt: skip
        fresh = [record for record in found if not record.holds(without)]
        if not fresh:
            files = ", ".join(s.name for s in found[0].holds(without))
            raise RecordError(
                f"no calibration of the {kind} that is older than these readings", where=self.folder.name,
                found=Said(f"{files}, of which the oldest was made"), allowed="readings made since",
                cure="give today's readings",
            )  # fmt: skip
        return fresh[-1]

    def _none(self, kind: str, name: str | None) -> NoReturn:
        known = ", ".join(sorted({f.record.name for f in self.files})) or "none"
        unusable = "".join(f"; cannot be used: {error}" for error in self.troubles.values())
        cure = "keep a session's calibrations in this folder"
        if (self.folder / SESSION_FILE).exists():
            cure = "this is the folder of a session: keep its calibrations in a folder of their own, and name that"
        elif name is not None and self.files:
            cure = "give the session the name of its bench, or keep a session of that name in this folder"
        raise RecordError(
            f"no calibration of the {kind}" + (f" of {name}" if name else ""), where=self.folder.name,
            found=Said(f"{len(self.files)} calibrations, of {known}{unusable}"), allowed=f"a file {kind}_DATE.json",
            cure=cure,
        )  # fmt: skip

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (file, what it is), the oldest first."""
        return tuple((f.path.name, f.record.title) for f in self.files)

    def __str__(self) -> str:
        return rows_text(self._title, self.rows(), self._said)

    def _repr_html_(self) -> str:
        return rows_html(self._title, self.rows(), self._said)

    @property
    def _title(self) -> str:
        return f"Calibrations in {self.folder.name}"

    @property
    def _said(self) -> tuple[str, ...]:
        return tuple(f"cannot be used: {error}" for error in self.troubles.values())


def record_folder(records: object) -> RecordFolder:
    """Return ``records`` itself, or the folder that it is the path of. Raises ``AotfLabError`` for anything else."""
    if isinstance(records, RecordFolder):
        return records
    return RecordFolder(given_path(records, "records", _FOLDER, "name the folder that calibrations are kept in"))


def _when(file: KeptFile) -> tuple[str, int]:
    """Return what the files are ordered by: the date of which they stand, and the count within a day."""
    within = re.search(r"_(\d+)$", file.path.stem)
    return file.record.as_of, int(within[1]) if within else 1
