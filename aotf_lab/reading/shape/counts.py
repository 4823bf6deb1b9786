"""Counts of a converter, and the scale and offset above the headings that make volts or watts of them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError
from aotf_lab.reading.receipt import Setting
from aotf_lab.reading.shape.settings import Settings
from aotf_lab.reading.shape.split_heading import is_count_unit, known_unit
from aotf_lab.reading.units import Unit, parse_unit

__all__ = ["Scale", "no_scale", "read_scale", "speaks_of_counts"]

_PER_COUNT = re.compile(
    r"\s*(?:/|\bper\b)\s*(?:counts?|cts|lsb|codes?|adc counts?|adu|digits?)\s*$|\s+count-?1$", re.IGNORECASE
)

_PARTS = re.compile(r"[(\[]([^()\[\]]*)[)\]]")

_COUNTED = re.compile(r"[0-9]\W*([^\W\d][^\d]*?)\W*$")
_ALIKE = 0.7
"""A word that is like "counts" to this ratio may be a damaged one."""
_NO_OFFSET = re.compile(
    r"\b(?:range|full|max\w*|min\w*|resolution|limit|threshold|trigger|noise|bits?)\b", re.IGNORECASE
)
"""Words of settings that may be stated in counts and are no offset."""


@dataclass(frozen=True)
class Scale:
    """What one count is: ``factor`` in ``unit``, and the offset, in counts or in ``unit``."""

    factor: float
    unit: Unit
    offset: float = 0.0
    offset_in_counts: bool = True
    words: str = ""

    def apply(self, counts: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the counts in ``unit``: an offset in counts comes off first, one in ``unit`` is added.

        >>> Scale(0.5, Unit("mV", "voltage", 1e-3), 10.0).apply(np.array([12.0])).tolist()
        [1.0]
        """
        if self.offset_in_counts:
            return (counts - self.offset) * self.factor
        return counts * self.factor + self.offset


def read_scale(settings: Settings | None, name: str) -> Scale | None:
    """Return the scale of counts that the settings state, None where they state none.

    Raises ``ReadingError`` for a scale or an offset that is no number with a unit.
    """
    setting = settings.find("scale") if settings else None
    if settings is None or setting is None or not re.search(r"[0-9]", setting.value):  # such as "linear"
        return None
    number = settings.number(setting)
    text = _PER_COUNT.sub("", number[1] or _unit_of_key(setting.key)) if number else ""
    if number is None or not known_unit(text) or number[0] == 0:
        raise _refuse(
            setting, name, "a scale of counts that is no number with a unit", "0.5 mV/count, 0.125 uW per count"
        )
    factor, unit = number[0], parse_unit(text)
    offset, in_counts, said = _offset(settings, setting, unit, name)
    formula = f"counts x {setting.value}" if not said else (
        f"(counts - {said}) x {setting.value}" if in_counts else f"counts x {setting.value} + {said}"
    )  # fmt: skip
    settings.used(setting, formula)
    return Scale(factor, unit, offset, in_counts, formula)


def _unit_of_key(key: str) -> str:
    """Return the unit that a key names in words, "" for none: "Volts per count"."""
    match = re.fullmatch(r"(?P<unit>\S+) per (?:count|lsb)", key.strip(), re.IGNORECASE)
    return match["unit"] if match else ""


def _offset(settings: Settings, scale: Setting, unit: Unit, name: str) -> tuple[float, bool, str]:
    """Return the offset, whether it is in counts (else in ``unit``), and its words, "" for none."""
    setting = settings.find("offset")
    if setting is None:
        _refuse_unknown([e for e in (*settings.entries, *settings.loose) if e != scale], name)
        return 0.0, True, ""
    number = settings.number(setting)
    allowed = f"512 counts (taken off before the scale), or -5 {unit.symbol} (added after it)"
    if number is None or not number[1]:
        raise _refuse(setting, name, "an offset that does not say whether it is in counts or in a unit", allowed)
    if is_count_unit(number[1]):
        settings.used(setting, "taken off the counts")
        return number[0], True, setting.value
    if not known_unit(number[1]) or parse_unit(number[1]).kind != unit.kind:
        raise _refuse(
            setting, name, f"an offset that is neither in counts nor of the kind of the scale, {unit.symbol}", allowed
        )
    settings.used(setting, "added to the scaled counts")
    return number[0] * (parse_unit(number[1]).factor / unit.factor), False, setting.value


def _refuse_unknown(entries: Sequence[Setting], name: str) -> None:
    """Raise ``ReadingError`` where no offset stands, and a number of counts that may be it is not understood."""
    for entry in entries:
        said = f"{entry.key} {entry.value}"
        match = _COUNTED.search(entry.value)
        unit = match[1].lower() if match else ""
        counted = is_count_unit(unit) or SequenceMatcher(None, unit, "counts").ratio() > _ALIKE
        if re.search(r"offset.*[0-9]", said, re.IGNORECASE) or (counted and not _NO_OFFSET.search(said)):
            raise ReadingError(
                "a number of counts that may be the offset, and no offset", where=f"{name}:{entry.line}",
                found=f"{entry.key}: {entry.value}".lstrip(": "), allowed='a line such as "Offset: 512 counts"',
                cure='state it in a layout: settings = { offset = "512 counts" }, or "0 counts"',
            )  # fmt: skip


def _refuse(setting: Setting, name: str, what: str, allowed: str) -> ReadingError:
    where = f"{name}:{setting.line}" if setting.line else f"{name}, settings of the layout"
    return ReadingError(
        what, where=where, found=setting.value, allowed=allowed,
        cure=f'state it in a layout: settings = {{ "{setting.key.lower()}" = "{setting.value} ..." }}',
    )  # fmt: skip


def speaks_of_counts(texts: Iterable[str]) -> bool:
    """Return whether any of these headings and units has counts for its unit.

    >>> speaks_of_counts(["Counter (MHz)"]), speaks_of_counts(["Drive (counts)"]), speaks_of_counts(["LSB"])
    (False, True, True)
    """
    return any(is_count_unit(part) for text in texts for part in _PARTS.findall(text) + _PARTS.sub(" ", text).split())


def no_scale(header: str, column: str, where: str) -> ReadingError:
    """Return the error for counts without a scale."""
    return ReadingError(
        f"counts for {column}, and no scale that says what one count is", where=where, found=header,
        allowed='a line such as "Scale: 0.5 mV/count" above the headings',
        cure='state it in a layout: settings = { scale = "0.5 mV/count", offset = "512 counts" }',
    )  # fmt: skip
