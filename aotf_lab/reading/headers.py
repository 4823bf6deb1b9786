"""What each heading of a table means, in which unit, and on what evidence."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.units import UNITLESS, Unit, bench_unit, is_unit, kinds_of, parse_unit, to_bench
from aotf_lab.reading.words import BENCH_NAMES, NUMBER_COLUMNS, TEXT_COLUMNS, UNDECIDED, plain_words, word_meaning

__all__ = ["NOT_USED", "ColumnMap", "Heading", "understand_headings"]

ColumnMap = Mapping[str, str | Sequence[str]]
"""Column name -> heading that holds it; under the key "not_used" one heading, or several, to pass over."""

NOT_USED = "not_used"

_FORMS = (
    (re.compile(r"^(?P<words>.+?)\s*\((?P<unit>[^()]*)\)$"), True),
    (re.compile(r"^(?P<words>.+?)\s*\[(?P<unit>[^\[\]]*)\]$"), True),
    (re.compile(r"^(?P<words>.+?)\s*/\s*(?P<unit>[^/]+)$"), False),
    (re.compile(r"^(?P<words>.+?)\s*,\s*(?P<unit>[^,]+)$"), False),
)
_U_FORMS = (
    re.compile(r"^u\s*\((?P<of>.+)\)$", re.IGNORECASE),
    re.compile(r"^(?:u|uncertainty)[\s_]+(?:of\s+|in\s+)?(?P<of>.+)$", re.IGNORECASE),
    re.compile(r"^(?:standard\s+uncertainty|std\.?\s+uncertainty)\s+(?:of\s+|in\s+)?(?P<of>.+)$", re.IGNORECASE),
    re.compile(r"^(?P<of>.+?)\s+(?:standard\s+)?(?:uncertainty|u)$", re.IGNORECASE),
)
_BARE_U = {"u", "uncertainty", "standard uncertainty", "std uncertainty"}
_LIMIT = re.compile(r"^(?:±|\+/?-)\s*|\b(?:tolerance|error|accuracy)\b", re.IGNORECASE)


@dataclass(frozen=True)
class Heading:
    """One heading understood: its position (0-based), text, column, unit, and the evidence.

    ``column`` is "" for a heading that is not used; ``unit`` is None for a column of text.
    """

    position: int
    header: str
    column: str
    unit: Unit | None
    evidence: str


def understand_headings(headers: Sequence[str], where: str, columns: ColumnMap | None = None) -> tuple[Heading, ...]:
    """Return the meaning of every heading; ``where`` is file:line of the heading row.

    Raises ``ReadingError`` for a map that does not fit the file, two columns that claim one
    meaning, a unit that is missing, ambiguous or of another kind, and a limit of error (``±``)
    that does not say what it is.
    """
    mapped = _mapped(headers, where, columns or {})
    taken = {h.column for h in mapped.values()}
    found: list[Heading] = []
    for position, header in enumerate(headers):
        place = f"{where}, column {header!r}"
        heading = mapped.get(position) or _understand(position, header, found, place)
        if heading.column in taken and position not in mapped:
            heading = Heading(position, header, "", None, f"not used: {heading.column} is mapped to another column")
        found.append(heading)
    _refuse_two_of_a_kind(found, where)
    return tuple(found)


def _mapped(headers: Sequence[str], where: str, columns: ColumnMap) -> dict[int, Heading]:
    mapped: dict[int, Heading] = {}
    for column, wanted in columns.items():
        base = column.removeprefix("u_")
        if column != NOT_USED and base not in NUMBER_COLUMNS and column not in TEXT_COLUMNS:
            raise ReadingError(
                "columns names something that no column can mean", where=where, found=column,
                allowed=", ".join((*NUMBER_COLUMNS, *TEXT_COLUMNS, NOT_USED)) + ", and u_ before a number",
                cure="correct the name under columns in session.toml",
            )  # fmt: skip
        for header in [wanted] if isinstance(wanted, str) else wanted:
            positions = [i for i, h in enumerate(headers) if h == header.strip()]
            if len(positions) != 1:
                raise ReadingError(
                    f"columns maps {column} to a heading that stands {len(positions)} times in the file",
                    where=where, found=header, allowed=", ".join(map(repr, headers)),
                    cure="name one heading exactly as the file has it",
                )  # fmt: skip
            mapped[positions[0]] = _mapped_heading(positions[0], header.strip(), column, where)
    return mapped


def _mapped_heading(position: int, header: str, column: str, where: str) -> Heading:
    if column == NOT_USED:
        return Heading(position, header, "", None, "not used: said so in columns")
    if column in TEXT_COLUMNS:
        return Heading(position, header, column, None, "mapped in columns")
    words, unit_text = _split(header, f"{where}, column {header!r}")
    unit = parse_unit(unit_text, f"{where}, column {header!r}") if unit_text else bench_unit(column)
    if column == "rf_level_vrms" and unit.kind == "power level":
        column = "rf_level_dbm"
    said = "unit in brackets or after a stroke" if unit_text else f"unit as the name {column} says"
    return _checked(Heading(position, header, column, unit, f"mapped in columns, {said}"), f"{where}, column {words!r}")


def _understand(position: int, header: str, before: Sequence[Heading], place: str) -> Heading:
    name = header.removeprefix("u_")
    if name in BENCH_NAMES and not (name != header and name in TEXT_COLUMNS):
        column, unit_text = BENCH_NAMES[name]
        column = f"u_{column}" if name != header else column
        unit = None if column in TEXT_COLUMNS else parse_unit(unit_text, place) if unit_text else bench_unit(column)
        return _checked(Heading(position, header, column, unit, "bench name"), place)
    words, unit_text = _split(header, place)
    column, evidence = _column_of_words(words, before, place)
    if not column:
        return Heading(position, header, "", None, evidence)
    if column in TEXT_COLUMNS:
        return Heading(position, header, column, None, evidence)
    if not unit_text and bench_unit(column) != UNITLESS:
        raise _no_unit(column, words, place)
    unit = parse_unit(unit_text, place) if unit_text else UNITLESS
    if column == "rf_level_vrms" and unit.kind == "power level":
        column = "rf_level_dbm"
    return _checked(Heading(position, header, column, unit, f"{evidence}, unit {unit_text!r} in the heading"), place)


def _split(header: str, place: str) -> tuple[str, str]:
    """Return the words and the text of the unit ("" for none) of a heading."""
    for form, marked in _FORMS:
        match = form.match(header)
        if match and is_unit(match["unit"]):
            return match["words"], match["unit"]
        if match and marked and word_meaning(match["words"]) and not word_meaning(header):
            parse_unit(match["unit"], place)  # a known word with an unknown unit: says so
    return header, ""


def _column_of_words(words: str, before: Sequence[Heading], place: str) -> tuple[str, str]:
    meaning = word_meaning(words)
    if meaning == UNDECIDED:
        return "", f"not used: two quantities share the word {plain_words(words)!r}"
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
            cure="divide a limit +-a by sqrt(3) (GUM 4.3.7) and head the column u(...), "
            "or map it in session.toml: columns = { u_frequency_mhz = \"...\" }",
        )  # fmt: skip
    return "", "not used: no word for it" if words else "not used: no heading"


def _no_unit(column: str, words: str, place: str) -> ReadingError:
    example = bench_unit(column).symbol
    return ReadingError(
        f"heading without a unit, and the unit decides the number of {column}", where=place, found=words,
        allowed=f"a heading such as '{words} ({example})'",
        cure=f'write the unit into the heading, or map it in session.toml: columns = {{ {column} = "{words}" }}',
    )  # fmt: skip


def _checked(heading: Heading, place: str) -> Heading:
    """Return ``heading`` when its unit is of a kind that its column can have."""
    if heading.unit is not None and heading.unit.kind not in kinds_of(heading.column):
        to_bench(0.0, heading.unit, heading.column, place)  # raises, naming what is allowed
    return heading


def _refuse_two_of_a_kind(found: Sequence[Heading], where: str) -> None:
    claims: dict[str, list[str]] = {}
    for heading in found:
        if heading.column:
            claims.setdefault(heading.column, []).append(heading.header)
    for column, headers in claims.items():
        if len(headers) > 1:
            raise ReadingError(
                f"{len(headers)} columns claim the meaning {column}", where=where,
                found=Said(", ".join(map(repr, headers))), allowed="one column for each meaning",
                cure=f'say which in session.toml: columns = {{ {column} = "{headers[0]}" }}',
            )  # fmt: skip
