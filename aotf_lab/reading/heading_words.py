"""What the words of one heading mean: a column, the u of a column, or neither and why."""

from __future__ import annotations

import re
from collections.abc import Sequence

from aotf_lab.errors import ReadingError
from aotf_lab.reading.shape.heading import Heading
from aotf_lab.reading.shape.split_heading import known_unit
from aotf_lab.reading.units import kinds_of, parse_unit
from aotf_lab.reading.words import TEXT_COLUMNS, UNDECIDED, UNIT_DECIDES, plain_words, word_meaning

__all__ = ["column_by_unit", "column_of_words", "why_not_used"]

_U_FORMS = (
    re.compile(r"^u\s*\((?P<of>.+)\)$", re.IGNORECASE),
    re.compile(r"^(?:u|uncertainty)[\s_]+(?:of\s+|in\s+)?(?P<of>.+)$", re.IGNORECASE),
    re.compile(r"^(?:standard\s+uncertainty|std\.?\s+uncertainty)\s+(?:of\s+|in\s+)?(?P<of>.+)$", re.IGNORECASE),
    re.compile(r"^(?P<of>.+?)\s+(?:standard\s+)?(?:uncertainty|u)$", re.IGNORECASE),
)
_BARE_U = {"u", "uncertainty", "standard uncertainty", "std uncertainty"}
_LIMIT = re.compile(r"^(?:±|\+/?-)\s*|\b(?:tolerance|error|accuracy)\b", re.IGNORECASE)


def why_not_used(words: str) -> str:
    """Return why words that name no column are not used."""
    if word_meaning(words) == UNDECIDED:
        return f"not used: two quantities share the word {plain_words(words)!r}"
    return "not used: no word for it" if words else "not used: no heading"


def column_of_words(words: str, before: Sequence[Heading], place: str) -> tuple[str, str]:
    """Return the column that the words name ("" for none), and the evidence, or why there is none.

    ``before`` are the headings on the left: a bare "u" is that of the last of them. Raises ``ReadingError`` for a
    limit of error (``±``) that does not say what it is.
    """
    meaning = word_meaning(words)
    if meaning == UNDECIDED:
        return "", why_not_used(words)
    if meaning:
        return meaning, f"word {plain_words(words)!r}"
    if plain_words(words) in _BARE_U and before and before[-1].unit is not None:
        return f"u_{before[-1].column}", f"word 'u', of the column on its left, {before[-1].header!r}"
    for form in _U_FORMS:
        match = form.match(words)
        base = word_meaning(match["of"]) if match else ""
        if match and base not in ("", UNDECIDED, *TEXT_COLUMNS):
            return f"u_{base}", f"word 'u' of {plain_words(match['of'])!r}"
    if _LIMIT.search(words) and (word_meaning(_LIMIT.sub("", words)) or not plain_words(_LIMIT.sub("", words))):
        raise ReadingError(
            "a limit of error that does not say what it is", where=place, found=words,
            allowed="a standard uncertainty (k = 1), headed u(...)",
            cure="state in a layout or in session.toml that it is not_used, or, where it is a u already, "
            'columns = { u_frequency_mhz = "..." }; a limit +-a is a u of a / sqrt(3) (GUM 4.3.7)',
        )  # fmt: skip
    return "", why_not_used(words)


def column_by_unit(words: str, unit_text: str) -> str:
    """Return the column of a word whose unit decides what it means, "" for none."""
    kind = parse_unit(unit_text).kind if known_unit(unit_text) else ""
    return next((c for c in UNIT_DECIDES.get(plain_words(words), ()) if kind in kinds_of(c)), "")
