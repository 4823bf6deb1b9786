"""What stands between the cells, found from the rows of numbers and not from the first line alone.

csv.Sniffer and clevercsv 0.8 were tried: under a preamble with commas both miss the semicolons of the
readings, and "1,500 480,250" they decide silently. So the separator is the one under which most rows
come out as whole numbers in equally many cells; two that do so equally well are an error.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import SEPARATORS
from aotf_lab.reading.text.cells import WIDE, cells_of, headings_between_blanks
from aotf_lab.reading.text.kinds import has_reading, kind_of, kinds_in
from aotf_lab.reading.text.lines import Line, comment_of

__all__ = ["find_separator", "row_weight", "spoken"]

_SAMPLE = 400
_CANDIDATES = ("comma", "semicolon", "tab", "bar", WIDE, "blanks")
_GLUED = re.compile(r"[^\W\d_][,;|][^\W\d_]")
"""A separator right between two words of a heading row: blanks are none there."""
_PLAIN = ("semicolon", "tab", "bar")
_EQUALLY = 0.01


@dataclass(frozen=True)
class _Trial:
    """How well a separator explains the rows: the commonest row, how often, the weight, the first such line."""

    separator: str
    cells: int
    rows: int
    weight: float
    first: int
    found: tuple[tuple[str, ...], ...]


def spoken(separator: str) -> str:
    """Return the key of SEPARATORS for an inner name."""
    return "blanks" if separator == WIDE else separator


def find_separator(name: str, lines: Sequence[Line], stated: str | None = None) -> tuple[str, str]:
    """Return the separator (a key of SEPARATORS, or WIDE) and the evidence for it.

    Raises ``ReadingError`` for a stated one that is not known, and where two explain the file equally well
    with different cells.
    """
    sample = _sample([line for line in lines if comment_of(line.text, "comma") is None])
    if stated is not None:
        return _stated(name, sample, stated), "stated in the layout"
    trials = sorted((_try(sample, candidate) for candidate in _CANDIDATES), key=lambda t: -t.weight)
    best = trials[0]
    if best.weight == 0.0:
        return _without_rows(sample), "from the first line; no row of numbers to judge by"
    if best.cells == 1:
        return "comma", "one cell in each row of numbers"
    near = [t for t in trials if t.weight >= best.weight * (1 - _EQUALLY)]
    plain = next((t for t in near if t.separator in _PLAIN and all(_is_finer(t, b) for b in near if b is not t)), None)
    best, near = (plain, [plain]) if plain else (best, near)
    rivals = [t for t in near if t.found != best.found]
    if rivals:
        fitting = [t for t in (best, *rivals) if _heading_fits(sample, t)]
        if len(fitting) != 1:
            raise _doubt(name, sample, best, rivals[0])
        best = fitting[0]
    elif best.separator in ("blanks", WIDE) and _one_number_a_row(sample, best):
        raise _doubt(name, sample, best, _try(sample, "bar"))
    told = f"of {len(sample)} lines looked at, " if len(sample) == _SAMPLE else ""
    decided = ", and so has the line above them" if rivals else ""
    have = "1 row of numbers has" if best.rows == 1 else f"{best.rows} rows of numbers have"
    return best.separator, f"{told}{have} {best.cells} cells{decided}"


def _is_finer(plain: _Trial, other: _Trial) -> bool:
    """Return whether ``other`` only breaks at blanks what ``plain`` holds together, the blank of a date and time."""
    if other.separator not in ("blanks", WIDE) or other.first != plain.first or other.rows != plain.rows:
        return False
    return all(
        [part for cell in ours for part in cell.split()] == [part for cell in theirs for part in cell.split()]
        and all(kind_of(cell) == "clock" for cell in ours if " " in cell)
        for ours, theirs in zip(plain.found, other.found, strict=True)
    )


def row_weight(kinds: tuple[str, ...]) -> float:
    """Return how much a row speaks for being a reading: 1, less for what a preamble holds as well, else 0.

    A preamble of 25 lines ``key,number`` (or ``key: number unit``) must not outweigh five readings of four
    cells below it, so a row that begins with text and holds one number counts a hundredth, and a line that is
    a single number a fiftieth.
    """
    if not has_reading(kinds):
        return 0.0
    if len(kinds) == 1:
        return 0.02
    return 0.01 if kinds[0] == "text" and kinds.count("number") + kinds.count("clock") == 1 else 1.0


def _sample(lines: Sequence[Line]) -> list[Line]:
    if len(lines) <= _SAMPLE:
        return list(lines)
    part, middle = _SAMPLE // 4, len(lines) // 2
    return [*lines[: 2 * part], *lines[middle : middle + part], *lines[-part:]]


def _try(sample: Sequence[Line], separator: str) -> _Trial:
    weights: Counter[int] = Counter()
    shares: Counter[int] = Counter()
    rows: dict[int, list[tuple[int, tuple[str, ...]]]] = {}
    for at, line in enumerate(sample):
        try:
            cells = cells_of(line.text, separator)
        except csv.Error:
            continue
        kinds = kinds_in(cells)
        if "torn" in kinds or not has_reading(kinds):
            continue
        full = len(kinds) - kinds.count("empty")
        weights[len(cells)] += round(100 * row_weight(kinds))
        shares[len(cells)] += round(1000 * (1 - kinds.count("text") / full))
        rows.setdefault(len(cells), []).append((at, cells))
    if not rows:
        return _Trial(separator, 0, 0, 0.0, -1, ())
    score = {n: weights[n] / 100 * shares[n] / 1000 / len(rows[n]) for n in rows}
    n = max(rows, key=lambda n: (score[n], n))
    return _Trial(separator, n, len(rows[n]), score[n], rows[n][0][0], tuple(cells for _, cells in rows[n]))


def _heading_fits(sample: Sequence[Line], trial: _Trial) -> bool:
    """Return whether the line above the first row of numbers has as many cells, none of them a number."""
    if trial.first < 1:
        return False
    text = sample[trial.first - 1].text
    cells: tuple[str, ...] | None
    if trial.separator in ("blanks", WIDE):
        cells = None if _GLUED.search(text) else headings_between_blanks(text, trial.cells)
    else:
        try:
            cells = cells_of(text, trial.separator)
        except csv.Error:
            return False
    return cells is not None and len(cells) == trial.cells and not has_reading(kinds_in(cells))


def _one_number_a_row(sample: Sequence[Line], trial: _Trial) -> bool:
    """Return whether every row is also one number with blanks between its thousands, and no headings tell."""
    whole = _try(sample, "bar")
    if whole.cells != 1 or whole.rows < trial.rows or not all(" " in row[0] for row in whole.found):
        return False
    above = sample[trial.first - 1].text if trial.first > 0 else ""
    glued = above.strip().replace(" (", "(").replace(" [", "[").split()
    return len(glued) != trial.cells


def _stated(name: str, sample: Sequence[Line], stated: str) -> str:
    if stated not in SEPARATORS:
        raise ReadingError(
            "a separator that is not known", where=f"{name}, layout", found=stated, allowed=", ".join(SEPARATORS),
            cure="correct separator in the layout",
        )  # fmt: skip
    if stated != "blanks":
        return stated
    narrow, wide = _try(sample, "blanks"), _try(sample, WIDE)
    return WIDE if wide.cells > 1 and wide.weight > narrow.weight else "blanks"


def _without_rows(sample: Sequence[Line]) -> str:
    first = sample[0].text if sample else ""
    return max(("comma", "semicolon", "tab", "bar"), key=lambda s: first.count(SEPARATORS[s]))


def _doubt(name: str, sample: Sequence[Line], best: _Trial, rival: _Trial) -> ReadingError:
    line = sample[max(best.first, rival.first, 0)]
    ways = [
        f"{t.cells} cell{'s' if t.cells > 1 else ''} with {spoken(t.separator) if t.cells > 1 else 'none'}"
        for t in (best, rival)
    ]
    return ReadingError(
        f"separator in doubt: {' or '.join(ways)}, and both give numbers", where=f"{name}:{line.number}",
        found=line.text, allowed="one separator that explains the rows",
        cure=f'state it in a layout: separator = "{spoken(best.separator)}" (one of {", ".join(SEPARATORS)})',
    )  # fmt: skip
