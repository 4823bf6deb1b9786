"""A marked heading, and the same unmarked ones behind each such heading: f up, P, f down, P."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from aotf_lab.reading.shape.heading import UNMARKED, Heading
from aotf_lab.reading.words import plain_words

__all__ = ["mark_segments"]


def mark_segments(found: Sequence[Heading]) -> list[Heading]:
    """Return the headings with those behind "f up" marked up and those behind "f down" down.

    Only where one column has a marked heading at the head of each segment, and the headings behind it, one at
    least, are the same in all segments. What stands before the first of them is of all rows.
    """
    filled = [h for h in found if h.header]
    column = next((h.column for h in filled if h.column and h.marks != UNMARKED), "")
    heads = [k for k, h in enumerate(filled) if h.column == column and h.marks != UNMARKED]
    if len(heads) < 2:
        return list(found)
    ends = [*heads[1:], len(filled)]
    behind = [filled[start + 1 : end] for start, end in zip(heads, ends, strict=True)]
    words = [[plain_words(h.header) for h in segment] for segment in behind]
    alike = bool(words[0]) and all(own == words[0] for own in words)
    if not alike or any(h.marks != UNMARKED for segment in behind for h in segment):
        return list(found)
    marked = list(found)
    for head, segment in zip(heads, behind, strict=True):
        for heading in segment:
            marked[heading.position] = replace(heading, marks=filled[head].marks)
    return marked
