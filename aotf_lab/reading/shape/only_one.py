"""A column that a reader needs, and that is the only one in its kind of unit: claimed without a word for it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from aotf_lab.reading.shape.heading import Heading
from aotf_lab.reading.shape.hints import IN_CELLS
from aotf_lab.reading.shape.marks import names_another_line
from aotf_lab.reading.units import Unit, kinds_of
from aotf_lab.reading.words import other_quantity, plain_words, word_meaning

__all__ = ["Wanted", "candidates", "claim_only_ones"]

Wanted = str | tuple[str, ...]
"""A column, or alternatives of which one is enough."""

_SPOKEN = {
    "voltage": "volts", "rms voltage": "volts rms", "peak-to-peak voltage": "volts peak to peak", "frequency": "hertz",
    "power": "watts", "power level": "dBm", "time": "seconds", "temperature": "degrees", "length": "metres",
    "ratio": "per cent", "current": "amperes",
}  # fmt: skip


def claim_only_ones(
    found: Sequence[Heading], wanted: Sequence[Wanted], labels: Collection[str] = ()
) -> tuple[Heading, ...]:
    """Return the headings with each wanted column claimed that no heading means and only one can mean.

    A heading whose words say another quantity ("Heater voltage", "f - 64") is not claimed.
    """
    claimed = list(found)
    for want in wanted:
        columns = (want,) if isinstance(want, str) else want
        if {h.column for h in claimed} & set(columns):
            continue
        groups = candidates(claimed, columns, labels)
        if len(groups) != 1 or any(_damaged(h, columns) for h in claimed):
            continue
        for heading in groups[0]:
            other = other_quantity(heading.words, _column_of(heading, columns))
            why = f"not used: {other!r} says another quantity than {_column_of(heading, columns)}"
            claimed[heading.position] = replace(heading, evidence=why) if other else _claimed(heading, columns)
    return tuple(claimed)


def _damaged(heading: Heading, columns: Sequence[str]) -> bool:
    """Return whether a heading that is not understood begins with the word of a wanted column: "Diffracted (uW-"."""
    words = plain_words(heading.header).split()
    torn = not heading.column and not heading.settled and heading.own_unit is None
    return torn and bool(set("([") & set(heading.header)) and word_meaning("".join(words[:1])) in columns


def candidates(found: Sequence[Heading], columns: Sequence[str], labels: Collection[str] = ()) -> list[list[Heading]]:
    """Return the unclaimed headings whose unit is of a kind of ``columns``; repeats of one thing are one group.

    Where lines are told by name, headings that carry such a name come before those that do not.
    """
    free = [h for h in found if not h.column and not h.settled and h.own_unit and _column_of(h, columns)]
    named = [h for h in free if h.marks.label in labels and h.marks.label]
    free = named or [h for h in free if not names_another_line(h.words, labels)]
    groups: dict[tuple[str, str], list[Heading]] = {}
    for heading in free:
        kind = heading.own_unit.kind if heading.own_unit else ""
        groups.setdefault((heading.words, kind), []).append(heading)
    return [part for group in groups.values() for part in _apart(group)]


def _apart(group: list[Heading]) -> list[list[Heading]]:
    """Return the group whole when marks tell its headings apart, else each heading alone."""
    return [group] if len({h.marks for h in group}) == len(group) else [[h] for h in group]


def _column_of(heading: Heading, columns: Sequence[str]) -> str:
    """Return the first of the columns that the heading's own unit can be read as, "" for none."""
    unit = heading.own_unit
    if unit is None:
        return ""
    pair = heading.marks.part in ("min", "max")
    return next(
        (c for c in columns if unit.kind in kinds_of(c) or (pair and c == "rf_level_vrms" and unit.kind == "voltage")),
        "",
    )


def _claimed(heading: Heading, columns: Sequence[str]) -> Heading:
    column, unit = _column_of(heading, columns), heading.own_unit
    reads = "drive_v" if unit is not None and unit.kind not in kinds_of(column) else ""
    evidence = f"the only column in {spoken(unit)}; unit {heading.unit_evidence}"
    return replace(
        heading, column=column, unit=unit, evidence=evidence, reads=reads, in_cells=IN_CELLS in heading.unit_evidence
    )


def spoken(unit: Unit | None) -> str:
    """Return a kind of unit in words."""
    return "" if unit is None else _SPOKEN.get(unit.kind, unit.kind)
