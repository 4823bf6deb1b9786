"""A column for each laser line: by the names that were told, or by short names behind one known word."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.shape.heading import Heading, Marks
from aotf_lab.reading.shape.marks import line_name
from aotf_lab.reading.units import kinds_of
from aotf_lab.reading.words import word_meaning

__all__ = ["settle_lines"]


def settle_lines(found: Sequence[Heading], labels: Collection[str], where: str) -> tuple[Heading, ...]:
    """Return the headings with those of several lines claimed: "Diffracted B", "Diffracted E".

    With ``labels`` only headings of these lines are used. Raises ``ReadingError`` when the file has a
    column for each line, and none for one of ``labels``.
    """
    named = {h.position: line_name(h.words) for h in found if not h.column and not h.settled and line_name(h.words)[0]}
    bases = [base.lower() for base, _ in named.values()]
    several = {p: pair for p, pair in named.items() if bases.count(pair[0].lower()) > 1}
    told = {h.marks.label for h in found if h.marks.label}
    if labels and several and not told:
        raise ReadingError(
            f"a column for each line, and none for {', '.join(labels)}", where=where,
            found=Said(", ".join(repr(h.header) for h in found if h.position in several)),
            allowed=f"a column of line {', '.join(labels)}",
            cure="correct the line of this file in session.toml, or map its column in a layout",
        )  # fmt: skip
    if labels:
        why = f"not used: a column of another line than {', '.join(labels)}"
        return tuple(replace(h, evidence=why, settled=True) if h.position in named else h for h in found)
    return tuple(_of_line(h, *several[h.position]) if h.position in several else h for h in found)


def _of_line(heading: Heading, base: str, name: str) -> Heading:
    column = word_meaning(base)
    if heading.own_unit is None or heading.own_unit.kind not in kinds_of(column):
        return heading
    said = "a wavelength in its heading" if name == heading.words.strip() else f"word {base.lower()!r}"
    evidence = f"{said} of line {name}, unit {heading.unit_evidence}"
    return replace(heading, column=column, unit=heading.own_unit, evidence=evidence, marks=Marks(label=name))
