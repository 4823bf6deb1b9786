"""What the lines above the headings state, and how each was used."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from aotf_lab.reading.receipt import Setting
from aotf_lab.reading.shape.split_heading import known_unit
from aotf_lab.reading.text.grid import RawRow
from aotf_lab.reading.words import plain_words

__all__ = ["NOT_APPLIED", "Settings", "read_settings"]

NOT_APPLIED = "not applied; compare with session.toml"
"""The use of what the export may already contain, such as the factor of a probe: nobody can tell from the file."""

_KEYS: dict[str, tuple[str, ...]] = {
    "scale": ("scale", "scale factor", "counts scale", "count scale", "adc scale", "lsb", "lsb size", "volts per count",
              "volts per lsb", "v per count", "watts per count", "gain per count"),
    "offset": ("offset", "counts offset", "count offset", "adc offset", "zero offset"),
    "interval": ("sample interval", "sampling interval", "interval", "dt", "delta t", "time step", "increment",
                 "x increment", "time increment", "sample period", "sampling period", "sample time"),
    "rate": ("sample rate", "sampling rate", "sampling frequency", "sample frequency", "rate", "samples per second",
             "samplerate"),
    "start": ("start", "start time", "started", "start date", "started at", "date", "time", "date time", "date/time",
              "recorded", "trigger time", "begin"),
    "unit": ("unit", "units", "y unit", "display unit", "unit of readings"),
}  # fmt: skip
_KIND_OF = {key: kind for kind, keys in _KEYS.items() for key in keys}
_COMPARED = re.compile(
    r"\b(?:probe|attenuation|attenuator|pad|coupling|impedance|termination|input|load|wavelength|range|averaging|averages|"
    r"average|bandwidth|gate|gate time|supply|gain|prescaler|divider|multiplier|factor|offset|scale|scaling|correction|"
    r"null|relative)\b"
)
_WORDS = 3
"""A key in a comment has no more words than this, nor has a value without a digit."""

_ONE_COMMA = re.compile(r"[+-]?(?:0,[0-9]+|[0-9]+,(?:[0-9]{1,2}|[0-9]{4,}))(?:[eE][+-]?[0-9]+)?")
"""A comma that cannot stand between thousands is decimal, whatever the readings below have."""
_NUMBER_AND_UNIT = re.compile(r"^(?P<number>[+\-\u2212]?[0-9][0-9.,]*(?:[eE][+-]?[0-9]+)?)\s*(?P<unit>.*)$")


@dataclass
class Settings:
    """The settings of one file, in order; ``use`` is noted as each is used.

    ``stated`` are the lower-case keys that a layout states: those replace what the file says. ``loose`` are
    the lines without key and value (key "").
    """

    entries: list[Setting]
    decimal_mark: str = "."
    stated: frozenset[str] = frozenset()
    loose: tuple[Setting, ...] = ()
    _kinds: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._kinds = [self._kind(e) for e in self.entries]
        self.entries = [replace(e, use=_first_use(e, k)) for e, k in zip(self.entries, self._kinds, strict=True)]

    def _kind(self, entry: Setting) -> str:
        words = plain_words(key_and_unit(entry.key)[0])
        return "unit" if re.search(r"\bunits?$", words) else _KIND_OF.get(words, "")

    def find(self, kind: str) -> Setting | None:
        """Return the setting of the kind; of several the first."""
        return next((e for e, k in zip(self.entries, self._kinds, strict=True) if k == kind and e.value), None)

    def all_of(self, kind: str) -> tuple[Setting, ...]:
        """Return every setting of the kind."""
        return tuple(e for e, k in zip(self.entries, self._kinds, strict=True) if k == kind and e.value)

    def used(self, setting: Setting, use: str) -> None:
        """Note how ``setting`` was used."""
        self.entries = [
            replace(e, use=use) if (e.key, e.line, e.value) == (setting.key, setting.line, setting.value) else e
            for e in self.entries
        ]

    def number(self, setting: Setting) -> tuple[float, str] | None:
        """Return the number and the text of the unit of a setting, None where it is not such a thing."""
        match = _NUMBER_AND_UNIT.match(setting.value.strip())
        if match is None:
            return None
        text = match["number"].replace("\u2212", "-")
        if "," in text and (self.decimal_mark == "," or _ONE_COMMA.fullmatch(text)):
            text = text.replace(".", "").replace(",", ".")
        try:
            number = float(text)
        except ValueError:
            return None
        return number, match["unit"].strip() or key_and_unit(setting.key)[1]


def key_and_unit(key: str) -> tuple[str, str]:
    """Return a key without the unit that it carries in brackets, and that unit.

    >>> key_and_unit("Scale (mV/count)"), key_and_unit("Sample interval")
    (('Scale', 'mV/count'), ('Sample interval', ''))
    """
    match = re.match(r"^(?P<key>.+?)\s*[(\[](?P<unit>[^()\[\]]+)[)\]]$", key.strip())
    return (match["key"], match["unit"]) if match else (key.strip(), "")


def read_settings(preamble: Sequence[RawRow], stated: Mapping[str, str], decimal_mark: str) -> Settings:
    """Return the settings above the headings; those ``stated`` in a layout replace what the file says of that key."""
    keys = frozenset(plain_words(key_and_unit(k)[0]) for k in stated)
    entries = [Setting(key, value, 0) for key, value in stated.items()]
    for row in preamble:
        filled = [c for c in row.cells if c]
        if len(filled) < 2 or _is_prose(row, *filled) or plain_words(key_and_unit(filled[0])[0]) in keys:
            continue
        entries.append(Setting(filled[0].rstrip(" :="), " ".join(filled[1:]), row.line))
    loose = tuple(Setting("", r.text.strip(), r.line) for r in preamble if sum(map(bool, r.cells)) == 1)
    return Settings(entries, decimal_mark, keys, loose)


def _is_prose(row: RawRow, key: str, *value: str) -> bool:
    """Return whether a comment is a sentence that only happens to hold a separator: too long for a key or its value."""
    if not row.text.lstrip().startswith(("#", "%", "//")):
        return False
    said = " ".join(value)
    long_value = len(said.split()) > _WORDS and not any(c.isdigit() for c in said)
    return long_value or len(plain_words(key_and_unit(key)[0]).split()) > _WORDS


def _first_use(entry: Setting, kind: str) -> str:
    if (
        kind in ("", "unit", "scale", "offset")
        and _COMPARED.search(plain_words(entry.key))
        and not known_unit(entry.value)
    ):
        return NOT_APPLIED
    return entry.use
