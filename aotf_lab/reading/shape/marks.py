"""The marks in a heading: run 2, up, line B, min; and the words that are left without them."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import replace

from aotf_lab.reading.shape.heading import UNMARKED, Marks
from aotf_lab.reading.words import TEXT_COLUMNS, UNDECIDED, is_computed, plain_words, word_meaning

__all__ = ["direction_word", "line_name", "marks_of", "names_another_line", "title_marks"]

_PARTS = {
    **dict.fromkeys(("min", "minimum", "lowest"), "min"),
    **dict.fromkeys(("max", "maximum", "highest"), "max"),
    **dict.fromkeys(("mean", "avg", "average"), "mean"),
}
_DIRECTIONS = {
    **dict.fromkeys(("up", "upward", "upwards", "rising", "ascending"), "up"),
    **dict.fromkeys(("down", "downward", "downwards", "falling", "descending"), "down"),
}
_REPEAT_WORDS = {"run", "rep", "repeat", "repetition", "reading", "sweep", "pass", "trial", "shot", "try", "no", "nr"}
_GLUED_PART = re.compile(r"^(?P<base>[fvpu])(?P<part>min|max|mean|avg)$")
_GLUED_NUMBER = re.compile(r"^(?P<base>[a-z]+)?#?(?P<n>[0-9]{1,3})$")
_PLACES = {"scope", "power meter", "reference", "supply", "t"}
"""Two of these with numbers are two inputs or two places, not two repeats."""
_SYMBOLS = set("fpuvti")
_OF_A_LINE = ("optical_power_mw", "incident_power_mw", "dark_power_mw", "efficiency", "frequency_mhz")


def direction_word(word: str) -> str:
    """Return "up" or "down" for a word that means one of them, "" for any other."""
    return _DIRECTIONS.get(word.lower(), "")


def marks_of(words: str, labels: Collection[str] = ()) -> tuple[str, Marks]:
    """Return the words of a heading without its marks, and the marks.

    ``labels`` are the names of lines that a heading may carry. A bare number is the number of a repeat
    only behind a word whose meaning is known, or one such as "run".

    >>> marks_of("Frequency run 3")
    ('frequency', Marks(repeat=3, direction='', label='', part='', block=0))
    >>> marks_of("CH1")[0], marks_of("Frequency - 64")[0]
    ('ch1', 'Frequency - 64')
    """
    if is_computed(words):
        return words, UNMARKED
    tokens, marks = _label(words, labels)
    found = True
    while found and tokens and not word_meaning(" ".join(tokens)):
        tokens, marks, found = _one_mark(tokens, marks)
    return " ".join(tokens), marks


def _label(words: str, labels: Collection[str]) -> tuple[list[str], Marks]:
    raw = [t for t in re.split(r"[\s_\-:./()\[\]]+", words) if t]
    named = [t for t in raw if t in labels]
    if len(named) != 1:
        return plain_words(words).split(), UNMARKED
    rest = [t for t in raw if t not in labels and not re.fullmatch(r"[0-9.,]*(?:nm)?", t)]
    tokens = [t for t in plain_words(" ".join(rest)).split() if t not in ("line", "laser")]
    return tokens, Marks(label=named[0])


def _one_mark(tokens: list[str], marks: Marks) -> tuple[list[str], Marks, bool]:
    """Take one mark off either end of the words."""
    for end, others in ((-1, tokens[:-1]), (0, tokens[1:])):
        word = tokens[end]
        if word in _PARTS and not marks.part:
            return others, replace(marks, part=_PARTS[word]), True
        if word in _DIRECTIONS and not marks.direction:
            return others, replace(marks, direction=_DIRECTIONS[word]), True
    glued = _GLUED_PART.match(tokens[-1])
    if glued and not marks.part:
        return [*tokens[:-1], glued["base"]], replace(marks, part=_PARTS[glued["part"]]), True
    repeat = None if marks.repeat else _repeat(tokens)
    if repeat is not None:
        return repeat[0], replace(marks, repeat=repeat[1]), True
    return tokens, marks, False


def _repeat(tokens: list[str]) -> tuple[list[str], int] | None:
    match = _GLUED_NUMBER.match(tokens[-1])
    if match is None or int(match["n"]) == 0:
        return None
    base = [*tokens[:-1], match["base"]] if match["base"] else tokens[:-1]
    explicit = tokens[-1].startswith("#") or bool(base and base[-1] in _REPEAT_WORDS)
    rest = base[:-1] if base and base[-1] in _REPEAT_WORDS else base
    undoubted = marks_of(" ".join(rest))[0] if rest else ""
    meaning = word_meaning(undoubted)
    if explicit or (meaning not in ("", UNDECIDED, *TEXT_COLUMNS) and undoubted not in _PLACES):
        return rest, int(match["n"])
    return None


def names_another_line(words: str, labels: Collection[str]) -> bool:
    """Return whether the heading is a bare name such as "D" or "line 7" that is none of ``labels``.

    >>> names_another_line("D", ["B"]), names_another_line("P", ["B"]), names_another_line("Signal", ["B"])
    (True, False, False)
    """
    match = re.fullmatch(r"(?P<said>(?:line|laser)\s+)?(?P<name>[A-Za-z0-9]{1,2})", words.strip(), re.IGNORECASE)
    if not labels or match is None or match["name"] in labels:
        return False
    return bool(match["said"]) or match["name"].lower() not in _SYMBOLS


def line_name(words: str) -> tuple[str, str]:
    """Return the known words of a heading and the short name behind them, such as that of a line; "" and "" for none.

    A wavelength alone names a line and means its light.

    >>> line_name("Diffracted B"), line_name("Diffracted today"), line_name("473 nm")
    (('Diffracted', 'B'), ('', ''), ('light', '473 nm'))
    """
    if re.fullmatch(r"[0-9]{3,4}(?:\.[0-9]+)?\s?nm", words.strip()):
        return "light", words.strip()
    match = re.fullmatch(r"(?P<base>.+?)[\s_\-]+(?:(?:line|laser)\s+)?(?P<name>[A-Za-z][A-Za-z0-9]?)", words.strip())
    if match is None or match["name"].lower() in {*_PARTS, *_DIRECTIONS, *_REPEAT_WORDS, "u"}:
        return "", ""
    base = re.sub(r"\s+(?:line|laser)$", "", match["base"], flags=re.IGNORECASE)
    return (base, match["name"]) if word_meaning(base) in _OF_A_LINE else ("", "")


def title_marks(title: str) -> Marks:
    """Return what the title above a block of columns says: a direction, a repeat, else a label.

    >>> title_marks("Sweep down").direction, title_marks("run 2").repeat, title_marks("Line B").label
    ('down', 2, 'B')
    """
    words = [w for w in plain_words(title).split() if w not in ("sweep", "direction", "leg")]
    if len(words) == 1 and direction_word(words[0]):
        return Marks(direction=direction_word(words[0]))
    rest, marks = marks_of(title)
    if marks.repeat and not rest:
        return Marks(repeat=marks.repeat)
    return Marks(label=re.sub(r"^(?:line|laser)\s+", "", title.strip(), flags=re.IGNORECASE))
