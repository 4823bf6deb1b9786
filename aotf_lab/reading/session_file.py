"""What session.toml says: crystal, instruments, lines, and what each raw file is."""

from __future__ import annotations

import os
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from aotf_lab.errors import Said, SessionError
from aotf_lab.given import given_path
from aotf_lab.reading.instrument_fields import Instrument
from aotf_lab.reading.instruments import (
    Counter,
    Detector,
    Instruments,
    PowerMeter,
    Rotator,
    Ruler,
    Scope,
    Stage,
    Voltmeter,
)
from aotf_lab.reading.session_crystal import CRYSTAL_KINDS, CrystalFacts, crystal_facts
from aotf_lab.reading.session_day import late_day
from aotf_lab.reading.session_limits import (
    NO_LIMITS,
    CounterLimits,
    DamageLimits,
    PowerMeterLimits,
    ScopeLimits,
    generator_facts,
    limits_of,
    oscillator_facts,
)
from aotf_lab.reading.session_line import LineFacts, line_facts
from aotf_lab.reading.session_play import Play, play_facts
from aotf_lab.reading.session_raw import (
    FILE_NAME,
    PURPOSES,
    RawFile,
    kept_sources,
    layout_sources,
    raw_file,
    remarks_on,
)
from aotf_lab.reading.source import SourceFile, source_file
from aotf_lab.reading.toml_section import Section, parsed_toml

__all__ = [
    "CRYSTAL_KINDS",
    "FILE_NAME",
    "PURPOSES",
    "AmplifierFacts",
    "CrystalFacts",
    "LineFacts",
    "RawFile",
    "SessionFile",
    "load_session_file",
]


@dataclass(frozen=True)
class AmplifierFacts:
    """The amplifier, as its papers or its supply state it; None where session.toml says nothing.

    ``supply_a``: the largest current that it draws (A), of all supplies that feed it together; ``rated_output_w``: RF
    power that it can give, at the supply ``rated_supply_v`` (V).
    """

    supply_a: float | None = None
    rated_output_w: float | None = None
    rated_supply_v: float | None = None


@dataclass(frozen=True)
class SessionFile:
    """All that session.toml says.

    ``source`` is the record of session.toml itself, ``kept`` those of the files that are kept but not
    read, ``layouts`` those of the layouts that it names. ``remarks`` tell what was noticed, ``assumed``
    what stood in for what is not stated. ``limits`` are what each part of the bench takes before it is damaged,
    ``plays`` what the generator is to play. ``date`` is the day of the readings (ISO), None where it is not stated.
    """

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
    kept: tuple[SourceFile, ...] = ()
    amplifier: AmplifierFacts = AmplifierFacts()
    layouts: tuple[SourceFile, ...] = ()
    limits: DamageLimits = NO_LIMITS
    plays: tuple[Play, ...] = ()
    date: str | None = None


def load_session_file(folder: str | os.PathLike[str]) -> SessionFile:
    """Return what ``folder``/session.toml says; the path of that session.toml will do as well.

    Raises ``SessionError`` for a folder without it, for broken TOML (with its line), unknown keys,
    values that are not understood, raw files that are missing or named twice, a file of a
    line that is not listed, a scan or an efficiency without a line, and a wavelength not in nm.
    """
    home = given_path(folder, "folder", f"the folder of {FILE_NAME}, as text or path", "name it")
    home = home.parent if home.name == FILE_NAME and home.is_file() else home
    content, root = _parsed(home)
    session, crystal, instrument = root.section("session"), root.section("crystal"), root.section("instrument")
    name, note = session.text("name", home.resolve().name), session.text("note", "")
    day = session.date("date", None)
    session.close()
    facts, assumed = crystal_facts(crystal)
    instruments, limits = _instruments(instrument)
    amplifier = _amplifier(root.section("amplifier"))
    lines = tuple(line_facts(s, facts.material, assumed) for s in root.sections("line"))
    _refuse_twice("[[line]] name", [line.name for line in lines])
    names = [line.name for line in lines]
    files = tuple(raw_file(s, home, names, facts.material) for s in root.sections("file"))
    _refuse_twice("[[file]] path", [os.path.normpath(f.path) for f in files], [f.path.name for f in files])
    plays = tuple(play_facts(s, names) for s in root.sections("play"))
    _refuse_twice("[[play]] name", [play.name for play in plays])
    oscillator = oscillator_facts(root.section("oscillator"))
    limits = replace(limits, oscillator=oscillator, generator=generator_facts(root.section("generator")))
    root.close()
    late = [] if day is None else filter(None, [late_day(day, (f.path for f in files))])
    return SessionFile(
        home, name, note, facts, instruments, lines, files, source_file(home / FILE_NAME, content),
        (*remarks_on(home, files, lines), *late), (*assumed, *_assumed(instruments, files)), kept_sources(files),
        amplifier, layout_sources(files), limits, plays, day,
    )  # fmt: skip


def _parsed(home: Path) -> tuple[bytes, Section]:
    try:
        content = (home / FILE_NAME).read_bytes()
    except OSError as error:
        raise SessionError(
            f"no {FILE_NAME} that can be read", where=home.name, found=Said(error.strerror or type(error).__name__),
            allowed=f"a folder with {FILE_NAME} beside the raw files", cure="write one with 'aotf-lab new FOLDER'",
        ) from None  # fmt: skip
    return content, Section(FILE_NAME, parsed_toml(FILE_NAME, content))


def _amplifier(section: Section) -> AmplifierFacts:
    keys = ("supply_a", "rated_output_w", "rated_supply_v")
    facts = AmplifierFacts(**{key: section.number(key, None, above=0) for key in keys})
    section.close()
    return facts


def _instruments(section: Section) -> tuple[Instruments, DamageLimits]:
    names = ("counter", "voltmeter", "scope", "power_meter", "ruler", "rotator", "stage", "detector")
    counter, voltmeter, scope, meter, ruler, rotator, stage, detector = (section.section(name) for name in names)
    limits = DamageLimits(
        limits_of(scope, ScopeLimits), limits_of(counter, CounterLimits), limits_of(meter, PowerMeterLimits)
    )
    instruments = Instruments(
        Counter(**_fields(counter, Counter)),
        Voltmeter(**_fields(voltmeter, Voltmeter)),
        Scope(**_fields(scope, Scope)),
        PowerMeter(**_fields(meter, PowerMeter)),
        Ruler(**_fields(ruler, Ruler)),
        Rotator(**_fields(rotator, Rotator)),
        Stage(**_fields(stage, Stage)),
        Detector(**_fields(detector, Detector)),
    )
    section.close()
    return instruments, limits


def _fields(section: Section, kind: type[Instrument]) -> dict[str, Any]:
    values = {f.name: section.number(f.name, None, **f.metadata) for f in fields(kind)}
    section.close()
    return values


_OF_LIGHT = ("hunt", "spectrum", "leakage", "polarisation", "beam_size")


def _assumed(instruments: Instruments, files: tuple[RawFile, ...]) -> tuple[str, ...]:
    """Return what was assumed of the instruments that the files come from."""
    purposes = {f.purpose for f in files}
    uses = (
        (instruments.counter, {"oscillator", "scan", "lines", "hunt", "spectrum", "leakage", "spots"}),
        (instruments.voltmeter, {"oscillator"}),
        (instruments.scope, {"efficiency", "level"}),
        (instruments.power_meter, {"scan", "efficiency", *_OF_LIGHT}),
        (instruments.ruler, {"spots"}),
        (instruments.rotator, {"polarisation"}),
        (instruments.stage, {"beam_size"}),
        (instruments.detector, {"edge", "modulation_depth"}),
    )
    return tuple(words for instrument, kinds in uses if purposes & kinds for words in instrument.assumed)


def _refuse_twice(key: str, keys: list[str], shown: list[str] | None = None) -> None:
    for position, value in enumerate(keys):
        if value in keys[:position]:
            raise SessionError(
                f"{key} stands twice", where=f"{FILE_NAME}, number {position + 1}", found=(shown or keys)[position],
                allowed="each once", cure="delete or rename one of the two",
            )  # fmt: skip
