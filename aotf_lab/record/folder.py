"""A folder of kept calibrations: a history that a person can read and put under version control."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import count
from pathlib import Path
from typing import NoReturn

from aotf_lab.errors import RecordError, Said
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.reading.atomic import write_new_text
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.file import read_record, record_text
from aotf_lab.record.oscillator import OscillatorRecord

__all__ = ["KeptFile", "RecordFolder", "save_record"]


def save_record(record: OscillatorRecord | CrystalRecord, folder: str | os.PathLike[str]) -> Path:
    """Write ``record`` into ``folder``, which is made where it is not there, and return the file.

    The file takes kind and date as its name, such as ``oscillator_2031-03-02.json``, with ``_2`` for the second of a
    day. It appears whole or not at all and never in the place of another: of two writers at once each gets a file of
    its own. A calibration that stands there already, word for word, is not written again. Raises ``RecordError`` for
    numbers that cannot be, ``OSError`` as the file system does.
    """
    home, text = Path(folder), record_text(record)
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
        object.__setattr__(self, "folder", Path(self.folder))
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

    def latest_oscillator(self, name: str | None = None) -> OscillatorRecord:
        """Return the newest calibration of the oscillator. Raises ``RecordError`` when there is none."""
        found = self.oscillators(name)
        return found[-1] if found else self._none("oscillator", name)

    def latest_crystal(self, name: str | None = None) -> CrystalRecord:
        """Return the newest calibration of the crystal. Raises ``RecordError`` when there is none."""
        found = self.crystals(name)
        return found[-1] if found else self._none("crystal", name)

    def _none(self, kind: str, name: str | None) -> NoReturn:
        known = ", ".join(sorted({f.record.name for f in self.files})) or "none"
        unusable = f"; cannot be used: {', '.join(self.troubles)}" if self.troubles else ""
        raise RecordError(
            f"no calibration of the {kind}" + (f" of {name}" if name else ""), where=self.folder.name,
            found=Said(f"{len(self.files)} calibrations, of {known}{unusable}"), allowed=f"a file {kind}_DATE.json",
            cure="keep a session's calibrations in this folder",
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


def _when(file: KeptFile) -> tuple[str, int]:
    """Return what the files are ordered by: the date of which they stand, and the count within a day."""
    within = re.search(r"_(\d+)$", file.path.stem)
    return file.record.as_of, int(within[1]) if within else 1
