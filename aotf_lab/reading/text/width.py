"""How many cells a reading has, and in which of them numbers stand."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from aotf_lab.reading.text.grid import RawRow
from aotf_lab.reading.text.kinds import has_reading, kinds_in
from aotf_lab.reading.text.separators import row_weight

__all__ = ["is_reading", "number_columns", "widths"]

_SAMPLE = 200


def widths(rows: Sequence[RawRow]) -> list[int]:
    """Return the plausible numbers of cells of a reading, the best first; empty when no row holds a number.

    The run of readings is the longest consistent one, counted in cells with numbers; ``row_weight`` keeps
    a preamble of ``key,number`` lines from being taken for readings in two columns.
    """
    weights: dict[int, float] = {}
    for width, count in Counter(len(row.cells) for row in rows).most_common(8):
        sample = _sample([row for row in rows if len(row.cells) == width])
        kinds = [kinds_in(row.cells) for row in sample]
        numbers = sum(row_weight(k) * sum(kind in ("number", "clock") for kind in k) for k in kinds)
        weights[width] = max(weights.get(width, 0.0), count * numbers / len(sample))
        if width > 1 and not any(row.cells[-1] for row in sample):  # a separator at line ends, not below the headings
            weights[width - 1] = max(weights.get(width - 1, 0.0), 0.999 * weights[width])
    best = max(weights.values(), default=0.0)
    likely = [width for width, weight in weights.items() if weight > 0 and weight >= 0.3 * best]
    return sorted(likely, key=lambda width: -weights[width])


def number_columns(rows: Sequence[RawRow], width: int) -> frozenset[int]:
    """Return the columns in which most filled cells are numbers, clocks or marks, over the readings at the end.

    Only the rows below the last row without any number count, where such rows follow: above it stands a
    preamble that may have as many cells.
    """
    fitting = [(row, kinds_in(row.cells[:width])) for row in _sample([r for r in rows if _fits(r, width)])]
    last = max((i for i, (_, k) in enumerate(fitting[:-1]) if "text" in k and not has_reading(k)), default=-1)
    below = [k for _, k in fitting[last + 1 :] if has_reading(k)] or [k for _, k in fitting if has_reading(k)]
    chosen = set()
    for column in range(width):
        filled = [k[column] for k in below if k[column] != "empty"]
        if filled and sum(kind not in ("text", "torn") for kind in filled) >= 0.6 * len(filled):
            chosen.add(column)
    return frozenset(chosen)


def is_reading(kinds: tuple[str, ...], width: int, numbers: frozenset[int]) -> bool:
    """Return whether a row of these kinds is a reading: so many cells, a number among them, none where text is."""
    return (
        len(kinds) == width and has_reading(kinds) and all(kinds[column] not in ("text", "torn") for column in numbers)
    )


def _fits(row: RawRow, width: int) -> bool:
    return len(row.cells) == width or (len(row.cells) > width and not any(row.cells[width:]))


def _sample(rows: list[RawRow]) -> list[RawRow]:
    if len(rows) <= _SAMPLE:
        return rows
    step = len(rows) / _SAMPLE
    return [rows[int(i * step)] for i in range(_SAMPLE)]
