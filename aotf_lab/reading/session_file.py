"""What session.toml says: crystal, instruments, lines, and what each raw file is."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Literal

from aotf_lab.errors import SessionError
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.physics.indices import known_materials
from aotf_lab.reading.instruments import Counter, Instruments, PowerMeter, Scope, Voltmeter
from aotf_lab.reading.lines import DEFAULT_U_WAVELENGTH_NM
from aotf_lab.reading.source import SourceFile, source_file
from aotf_lab.reading.toml_section import Section

__all__ = ["FILE_NAME", "PURPOSES", "CrystalFacts", "LineFacts", "RawFile", "SessionFile", "load_session_file"]

FILE_NAME = "session.toml"
PURPOSES = ("oscillator", "scan", "efficiency", "lines", "level", "keep")
"""What a raw file can be for; "keep" belongs to the session but is not read."""


@dataclass(frozen=True)
class CrystalFacts:
    """The crystal as its papers state it; None where session.toml says nothing."""

    material: str = "TeO2"
    rated_rf_power_w: float | None = None
    velocity_m_s: float | None = None
    u_velocity_m_s: float | None = None
    temperature_c: float | None = None


@dataclass(frozen=True)
class LineFacts:
    """One laser line.

    ``wavelength_nm`` is in vacuum, ``stated_wavelength_nm`` as written, in ``medium``; both are None for a
    line to be found whose label is unknown. ``use``: an "anchor" calibrates the crystal, a line
    to "find" has its wavelength found from its frequency.
    """

    name: str
    wavelength_nm: float | None
    u_wavelength_nm: float
    medium: Literal["air", "vacuum"]
    use: Literal["anchor", "find"]
    stated_wavelength_nm: float | None


@dataclass(frozen=True)
class RawFile:
    """One raw file: where it is, what it is for, and the line, direction and columns stated for it."""

    path: Path
    purpose: str
    line: str | None
    direction: Literal["up", "down"] | None
    columns: Mapping[str, str | tuple[str, ...]]


@dataclass(frozen=True)
class SessionFile:
    """All that session.toml says. ``remarks`` tell what was noticed, ``assumed`` what stood in for it."""

    folder: Path
    name: str
    note: str
    crystal: CrystalFacts
    instruments: Instruments
    lines: tuple[LineFacts, ...]
    files: tuple[RawFile, ...]
    source: SourceFile
    remarks: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()


def load_session_file(folder: str | os.PathLike[str]) -> SessionFile:
    """Return what ``folder``/session.toml says.

    Raises ``SessionError`` for a folder without it, for broken TOML (with its line), unknown keys,
    values that are not understood, raw files that are missing or named twice, and a file of a
    line that is not listed.
    """
    home = Path(folder)
    content, root = _parsed(home)
    session, crystal, instrument = root.section("session"), root.section("crystal"), root.section("instrument")
    name, note = session.text("name", home.resolve().name), session.text("note", "")
    session.close()
    facts, assumed = _crystal(crystal)
    instruments = _instruments(instrument)
    lines = tuple(_line(s, assumed) for s in root.sections("line"))
    _refuse_twice("[[line]] name", [line.name for line in lines])
    files = tuple(_file(s, home, [line.name for line in lines]) for s in root.sections("file"))
    _refuse_twice("[[file]] path", [os.path.normpath(f.path) for f in files], [f.path.name for f in files])
    root.close()
    return SessionFile(
        home, name, note, facts, instruments, lines, files, source_file(home / FILE_NAME, content),
        _remarks(home, files), (*assumed, *_assumed(instruments, files)),
    )  # fmt: skip


def _parsed(home: Path) -> tuple[bytes, Section]:
    try:
        content = (home / FILE_NAME).read_bytes()
    except OSError as error:
        raise SessionError(
            f"no {FILE_NAME} that can be read", where=home.name, found=error.strerror or type(error).__name__,
            allowed=f"a folder with {FILE_NAME} beside the raw files", cure="write one with 'aotf-lab new FOLDER'",
        ) from error  # fmt: skip
    try:
        return content, Section(FILE_NAME, tomllib.loads(content.decode("utf-8-sig").replace("\r\n", "\n")))
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise SessionError(
            "text that is not UTF-8", where=f"{FILE_NAME}:{line}", found=f"byte 0x{content[error.start]:02x}",
            allowed="UTF-8", cure="save the file as UTF-8",
        ) from error  # fmt: skip
    except tomllib.TOMLDecodeError as error:
        at = re.search(r"at line (\d+)", str(error))
        text = content.decode("utf-8-sig").splitlines()
        raise SessionError(
            f"not TOML: {error}", where=f"{FILE_NAME}:{at[1]}" if at else FILE_NAME,
            found=text[int(at[1]) - 1] if at else "the end of the file",
            allowed='lines such as key = 1.5 or key = "text"', cure="correct the line, or the one above it",
        ) from error  # fmt: skip


def _crystal(section: Section) -> tuple[CrystalFacts, list[str]]:
    facts = CrystalFacts(
        section.choice("material", known_materials(), "TeO2"),
        section.number("rated_rf_power_w", None, above=0),
        section.number("velocity_m_s", None, above=0),
        section.number("u_velocity_m_s", None, above=0),
        section.number("temperature_c", None),
    )
    section.close()
    assumed = []
    if not section.has("material"):
        assumed.append("crystal material not stated: TeO2 (paratellurite) assumed")
    if facts.rated_rf_power_w is None:
        assumed.append("rated RF power not stated: no drive can be called safe; take it from the crystal's papers")
    return facts, assumed


def _instruments(section: Section) -> Instruments:
    instruments = Instruments(
        Counter(**_fields(section.section("counter"), Counter)),
        Voltmeter(**_fields(section.section("voltmeter"), Voltmeter)),
        Scope(**_fields(section.section("scope"), Scope)),
        PowerMeter(**_fields(section.section("power_meter"), PowerMeter)),
    )
    section.close()
    return instruments


def _fields(section: Section, kind: type[Counter | Voltmeter | Scope | PowerMeter]) -> dict[str, Any]:
    values = {f.name: section.number(f.name, None, **f.metadata) for f in fields(kind)}
    section.close()
    return values


def _line(section: Section, assumed: list[str]) -> LineFacts:
    name = section.text("name")
    use = section.choice("use", ("anchor", "find"), "anchor")
    in_air = section.has("wavelength_air_nm")
    key = "wavelength_air_nm" if in_air else "wavelength_nm"
    stated = section.number(key, **({} if use == "anchor" else {"default": None}), above=0)
    section.number("wavelength_nm" if in_air else "wavelength_air_nm", None)
    medium = section.choice("medium", ("air", "vacuum"), "air" if in_air else None)
    if in_air and (section.has("wavelength_nm") or medium != "air"):
        raise section.refuse(
            "wavelength_air_nm", "contradicted by wavelength_nm or medium", "one statement", "keep one"
        )
    if stated is not None and medium is None:
        raise section.refuse(
            "medium", "missing, and it decides the wavelength by 0.13 to 0.19 nm", "air, vacuum",
            'add medium = "air" (most labels and catalogues) or medium = "vacuum"',
        )  # fmt: skip
    u = section.number("u_wavelength_nm", None, above=0)
    section.close()
    if u is None and stated is not None:
        assumed.append(f"line {name}: u of the wavelength not stated: {DEFAULT_U_WAVELENGTH_NM:g} nm assumed")
    vacuum = float(air_to_vacuum(stated)) if stated is not None and medium == "air" else stated
    return LineFacts(name, vacuum, DEFAULT_U_WAVELENGTH_NM if u is None else u, medium or "vacuum", use, stated)


def _file(section: Section, home: Path, lines: list[str]) -> RawFile:
    relative = section.text("path")
    path = home / relative
    if Path(relative).is_absolute() or ".." in Path(relative).parts:
        raise section.refuse("path", "outside the session's folder", f"a path below the folder of {FILE_NAME}",
                             "copy the file into the folder")  # fmt: skip
    if not path.is_file():
        raise section.refuse("path", "no such file", ", ".join(_csv_names(home)) or "a file beside session.toml",
                             "correct the name, or put the file there")  # fmt: skip
    purpose = section.choice("purpose", PURPOSES)
    line = section.text("line", None)
    if line is not None and line not in lines:
        raise section.refuse("line", "no such line", ", ".join(lines) or "the name of a [[line]]",
                             "add the [[line]], or correct the name")  # fmt: skip
    direction = section.choice("direction", ("up", "down"), None)
    columns = section.column_map("columns")
    section.close()
    return RawFile(path, purpose, line, direction, columns)


def _assumed(instruments: Instruments, files: tuple[RawFile, ...]) -> tuple[str, ...]:
    """Return what was assumed of the instruments that the files come from."""
    purposes = {f.purpose for f in files}
    uses = (
        (instruments.counter, {"oscillator", "scan", "lines"}),
        (instruments.voltmeter, {"oscillator"}),
        (instruments.scope, {"efficiency", "level"}),
        (instruments.power_meter, {"scan", "efficiency"}),
    )
    return tuple(words for instrument, kinds in uses if purposes & kinds for words in instrument.assumed)


def _refuse_twice(key: str, keys: list[str], shown: list[str] | None = None) -> None:
    for position, value in enumerate(keys):
        if value in keys[:position]:
            raise SessionError(
                f"{key} stands twice", where=f"{FILE_NAME}, number {position + 1}", found=(shown or keys)[position],
                allowed="each once", cure="delete or rename one of the two",
            )  # fmt: skip


def _csv_names(home: Path) -> list[str]:
    """Return the CSV files below the folder, hidden ones left out."""
    names = (p.relative_to(home) for p in home.rglob("*") if p.suffix.lower() == ".csv")
    return sorted(n.as_posix() for n in names if not any(part.startswith(".") for part in n.parts))


def _remarks(home: Path, files: tuple[RawFile, ...]) -> tuple[str, ...]:
    listed = {os.path.normpath(f.path) for f in files}
    unused = [name for name in _csv_names(home) if os.path.normpath(home / name) not in listed]
    remarks = [f"{name} lies in the folder but no [[file]] names it: not used" for name in unused]
    for file in files:
        if file.purpose == "scan" and file.line is None:
            remarks.append(f"{file.path.name} is a scan whose line is not stated: it cannot be an anchor")
    return tuple(remarks)
