"""The lines of a Touchstone file of one port: options, keywords of version 2, and the numbers kept.

Source of the format: IBIS Open Forum, Touchstone File Format Specification, version 1.1 (2002) and 2.0
(2009): comments after ``!``; one option line ``# <unit> <parameter> <format> R <ohm>`` whose missing
parts are GHz, S, MA and 50; of one port, frequency and one pair of numbers in each line.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.receipt import FlaggedRow, RejectedRow

__all__ = ["ALLOWED", "TouchstoneLines", "touchstone_lines"]

_NUMBER = re.compile(r"^[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?$")
_PARTS: dict[str, tuple[str, ...]] = {
    "frequency unit": ("ghz", "mhz", "khz", "hz"),
    "parameter": ("s", "y", "z", "g", "h"),
    "format": ("ma", "db", "ri"),
}
"""Part of the option line -> its words, the default first."""
_OVER_RANGE = 9.8e37
ALLOWED = 'a line such as "# MHz S RI R 50"'
_KEYWORDS = {"version": "", "number of ports": "1", "number of frequencies": "", "network data": "", "end": ""}
"""Keyword of version 2 that one port may have -> the value that it must have, "" for any."""


@dataclass
class TouchstoneLines:
    """What the lines of a file say: options, numbers kept with their line and text, and what was noticed."""

    name: str
    options: dict[str, str] = field(default_factory=dict)
    option_line: int = 0
    keywords: dict[str, tuple[str, int]] = field(default_factory=dict)
    rows: list[tuple[int, str, tuple[str, ...]]] = field(default_factory=list)
    rejected: list[RejectedRow] = field(default_factory=list)
    flagged: list[FlaggedRow] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def touchstone_lines(name: str, text: str, option_line: str | None = None) -> TouchstoneLines:
    """Return what the lines of ``text`` say; ``option_line`` is stated for a file that has none.

    Raises ``ReadingError``, naming the line, for what the specification does not allow of one port,
    and for another parameter than S.
    """
    lines = TouchstoneLines(name)
    if option_line is not None:
        lines.options = _options(option_line, f"{name}, option line stated")
    for number, whole in enumerate(re.split(r"\r\n|\n|\r", text), start=1):
        said = whole.partition("!")[0].strip()
        if said.startswith("#"):
            _take_options(lines, number, said, stated=option_line is not None)
        elif said.startswith("["):
            _take_keyword(lines, number, said)
        elif said:
            _take_numbers(lines, number, said)
        elif "port impedance" in whole.lower():
            lines.notes.append(f"line {number}: a comment on port impedance, not used: {whole.strip()}")
    if not lines.rows:
        raise ReadingError(
            "no frequency and no reflection", where=name, found=Said(f"{len(lines.rejected)} lines, all rejected"),
            allowed="lines of frequency and one pair of numbers", cure="save the measurement again",
        )  # fmt: skip
    stated, line = lines.keywords.get("number of frequencies", (str(len(lines.rows) + len(lines.rejected)), 0))
    if stated != str(len(lines.rows) + len(lines.rejected)):
        raise ReadingError(
            "another number of frequencies than the file states", where=f"{name}:{line}", found=stated,
            allowed=f"{len(lines.rows) + len(lines.rejected)}, as many as there are lines",
            cure="save the measurement again: lines are missing or doubled",
        )  # fmt: skip
    return lines


def _take_options(lines: TouchstoneLines, number: int, said: str, *, stated: bool) -> None:
    if lines.options:
        reason = "one is stated by the reader" if stated else "the first one counts (specification 1.1)"
        lines.notes.append(f"line {number}: option line {said!r} not used, {reason}")
        return
    lines.options, lines.option_line = _options(said, f"{lines.name}:{number}"), number


def _options(said: str, where: str) -> dict[str, str]:
    """Return the parts of an option line, in whatever order they stand, the defaults for those missing."""
    words = said.lower().lstrip("#").split()
    found: dict[str, str] = {}
    while words:
        word = words.pop(0)
        part = next((p for p, allowed in _PARTS.items() if word in allowed), "reference" if word == "r" else "")
        value = words.pop(0) if part == "reference" and words else word
        bad = part == "reference" and not (_NUMBER.match(value) and 0.0 < float(value) < _OVER_RANGE)
        if not part or part in found or bad:
            raise ReadingError(
                "an option line that cannot be understood", where=where, found=said, allowed=ALLOWED,
                cure="export the measurement of one port again, in one of the formats RI, MA and DB",
            )  # fmt: skip
        found[part] = value
    options = {part: found.get(part, allowed[0]) for part, allowed in _PARTS.items()}
    if options["parameter"] != "s":
        raise ReadingError(
            "another parameter than S", where=where, found=said, allowed=ALLOWED,
            cure="export the reflection as S-parameters",
        )  # fmt: skip
    return options | {"reference": found.get("reference", "50")}


def _take_keyword(lines: TouchstoneLines, number: int, said: str) -> None:
    match = re.match(r"^\[([^\]]+)\]\s*(.*)$", said)
    key, value = (match[1].lower().strip(), match[2].strip()) if match else ("", said)
    wanted = _KEYWORDS.get(key)
    if key == "reference" and _NUMBER.match(value) and float(value) > 0 and lines.options:
        lines.options["reference"] = value
    elif wanted is None or (wanted and value != wanted):
        raise ReadingError(
            "a keyword that a file of one port cannot have here", where=f"{lines.name}:{number}", found=said,
            allowed=", ".join(f"[{k}] {v}".strip() for k, v in _KEYWORDS.items()) + ", then [reference] OHM",
            cure="export the measurement of one port in version 1 of the format",
        )  # fmt: skip
    lines.keywords[key] = (value, number)


def _take_numbers(lines: TouchstoneLines, number: int, said: str) -> None:
    where, cells = f"{lines.name}:{number}", tuple(said.split())
    if not lines.options:
        raise ReadingError(
            "numbers before any option line", where=where, found=said, allowed=ALLOWED,
            cure='state it: read_touchstone(path, option_line="# MHz S RI R 50")',
        )  # fmt: skip
    wrong = [cell for cell in cells if not _NUMBER.match(cell)]
    if wrong or len(cells) != 3:
        raise ReadingError(
            "text in a number" if wrong else f"{len(cells)} numbers in a line of one port", where=where,
            found=wrong[0] if wrong else said, allowed="frequency and one pair of numbers, blanks between",
            cure="export the measurement again; a comment needs ! before it",
        )  # fmt: skip
    values = [float(cell) for cell in cells]
    if any(abs(v) >= _OVER_RANGE for v in values):
        lines.rejected.append(RejectedRow(number, said, "over-range mark"))
    elif values[0] < 0 or (lines.options["format"] == "ma" and values[1] < 0):
        raise ReadingError(
            "a frequency or a magnitude below zero", where=where, found=said, allowed="zero or more",
            cure="export the measurement again, and check the format that the option line states",
        )  # fmt: skip
    else:
        lines.rows.append((number, said, cells))
