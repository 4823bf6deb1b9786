"""The checklist before RF goes on, with the bench's own numbers: as text, and as one page to tape to the bench."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

from aotf_lab.estimation.wrapped import hung
from aotf_lab.reading.atomic import write_text_atomically
from aotf_lab.report.page import rendered
from aotf_lab.report.preflight_missing import missing_rows
from aotf_lab.report.preflight_rows import LIMIT_HEADS, PART_HEADS, limit_rows, part_rows, rounded_down
from aotf_lab.report.preflight_words import (
    OFF_STEPS,
    caution_lines,
    damage_words,
    load_lines,
    on_steps,
    warning_lines,
)
from aotf_lab.report.words import joined
from aotf_lab.session import Session, require_output
from aotf_lab.session.before_rf import BeforeRf, before_rf

__all__ = ["Preflight", "preflight", "write_preflight"]


@dataclass(frozen=True)
class Preflight:
    """The checklist of one session in words; ``verdict`` is its first line.

    ``limits`` are rows of name, value and source; ``parts`` of part, what it takes, what it may take and verdict,
    those beyond first; ``missing`` of a key of session.toml and what its absence costs.
    """

    name: str
    verdict: str
    may_switch_on: bool
    limits: tuple[tuple[str, str, str], ...]
    parts: tuple[tuple[str, str, str, str], ...]
    warnings: tuple[str, ...]
    load: tuple[str, ...]
    on: tuple[str, ...]
    off: tuple[str, ...]
    cautions: tuple[str, ...]
    missing: tuple[tuple[str, str], ...]

    def __str__(self) -> str:
        """Return the text: the verdict on its first line, boxes to tick."""
        parts = [
            self.verdict,
            f"Before RF goes on: {self.name}",
            _section("Limits", _aligned(self.limits)),
            _section("What each part takes, at the most that this session makes", _aligned((PART_HEADS, *self.parts))),
            *([_section("Beware", _items("!", self.warnings))] if self.warnings else []),
            _section("The load", _items("[ ]", self.load[:1]) + _items("   ", self.load[1:])),
            _section("Switch on, in this order", _steps(self.on)),
            _section("Switch off, in this order", _steps(self.off)),
            _section("Lasers, RF, mains", _items("[ ]", self.cautions)),
            _section("Not stated in session.toml, and what that costs", _missing(self.missing)),
        ]
        return "\n\n".join(parts)

    def html(self) -> str:
        """Return the same as one HTML page that needs no other file and prints on one sheet."""
        heads = {"limit_heads": LIMIT_HEADS, "part_heads": PART_HEADS}
        return rendered("preflight.html", found=self, **heads, version=version("aotf-lab"))

    def _repr_html_(self) -> str:
        return self.html()


def preflight(session: Session) -> Preflight:
    """Return the checklist of ``session``; what cannot be computed stands in it as a reason to stay off."""
    found = before_rf(session)
    return Preflight(
        " ".join((found.facts.name or found.facts.folder.name).split()),
        _verdict(found), found.may_switch_on, tuple(limit_rows(found)), tuple(part_rows(found)),
        tuple(warning_lines(found)), tuple(load_lines(found)), tuple(on_steps(found)), OFF_STEPS,
        tuple(caution_lines(found)), tuple(missing_rows(found)),
    )  # fmt: skip


def write_preflight(session: Session, out: str | Path) -> Preflight:
    """Write the checklist of ``session`` to ``out`` as a page, and return it.

    Raises ``SessionError`` when ``out`` is a file of the session or its folder is missing.
    """
    target = require_output(session.facts, out)
    found = preflight(session)
    write_text_atomically(target, found.html())
    return found


def _verdict(found: BeforeRf) -> str:
    """Return the one line that scripts may rely on: what would be damaged comes first."""
    start = found.start
    if start is None or found.damaged:
        limit = [f"the crystal's limit could be exceeded: {found.withheld}"] if start is None else []
        return "DO NOT SWITCH ON: " + " ".join("; ".join([*map(damage_words, found.damaged), *limit]).split())
    unknown = list(dict.fromkeys(s.part for s in found.strains if s.verdict == "not stated"))
    known = f"up to {rounded_down(start.safe.supply_v)} V of supply the crystal stays below {start.safe.limit_w:g} W"
    known += " if pad and probe are as stated (see Beware)" if found.trusts_pad else ""
    at_limit = list(dict.fromkeys(s.part for s in found.at_limit))
    if at_limit:
        known += f"; AT ITS LIMIT, see Beware: {joined(at_limit)}"
    if not unknown and not at_limit:
        return f"NO OBJECTION: {known}, and every part within its limit"
    if not unknown:
        return f"NO OBJECTION: {known}; every other part within its limit"
    return f"NO OBJECTION: {known}; what these may take is not stated: {joined(unknown)}"


def _section(title: str, lines: Iterable[str]) -> str:
    return "\n".join([title, *lines])


def _aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return rows with their cells under each other; the last cell wraps."""
    if not rows:
        return []
    wide = [max(len(row[k]) for row in rows) for k in range(len(rows[0]) - 1)]
    heads = ["  " + "".join(f"{c:<{w}}  " for c, w in zip(row, wide, strict=False)) for row in rows]
    return [hung(row[-1], head, len(head)) for row, head in zip(rows, heads, strict=True)]


def _items(mark: str, lines: Sequence[str]) -> list[str]:
    head = f"  {mark} "
    return [hung(line, head, len(head)) for line in lines]


def _missing(rows: Sequence[tuple[str, str]]) -> list[str]:
    return _items("-", [f"{keys}: {cost}" for keys, cost in rows] or ["nothing"])


def _steps(lines: Sequence[str]) -> list[str]:
    return [hung(line, f"  [ ] {n}. ", 9) for n, line in enumerate(lines, 1)]
