"""Which headings belong together: columns of all rows, and groups of columns that are rows of their own.

Repeats in columns, a column for each line, and blocks side by side all become rows: every group of
marked headings, beside the headings that all share, reads the rows of the file once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.shape.heading import UNMARKED, Heading, Marks
from aotf_lab.reading.shape.mapped import position_name
from aotf_lab.reading.shape.marks import title_marks
from aotf_lab.reading.text.grid import RawRow
from aotf_lab.reading.words import plain_words

__all__ = ["Block", "blocks_of", "mark_blocks", "mark_equal_blocks"]


_ALIKE = 0.75


@dataclass(frozen=True)
class Block:
    """The headings that make one set of rows; ``own`` are those of the block alone (none where there is one set)."""

    marks: Marks
    headings: tuple[Heading, ...]
    own: tuple[Heading, ...]


def mark_equal_blocks(headers: Sequence[str]) -> dict[int, int]:
    """Return position -> number of its block where the same headings (two or more) stand side by side again.

    >>> mark_equal_blocks(["V", "MHz", "", "V", "MHz"])
    {0: 1, 1: 1, 3: 2, 4: 2}
    >>> mark_equal_blocks(["V", "MHz", "MHz"])
    {}
    """
    filled = [(k, plain_words(h)) for k, h in enumerate(headers) if h]
    for size in range(2, len(filled) // 2 + 1):
        words = [w for _, w in filled]
        if len(filled) % size == 0 and len(set(words[:size])) == size and words == words[:size] * (len(words) // size):
            return {position: index // size + 1 for index, (position, _) in enumerate(filled)}
    return {}


def mark_blocks(found: Sequence[Heading], titles: RawRow | None, where: str) -> tuple[Heading, ...]:
    """Return the headings with marks that tell apart those of one meaning.

    Raises ``ReadingError`` where nothing tells them apart.
    """
    _refuse_look_alike(found, where)
    marked = _numbered(list(found))
    doubled = _doubled(marked)
    if titles is not None:
        marked = _titled(marked, titles, {h.position for h in marked if h.column in doubled or h.marks.block})
        doubled = _doubled(marked)
    if doubled:
        marked = _periodic(marked, doubled)
        doubled = _doubled(marked)
    if doubled:
        column, headers = next(iter(doubled.items()))
        raise ReadingError(
            f"{len(headers)} columns claim the meaning {column}", where=where,
            found=Said(", ".join(repr(h.header) for h in headers)), allowed="one column for each meaning",
            cure=f'say which in session.toml or in a layout: columns = {{ {column} = "{_name(headers)}" }}',
        )  # fmt: skip
    if titles is not None:
        _refuse_across(marked, titles, where)
    return tuple(marked)


def _refuse_across(marked: Sequence[Heading], titles: RawRow, where: str) -> None:
    """Raise ``ReadingError`` where one reading would be made of columns below two titles, such as up and down."""
    below: dict[str, str] = {}
    for heading in (h for h in marked if h.column and h.marks == UNMARKED):
        direction = title_marks(_title(heading.position, titles)[1]).direction
        if direction:
            below.setdefault(direction, heading.header)
    if len(below) > 1:
        raise ReadingError(
            "columns of one reading below the titles of two", where=where,
            found=Said(", ".join(f"{header!r} below {title}" for title, header in below.items())),
            allowed="the same columns below each title",
            cure='state in session.toml or in a layout what the other columns are: columns = { drive_v = ["..."] }',
        )  # fmt: skip


def _refuse_look_alike(found: Sequence[Heading], where: str) -> None:
    """Raise ``ReadingError`` for a heading that is not understood and looks like one of a set: it may belong to it."""
    told = [h for h in found if h.column and (h.marks.repeat or h.marks.direction) and not h.marks.block]
    sets = [*told, *(h for h in found if told and h.column and h not in told)]
    for other in (h for h in found if not h.column and not h.settled and h.own_unit is not None):
        for heading in sets:
            same = heading.unit is not None and other.own_unit is not None and heading.unit.kind == other.own_unit.kind
            words = plain_words(heading.header), plain_words(other.header)
            if same and SequenceMatcher(None, *words).ratio() >= _ALIKE:
                raise ReadingError(
                    f"a heading that is not understood, and looks like {heading.header!r}, one of a set", where=where,
                    found=other.header, allowed="headings of a set that differ in their number, direction or line",
                    cure="state in session.toml or in a layout what it is: columns = { "
                    f'{heading.column} = ["...", "..."] }}, or columns = {{ not_used = "{other.header}" }}',
                )  # fmt: skip


def _name(headers: list[Heading]) -> str:
    first = headers[0].header
    return first if first and sum(h.header == first for h in headers) == 1 else position_name(headers[0].position)


def _doubled(found: Sequence[Heading]) -> dict[str, list[Heading]]:
    """Return column -> its headings where two of them carry the same marks."""
    claims: dict[str, list[Heading]] = {}
    for heading in found:
        if heading.column:
            claims.setdefault(heading.column, []).append(heading)
    return {c: hs for c, hs in claims.items() if len({h.marks for h in hs}) < len(hs)}


def _numbered(found: list[Heading]) -> list[Heading]:
    """Return the headings with a number for one without it among numbered ones: f, f 2, f 3."""
    for column in {h.column for h in found if h.column and h.marks.repeat}:
        own = [h for h in found if h.column == column]
        bare = [h for h in own if h.marks == UNMARKED]
        if len(bare) != 1 or any(replace(h.marks, repeat=0) != UNMARKED for h in own):
            continue
        shift = 1 if any(h.marks.repeat == 1 for h in own) else 0
        for heading in own:
            number = heading.marks.repeat + shift if heading is not bare[0] else 1
            found[heading.position] = replace(heading, marks=Marks(repeat=number))
    return found


def _titled(found: list[Heading], titles: RawRow, named: set[int]) -> list[Heading]:
    """Return the headings with the marks of the titles above them.

    A title reaches to the next one. Where it stands above one of ``named``, all that is used below it is of its
    block: a column that only one block has is no column of both.
    """
    said = {h.position: _title(h.position, titles) for h in found if h.column}
    blocks = {start for position, (start, _) in said.items() if position in named}
    return [
        replace(h, marks=_joined(h.marks, title_marks(said[h.position][1])))
        if h.column and said[h.position][0] in blocks and said[h.position][1]
        else h
        for h in found
    ]


def _title(position: int, titles: RawRow) -> tuple[int, str]:
    """Return the position and the text of the title that reaches over ``position``, -1 and "" for none."""
    return next(((k, titles.cells[k]) for k in range(position, -1, -1) if titles.cells[k : k + 1] != ("",)), (-1, ""))


def _joined(marks: Marks, title: Marks) -> Marks:
    return replace(
        marks,
        repeat=marks.repeat or title.repeat,
        direction=marks.direction or title.direction,
        label=marks.label or title.label,
    )


def _periodic(found: list[Heading], doubled: dict[str, list[Heading]]) -> list[Heading]:
    """Return the headings with numbers of blocks, where all that are used come again in the same order."""
    used = [h for h in found if h.column]
    count = min(len(hs) for hs in doubled.values())
    size = len(used) // count
    names = [h.column for h in used]
    if size < 2 or len(set(names[:size])) < size or names != names[:size] * count:
        return found
    for index, heading in enumerate(used):
        found[heading.position] = replace(heading, marks=replace(heading.marks, block=index // size + 1))
    return found


def blocks_of(found: Sequence[Heading], where: str) -> tuple[Block, ...]:
    """Return the sets of rows that the headings make: one, or one for each group of marked headings.

    Raises ``ReadingError`` when the groups do not hold the same columns.
    """
    used = [h for h in found if h.column]
    shared = tuple(h for h in used if h.marks.group == UNMARKED.group)
    groups: dict[tuple[int, int, str, str], list[Heading]] = {}
    for heading in used:
        if heading.marks.group != UNMARKED.group:
            groups.setdefault(heading.marks.group, []).append(heading)
    if not groups:
        return (Block(UNMARKED, shared, ()),)
    _refuse_uneven(list(groups.values()), where)
    return tuple(Block(own[0].marks, (*shared, *own), tuple(own)) for own in groups.values())


def _refuse_uneven(groups: list[list[Heading]], where: str) -> None:
    whole = {h.column for group in groups for h in group}
    for group in groups:
        missing = whole - {h.column for h in group}
        if missing:
            raise ReadingError(
                f"columns side by side that are no equal sets: no {', '.join(sorted(missing))} beside these",
                where=where,
                found=Said(", ".join(repr(h.header) for h in group)), allowed=f"{', '.join(sorted(whole))} in each set",
                cure='pass columns over in session.toml or in a layout: columns = { not_used = ["..."] }',
            )  # fmt: skip
