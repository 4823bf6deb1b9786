"""The scans of a line against each other, and the readings at its peak against them."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from itertools import combinations

import numpy as np

from aotf_lab.session.contradictions.contradiction import Contradiction, ReadFile

__all__ = ["against_scans"]

_Range = tuple[float, float]


def against_scans(reads: Sequence[ReadFile], exchanged: Collection[str] = ()) -> Iterator[Contradiction]:
    """Yield scans of one line that have nothing in common, and an efficiency measured where its line was not scanned.

    A file that is named for the wrong line shows so before any curve is fitted. Of lines whose labels were
    ``exchanged`` the scans are in doubt, and nothing is held against them.
    """
    scans: dict[str, list[tuple[ReadFile, _Range]]] = {}
    for read in reads:
        if read.file.purpose == "scan" and read.file.line is not None and (span := _range(read)) is not None:
            scans.setdefault(read.file.line, []).append((read, span))
    for line, own in scans.items():
        for (a, first), (b, second) in combinations(own, 2):
            if _gap(first, second) > max(_width(first), _width(second)):
                yield Contradiction(
                    "two scans of one line far apart", f"{a.name}, {b.name}", f"{_said(first)} and {_said(second)}",
                    f'line = "{line}"',
                    "one of the two is of another line: correct its line, or name the file that was meant", True,
                )  # fmt: skip
    for read in reads:
        if read.file.line in exchanged:
            continue
        scanned = [span for _, span in scans.get(read.file.line or "", [])]
        span = _range(read) if read.file.purpose == "efficiency" else None
        if span is None or not scanned or any(_gap(span, own) <= _width(own) for own in scanned):
            continue
        yield Contradiction(
            "an efficiency measured where its line was not scanned", read.name, _said(span),
            f'line = "{read.file.line}", scanned over {" and ".join(map(_said, scanned))}',
            _cure(read, span, scans), True,
        )  # fmt: skip


def _range(read: ReadFile) -> _Range | None:
    if not read.has("frequency_mhz"):
        return None
    frequency = read.readings.table["frequency_mhz"].to_numpy(dtype=float)
    known = frequency[np.isfinite(frequency)]
    return (float(known.min()), float(known.max())) if known.size else None


def _width(span: _Range) -> float:
    return span[1] - span[0]


def _gap(a: _Range, b: _Range) -> float:
    """Return how far apart two ranges are, below zero where they overlap."""
    return max(a[0], b[0]) - min(a[1], b[1])


def _said(span: _Range) -> str:
    return f"{span[0]:.5g} to {span[1]:.5g} MHz"


def _cure(read: ReadFile, span: _Range, scans: dict[str, list[tuple[ReadFile, _Range]]]) -> str:
    """Return what to do, with the line among whose scans the file lies."""
    near = [line for line, own in scans.items() if any(_gap(span, other) <= 0.0 for _, other in own)]
    if not near:
        return "correct line, or name the file that was meant"
    return f"correct line: {read.name} lies where line {' and '.join(near)} was scanned"
