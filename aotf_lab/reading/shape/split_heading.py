"""The words and the unit of a heading: in brackets, after a stroke or a comma, as its last word, or alone."""

from __future__ import annotations

import re

from aotf_lab.errors import ReadingError
from aotf_lab.reading.units import is_unit, kinds_of, parse_unit
from aotf_lab.reading.words import TEXT_COLUMNS, UNDECIDED, word_meaning

__all__ = ["is_clock_form", "is_count_unit", "known_unit", "split_heading"]

_FORMS = (
    (re.compile(r"^(?P<words>.*?)\s*\((?P<unit>[^()]*)\)$"), True),
    (re.compile(r"^(?P<words>.*?)\s*\[(?P<unit>[^\[\]]*)\]$"), True),
    (re.compile(r"^(?P<words>.+?)\s*/\s*(?P<unit>[^/]+)$"), False),
    (re.compile(r"^(?P<words>.+?)\s*,\s*(?P<unit>[^,]+)$"), False),
)
_LAST_WORD = re.compile(r"^(?P<words>.+?)[\s_]+(?P<unit>\S+)$")
_COUNT_WORDS = {"count", "counts", "cts", "lsb", "lsbs", "code", "codes", "adc", "adu", "adc counts", "raw"}
_CLOCK_FORM = re.compile(
    r"^(?:[hmsydHMSYDT]{1,4}[:\-./ ]*){2,}(?:[.,]?[0fFsSxz]{1,6})?$|^(?:utc|gmt|local|local time|am/pm|iso)$",
    re.IGNORECASE,
)


def is_count_unit(text: str) -> bool:
    """Return whether ``text`` stands for counts of a converter.

    >>> is_count_unit("LSB"), is_count_unit("mV")
    (True, False)
    """
    return text.strip().lower() in _COUNT_WORDS


def is_clock_form(text: str) -> bool:
    """Return whether ``text`` in brackets says how a clock is written.

    >>> is_clock_form("hh:mm:ss.000"), is_clock_form("UTC"), is_clock_form("ms")
    (True, True, False)
    """
    return bool(_CLOCK_FORM.match(text.strip())) and not known_unit(text)


def known_unit(text: str) -> bool:
    """Return whether ``text`` is a unit that can be used, not one that is refused by name."""
    if not is_unit(text):
        return False
    try:
        parse_unit(text)
    except ReadingError:
        return False
    return True


def split_heading(header: str, place: str) -> tuple[str, str]:
    """Return the words and the text of the unit ("" for none) of a heading.

    Raises ``ReadingError`` for a known word with an unknown unit in brackets.

    >>> split_heading("Drive [mV]", ""), split_heading("MHz", ""), split_heading("Counter kHz", "")
    (('Drive', 'mV'), ('', 'MHz'), ('Counter', 'kHz'))
    """
    for form, marked in _FORMS:
        match = form.match(header)
        if match is None:
            continue
        if is_unit(match["unit"]) or is_count_unit(match["unit"]):
            return match["words"], match["unit"]
        if marked and is_clock_form(match["unit"]):
            return match["words"], ""
        if marked and word_meaning(match["words"]) and not word_meaning(header):
            parse_unit(match["unit"], place)  # a known word with an unknown unit: says so
    if word_meaning(header):
        return header, ""
    if known_unit(header):
        return "", header
    match = _LAST_WORD.match(header)
    if match and _is_last_word_unit(match["words"], match["unit"]):
        return match["words"], match["unit"]
    return header, ""


def _is_last_word_unit(words: str, unit: str) -> bool:
    """Return whether a last word without brackets is the unit: it must be one of the kind that the words can have."""
    if is_count_unit(unit) and unit.lower() != "raw":
        return bool(word_meaning(words))
    if not known_unit(unit):
        return False
    meaning = word_meaning(words)
    if meaning in TEXT_COLUMNS:
        return False
    if meaning in ("", UNDECIDED):
        return len(unit) > 1 or unit in "VW"
    return parse_unit(unit).kind in kinds_of(meaning) or meaning == "rf_level_vrms"
