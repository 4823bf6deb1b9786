"""What a cell looks like, before anything is understood: a number, a clock, a mark, text, or cells torn wrongly."""

from __future__ import annotations

import re
from functools import lru_cache

from aotf_lab.reading.units import is_unit

__all__ = ["has_reading", "is_unit_cell", "kind_of", "kinds_in"]

_MARKS = r"[ \u00a0\u2009\u202f'\u2019.,]"
_PLAIN = re.compile(r"[+-]?[0-9]+(?:\.[0-9]*)?(?:[eE][+-]?[0-9]+)?")
_NUMBER = re.compile(
    rf"[+\-\u2212]?[ ]?(?:[0-9]{{1,3}}(?:({_MARKS})[0-9]{{3}}(?:\1[0-9]{{3}})*)|[0-9]+|(?=[.,][0-9]))"
    r"(?:\.[0-9]*|,[0-9]+)?(?:[eE][+\-\u2212]?[0-9]+)?\s{0,3}(?P<unit>[^\s0-9.,;:?][^\s0-9,;:?]{0,7})?\s?\??"
)
_PREFIXED = re.compile(r"[+\-\u2212]?[0-9]+[kKMGmunpRr\u00b5\u03bc][0-9]+")
_PREFIX = frozenset("kKMGmunp\u00b5\u03bc")
_CLOCK = re.compile(
    r"(?:[0-9]{1,4}([-/.])[0-9]{1,2}\1[0-9]{1,4}|[0-9]{8}(?=T)|[0-9]{1,2}[- .][A-Za-z]{3,9}\.?(?:[- ,]+[0-9]{2,4})?"
    r"|[A-Za-z]{3}[- ][0-9]{1,4})"
    r"(?:[T ,]+[0-9]{1,2}[:.][0-9]{2}(?:[:.][0-9]{2}(?:[.,][0-9]+)?)?)?"
    r"\s?(?:[APap]\.?[Mm]\.?|Z|[+-][0-9]{2}:?[0-9]{2})?"
    r"|(?:[0-9]+ ?d(?:ays?)?,? ?)?[0-9]{1,3}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?\s?(?:[APap]\.?[Mm]\.?)?"
)
_MARK = re.compile(
    r"[-\u2013\u2014]+|\*+|\?+"
    r"|[-+ ]*(?:over|overload|ovld|ovl|ovrflw|o\.?l\.?|over[ -]?range|under|under[ -]?range)[- ]*"
    r"|n\.?/?a\.?|nan|[-+]?inf(?:inity)?|none|null|#[A-Z/0!]+|\"+|''|\u3003|ditto|do\.",
    re.IGNORECASE,
)
_TORN = re.compile(r"[0-9]\s*[,;\t|]\s*[-+.0-9]|[0-9]\s+[-+]?[0-9]|[0-9][,;|]$|^[|;,]|^[,;|]?$")


def kind_of(cell: str) -> str:
    """Return "number", "clock", "mark", "empty", "torn" (digits on both sides of a separator) or "text".

    >>> [kind_of(c) for c in ("64 228,5", "412 mV", "12k3", "10:04:05", "---", "5;48", "Mean")]
    ['number', 'number', 'number', 'clock', 'mark', 'torn', 'text']
    """
    if _PLAIN.fullmatch(cell):
        return "number"
    if not cell:
        return "empty"
    match = _NUMBER.fullmatch(cell)
    if (match and (not match["unit"] or _is_suffix(match["unit"]))) or _PREFIXED.fullmatch(cell):
        return "number"
    if _CLOCK.fullmatch(cell):
        return "clock"
    if _MARK.fullmatch(cell):
        return "mark"
    return "torn" if _TORN.search(cell) else "text"


@lru_cache(maxsize=8192)
def kinds_in(cells: tuple[str, ...]) -> tuple[str, ...]:
    """Return the kind of each cell; kept a while, as several questions are asked of a row."""
    return tuple([kind_of(cell) for cell in cells])


def has_reading(kinds: tuple[str, ...]) -> bool:
    """Return whether a number or a clock stands among ``kinds``."""
    return "number" in kinds or "clock" in kinds


def is_unit_cell(cell: str) -> bool:
    """Return whether the cell is a unit and nothing else, in brackets or not.

    >>> is_unit_cell("(MHz)"), is_unit_cell("Mean")
    (True, False)
    """
    bare = cell.strip()
    if bare[:1] + bare[-1:] in ("()", "[]", "{}"):
        bare = bare[1:-1]
    return is_unit(bare) or bare.lower() in ("counts", "count", "raw", "lsb")


@lru_cache(maxsize=1024)
def _is_suffix(text: str) -> bool:
    return text in _PREFIX or is_unit(text)
