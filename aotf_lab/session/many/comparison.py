"""Sessions side by side, the one that stands apart most first."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from html import escape
from pathlib import Path

import numpy as np
import pandas as pd
from uncertainties import UFloat, ufloat

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.planning.set_point import shown
from aotf_lab.reading.atomic import write_text_atomically
from aotf_lab.session.many.apart import LEAST_SESSIONS, apart, apart_limit
from aotf_lab.session.many.row import SessionRow
from aotf_lab.session.rerun.failed import failed_in_words

__all__ = ["Comparison", "Standing"]

_SHOWN = 30
_HEADS = ("Session", "Stands apart by", "Number", "Value", "Median", "Apart", "Checks", "Not computed")


@dataclass(frozen=True)
class Standing:
    """Where one session stands: ``score`` is the largest of its distances from the medians, in spreads.

    ``title`` is the number that it belongs to; None for a session without a number that others have too. ``count``
    says how many of its numbers lie beyond the limit.
    """

    row: SessionRow
    score: float
    title: str | None
    count: int


@dataclass(frozen=True, eq=False)
class Comparison:
    """The results of many sessions; made by ``compare``.

    ``sessions`` are those with numbers, the one that stands apart most first; ``without`` those that gave none, each
    with its reason. ``limit`` is what the largest of all scores exceeds by chance in two tables of a thousand.
    """

    rows: tuple[SessionRow, ...]

    @cached_property
    def titles(self) -> tuple[str, ...]:
        """The names of all numbers, in the order in which sessions bring them."""
        return tuple(dict.fromkeys(title for row in self._good for title in row.titles))

    @property
    def _good(self) -> tuple[SessionRow, ...]:
        return tuple(row for row in self.rows if not row.reason)

    @property
    def without(self) -> tuple[SessionRow, ...]:
        """The sessions that gave no number, each with its reason."""
        return tuple(row for row in self.rows if row.reason)

    @cached_property
    def _named(self) -> Counter[str]:
        return Counter(row.name for row in self.rows)

    def _called(self, row: SessionRow) -> str:
        """Return what to call a session: its name, with the folder where another has that name too."""
        if not row.name:
            return row.folder
        return row.name if self._named[row.name] == 1 else f"{row.name} ({row.folder})"

    @cached_property
    def _numbers(self) -> tuple[FloatArray, FloatArray]:
        """Return values and u (n sessions, m numbers), not a number where a session has none."""
        place = {title: k for k, title in enumerate(self.titles)}
        values, u = (np.full((len(self._good), len(place)), np.nan) for _ in range(2))
        for k, row in enumerate(self._good):
            own = [place[title] for title in row.titles]
            values[k, own], u[k, own] = row.values, row.u
        return values, u

    @cached_property
    def scores(self) -> pd.DataFrame:
        """Distance from the median in spreads (see ``apart``): a row a session, a column a number."""
        score = apart(*self._numbers)
        return pd.DataFrame(score, index=pd.Index([r.folder for r in self._good], name="folder"), columns=self.titles)

    @cached_property
    def limit(self) -> float:
        """The distance from which on a number stands apart for sure; infinite for too few sessions."""
        tests = int(np.isfinite(self.scores.to_numpy()).sum())
        return apart_limit(len(self._good), tests) if tests else float("inf")

    @cached_property
    def sessions(self) -> tuple[Standing, ...]:
        """The sessions that gave numbers, the one that stands apart most first."""
        size = np.abs(self.scores.to_numpy())
        found = []
        for row, own in zip(self._good, size, strict=True):
            judged = bool((~np.isnan(own)).any())
            top = int(np.nanargmax(own)) if judged else 0
            found.append(Standing(row, float(own[top]) if judged else 0.0, self.titles[top] if judged else None,
                                  int((own > self.limit).sum())))  # fmt: skip
        return tuple(sorted(found, key=lambda s: -s.score))

    @property
    def outliers(self) -> tuple[Standing, ...]:
        """The sessions of which a number stands apart for sure."""
        return tuple(s for s in self.sessions if s.count)

    def __getitem__(self, title: str) -> pd.DataFrame:
        """Return value, u and score of the number ``title`` in every session that has it, most apart first."""
        if title not in self.titles:
            raise AotfLabError(
                "no such number", found=title, allowed=f"one of {len(self.titles)} titles", cure="look into .titles"
            )
        column = self.titles.index(title)
        values, u = (numbers[:, column] for numbers in self._numbers)
        table = self.scores[[title]].rename(columns={title: "score"})
        table = table.assign(value=values, u=u)[["value", "u", "score"]].dropna(subset="value")
        return table.sort_values("score", key=np.abs, ascending=False)

    @property
    def table(self) -> pd.DataFrame:
        """One row a session, outliers first and those without numbers last; u in columns of their own."""
        values, u = self._numbers
        place = {row.folder: k for k, row in enumerate(self._good)}
        order = [place[s.row.folder] for s in self.sessions]
        head = pd.DataFrame(
            [(s.row.folder, s.row.name, s.score, s.title, s.count, len(s.row.failed), "; ".join(s.row.missing), "")
             for s in self.sessions]
            + [(r.folder, r.name, np.nan, None, 0, 0, "", r.reason) for r in self.without],
            columns=["folder", "name", "score", "number", "apart", "checks_failed", "not_computed", "reason"],
        )  # fmt: skip
        both = np.stack([values[order], u[order]], axis=2).reshape(len(order), -1)
        names = [name for title in self.titles for name in (title, f"u {title}")]
        return pd.concat([head, pd.DataFrame(both, columns=names)], axis=1)

    def to_csv(self, path: str | os.PathLike[str]) -> Path:
        """Write the table as CSV, atomically, and return the path."""
        target = Path(path)
        write_text_atomically(target, self.table.to_csv(index=False))
        return target

    def lines(self) -> Iterator[tuple[str, ...]]:
        """Yield each session in words: name, score, number, value, median, how many apart, checks, parts missing."""
        values, _ = self._numbers
        medians = {title: _median(values[:, k]) for k, title in enumerate(self.titles)}
        for s in self.sessions:
            failed, missing = failed_in_words(s.row.failed), ", ".join(s.row.missing)
            if s.title is None or s.row.values is None or s.row.u is None:
                yield self._called(s.row), "–", "", "", "", "0", failed, missing
                continue
            k = s.row.titles.index(s.title)
            value: UFloat | float = s.row.values[k]
            value = ufloat(s.row.values[k], s.row.u[k]) if s.row.u[k] > 0 else value
            numbers = (f"{s.score:.1f}", s.title, shown(value), f"{medians[s.title]:.6g}", f"{s.count}")
            yield (self._called(s.row), *numbers, failed, missing)

    @property
    def verdict(self) -> str:
        """One sentence: how many sessions, which of them stand apart, and how many gave no number."""
        count = f"{len(self._good)} of {len(self.rows)} sessions gave numbers"
        if not np.isfinite(self.limit):
            return f"{count}; {LEAST_SESSIONS} are the fewest that tell which of them stands apart"
        apart_words = f"{len(self.outliers)} stand apart beyond {self.limit:.1f} spreads"
        return f"{count}; {apart_words}, which chance alone does in two tables of a thousand"

    def __str__(self) -> str:
        lines = [self.verdict]
        for name, score, title, value, median, apart_count, failed, missing in list(self.lines())[:_SHOWN]:
            what = f"{title} = {value}, median {median}; {apart_count} numbers apart; " if title else ""
            lines.append(f"  {name}: {score}  {what}{failed}{'; not computed: ' * bool(missing)}{missing}")
        lines += [f"  and {len(self.sessions) - _SHOWN} more"] if len(self.sessions) > _SHOWN else []
        return text_lines([*lines, *(f"  {self._called(row)}: NO NUMBERS: {row.reason}" for row in self.without)])

    def _repr_html_(self) -> str:
        head = "".join(f"<th>{escape(name)}</th>" for name in _HEADS)
        body = ["".join(f"<td>{escape(cell)}</td>" for cell in line) for line in self.lines()]
        body += [
            f'<td>{escape(self._called(r))}</td><td colspan="{len(_HEADS) - 1}">no numbers: {escape(r.reason)}</td>'
            for r in self.without
        ]
        rows = "".join(f"<tr>{cells}</tr>" for cells in body)
        return f"<table><caption>{escape(self.verdict)}</caption><tr>{head}</tr>{rows}</table>"


def _median(values: FloatArray) -> float:
    return float(np.nanmedian(values))
