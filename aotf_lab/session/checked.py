"""Before anything is fitted for good: was every file understood, and does session.toml agree with the data?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from aotf_lab.errors import AotfLabError, SessionError
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.reading.by_purpose import READERS, read_raw_file
from aotf_lab.reading.receipt import Receipt
from aotf_lab.reading.receipt_html import bullets, heading, page, paragraph, table
from aotf_lab.reading.sanity import Suspicion, suspicions, suspicions_between
from aotf_lab.reading.session_file import RawFile, SessionFile
from aotf_lab.session.contradictions import Contradiction, ReadFile, contradictions
from aotf_lab.session.session import Session, given_session

__all__ = ["FileCheck", "SessionCheck", "check_session"]

_CURVES = ("vco", "scans", "tuning")
"""The parts of a session that its contradictions are sought in."""

_LEFT_OUT_BY_FIT = ("counts doubled", "counts halved")
"""Suspicions of an oscillator's readings that its fit finds too, and leaves out (``driver.vco_counts``)."""


@dataclass(frozen=True)
class FileCheck:
    """One raw file: its receipts, or the error because of which it has none; neither for one that is only kept."""

    name: str
    purpose: str
    receipts: tuple[Receipt, ...] = ()
    error: AotfLabError | None = None

    def __str__(self) -> str:
        if self.error is not None:
            return text_lines([f"{self.name}: CANNOT BE READ", f"  {self.error}"])
        return "\n".join(map(str, self.receipts)) or f"{self.name}: kept, not read"

    def _repr_html_(self) -> str:
        if self.error is not None:
            return paragraph(f"{self.name}: CANNOT BE READ") + paragraph(str(self.error))
        return "".join(r._repr_html_() for r in self.receipts) or paragraph(f"{self.name}: kept, not read")


@dataclass(frozen=True)
class SessionCheck:
    """All receipts of a session, what looks wrong, and what contradicts session.toml.

    ``troubles`` are curves that cannot be computed, ``remarks`` what is not used or could not be checked.
    ``reasons`` say why the session is unusable, () for a usable one.
    """

    name: str
    files: tuple[FileCheck, ...]
    suspicions: tuple[Suspicion, ...]
    contradictions: tuple[Contradiction, ...]
    troubles: tuple[str, ...]
    remarks: tuple[str, ...]
    reasons: tuple[str, ...]

    @property
    def usable(self) -> bool:
        """Whether curves and set-points may be computed from the session."""
        return not self.reasons

    @property
    def verdict(self) -> str:
        """One line: usable or not, and why."""
        read = sum(bool(f.receipts) for f in self.files)
        counts = f"{read} of {sum(f.purpose in READERS for f in self.files)} files read"
        counts += f", {_count(self.suspicions, 'suspicion')}, {_count(self.contradictions, 'contradiction')}"
        return f"USABLE: {counts}" if self.usable else f"UNUSABLE: {'; '.join(self.reasons)} ({counts})"

    @property
    def _lists(self) -> tuple[tuple[str, Sequence[object]], ...]:
        return (
            ("Suspicions", self.suspicions), ("Contradictions between session.toml and the data", self.contradictions),
            ("Not computed", self.troubles), ("Remarks", self.remarks),
        )  # fmt: skip

    def __str__(self) -> str:
        parts = [str(file) for file in self.files]
        for title, entries in self._lists:
            parts.append(text_lines([f"{title}: {len(entries) or 'none'}", *(f"  {_marked(e)}" for e in entries)]))
        return "\n\n".join([*parts, self.verdict])

    def _repr_html_(self) -> str:
        """Return the check as HTML: the verdict, what speaks against the session, and every receipt, folded up."""
        receipts = "".join(f._repr_html_() for f in self.files)
        folded = (
            f"<details><summary>How each of {_count(self.files, 'file')} was understood</summary>{receipts}</details>"
        )
        return "".join((paragraph(self.verdict), *self._findings(), folded))

    def _findings(self) -> tuple[str, ...]:
        against = [(c.place, c.what, c.found, c.stated, c.cure, _grave(c)) for c in self.contradictions]
        doubts = [(s.where, s.what, s.found, s.likely_cause, s.cure, _grave(s)) for s in self.suspicions]
        return (
            table("suspicions", ("where", "what", "found", "likely cause", "what to do", "grave"), doubts)
            if doubts else paragraph("Suspicions: none"),
            table("contradictions between session.toml and the data",
                  ("where", "what", "found", "stated", "what to do", "grave"), against)
            if against else paragraph("Contradictions between session.toml and the data: none"),
            *(paragraph(f"{title}:") + bullets(map(str, lines)) for title, lines in self._lists[2:] if lines),
        )  # fmt: skip

    def page(self) -> str:
        """Return the check as one HTML page that needs no other file."""
        receipts = "".join(f._repr_html_() for f in self.files)
        return page(
            f"Check of session {self.name}", paragraph(self.verdict), heading("What speaks against it"),
            *self._findings(), heading("Receipts"), receipts,
        )  # fmt: skip


def _count(entries: Sequence[object], word: str) -> str:
    return f"{len(entries)} {word}{'' if len(entries) == 1 else 's'}"


def _grave(entry: Contradiction | Suspicion) -> str:
    return "makes the session unusable" if entry.unusable else "no"


def _marked(entry: object) -> str:
    """Return the entry in words; one that makes the session unusable says so first, in words too."""
    return f"{'UNUSABLE: ' if getattr(entry, 'unusable', False) else ''}{entry}"


def check_session(session: Session) -> SessionCheck:
    """Return the receipts of every file of ``session``, all suspicions and all contradictions.

    A file that cannot be read stops nothing: its error stands in place of its receipt. The scans and the
    tuning curve are fitted, since some contradictions show only there. Raises nothing of the data.
    """
    facts = given_session(session).facts
    outcomes = [_read(file, session) for file in facts.files]
    files = tuple(check for check, _ in outcomes)
    reads = [read for _, read in outcomes if read is not None]
    doubts = _suspicions(reads, facts)
    against = contradictions(session, reads)
    for part in _CURVES:
        session.attempt(part)
    return SessionCheck(
        facts.name, files, doubts, against, _troubles(session, files), (*facts.remarks, *_not_checked(facts)),
        _reasons(session, files, doubts, against),
    )  # fmt: skip


def _read(file: RawFile, session: Session) -> tuple[FileCheck, ReadFile | None]:
    facts = session.facts
    name = file.path.relative_to(facts.folder).as_posix()
    if file.purpose not in READERS:
        return FileCheck(name, file.purpose), None
    own = False
    try:
        try:
            readings = session.read(file)
        except SessionError:
            if file.direction is None:
                raise
            readings = read_raw_file(replace(file, direction=None), session.instruments)
            own = True
    except AotfLabError as error:
        return FileCheck(name, file.purpose, error=error), None
    return FileCheck(name, file.purpose, readings.receipts), ReadFile(file, readings, facts, own)


def _suspicions(reads: Sequence[ReadFile], facts: SessionFile) -> tuple[Suspicion, ...]:
    scope, band = facts.instruments.scope, _band(reads)
    own = [
        _as_fitted(suspicion, read.file.purpose)
        for read in reads
        for suspicion in suspicions(
            read.readings, supply_a=facts.amplifier.supply_a, load_ohm=facts.instruments.load_ohm,
            pad_db=scope.pad_db or 0.0, probe=1.0 if scope.probe is None else scope.probe,
            band_mhz=band, material=facts.crystal.material,
        )
    ]  # fmt: skip
    return (*own, *suspicions_between({read.name: read.readings for read in reads}))


def _as_fitted(suspicion: Suspicion, purpose: str) -> Suspicion:
    """Return the suspicion, no longer grave where the fit of such files leaves these rows out by itself, by name."""
    handled = purpose == "oscillator" and suspicion.what in _LEFT_OUT_BY_FIT
    return replace(suspicion, unusable=False) if handled else suspicion


def _band(reads: Sequence[ReadFile]) -> tuple[float, float] | None:
    """Return the lowest and the highest frequency (MHz) that the oscillator was seen at, None without its file."""
    seen = [r.readings.table["frequency_mhz"] for r in reads if r.file.purpose == "oscillator"]
    return (float(min(f.min() for f in seen)), float(max(f.max() for f in seen))) if seen else None


def _troubles(session: Session, files: Sequence[FileCheck]) -> tuple[str, ...]:
    """Return which curves cannot be computed, without those that nobody measured.

    Why a file cannot be read stands in place of its receipt, and is not told again.
    """
    return tuple(
        f"{part}: {_told_once(str(error), files)}"
        for part, error in session.troubles.items()
        if not part.startswith("file ") and not error.what.startswith("no file with purpose")
    )


def _told_once(reason: str, files: Sequence[FileCheck]) -> str:
    for file in files:
        if file.error is not None:
            reason = reason.replace(str(file.error), f"{file.name} cannot be read; why stands with the file")
    return reason


def _not_checked(facts: SessionFile) -> tuple[str, ...]:
    """Return what could not be checked because session.toml does not state it."""
    powers = any(f.purpose in ("level", "efficiency") for f in facts.files)
    amplifier, scope = facts.amplifier, facts.instruments.scope
    parts = (
        (amplifier.supply_a, "[amplifier] supply_a not stated: RF power was not held against what the amplifier draws"),
        (
            scope.input_ohm,
            "[instrument.scope] input_ohm not stated: a termination that is missing would not be noticed",
        ),
    )
    return tuple(words for value, words in parts if powers and value is None)


def _reasons(
    session: Session, files: Sequence[FileCheck], doubts: Sequence[Suspicion], against: Sequence[Contradiction]
) -> tuple[str, ...]:
    reasons = [f"{file.name} cannot be read" for file in files if file.error is not None]
    if not any(session.files(purpose) for purpose in ("oscillator", "scan", "lines")):
        reasons.append("no oscillator, no scan and no table of lines among the files")
    reasons += [f"{d.where}: {d.what}" for d in doubts if d.unusable]
    return (*reasons, *(f"{c.place}: {c.what}" for c in against if c.unusable))
