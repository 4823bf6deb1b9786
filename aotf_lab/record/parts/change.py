"""A part was changed: which results stay, which are void, and the shortest set of readings that restores them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.given import given
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.given import given_crystal, given_oscillator
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.parts.concerned import concerned, size_of_change
from aotf_lab.record.parts.cover import shortest_set
from aotf_lab.record.parts.known import GONE, Part, Restoring, Result, parts, results

__all__ = ["Outcome", "PartsChange", "change_of_parts"]

_WORDS = {"stays": "stays", "check": "check", "renew": "renew", "void": "VOID", "again": "compute again"}


@dataclass(frozen=True)
class Outcome:
    """What becomes of one result.

    ``verdict`` is "stays", "check" (it probably stands: look once), "renew" (it moved as a whole), "void", or "again"
    (computed from results of which one has to be restored). ``restored_by`` is what restores it; None where nothing is
    to be read. ``concerns`` names the kept calibration, its raw files and lines.
    """

    result: Result
    verdict: str
    reason: str
    restored_by: Restoring | None = None
    concerns: str = ""

    def __str__(self) -> str:
        by = "" if self.restored_by is None else f"; restored by {self.restored_by.do}"
        return f"{_WORDS[self.verdict]}: {self.reason}{by}" + (f" [{self.concerns}]" if self.concerns else "")


@dataclass(frozen=True)
class PartsChange:
    """What a change of a part means, made by ``change_of_parts``.

    ``outcomes`` has every result, ``readings`` the shortest set of readings in the order in which they are taken.
    """

    part: Part
    line: str
    outcomes: tuple[Outcome, ...]
    readings: tuple[Restoring, ...]

    @property
    def minutes(self) -> float:
        """How long the readings take together."""
        return sum(r.minutes for r in self.readings)

    @property
    def count(self) -> int:
        """How many readings they are together."""
        return sum(r.readings for r in self.readings)

    def with_verdict(self, verdict: str) -> tuple[Outcome, ...]:
        """Return the results with this verdict."""
        return tuple(o for o in self.outcomes if o.verdict == verdict)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (result, what becomes of it), the worst first."""
        worst_first = sorted(self.outcomes, key=lambda o: -GONE.get(o.verdict, 0.5))
        return tuple((o.result.name, str(o)) for o in worst_first)

    def said(self) -> tuple[str, ...]:
        """Return what to mind first, then each set of readings."""
        told = [f"first: {self.part.first}", *(f"{k}. {r}" for k, r in enumerate(self.readings, 1))]
        total = f"{self.count} readings in {self.minutes:g} min restore all that can be restored"
        return (*told, total if self.readings else "nothing is to be read anew")

    def _title(self) -> str:
        return f"Changed: {self.part.name}" + (f" ({self.line})" if self.line else "")

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), self.said())

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), self.said())


def change_of_parts(
    part: str,
    *,
    line: str = "",
    oscillator: OscillatorRecord | None = None,
    crystal: CrystalRecord | None = None,
) -> PartsChange:
    """Return what a change of ``part`` (a key of ``parts()``) means for the results of a bench.

    ``line`` names the line of a changed laser. With kept calibrations given, the outcomes name them, their raw files
    and their lines, and say how much a change of the supply or the temperature moves the frequency. Raises
    ``AotfLabError`` for a part that is not known, and for a line that the crystal's calibration does not have.
    """
    if oscillator is not None:
        given_oscillator(oscillator)
    if crystal is not None:
        given_crystal(crystal)
    given(part, str, "part", "the name of a part", "name one: change_of_parts('laser', line='E')")
    if part not in parts():
        raise AotfLabError(
            "no such part of a bench", found=part, allowed=", ".join(parts()), cure="name one of these parts"
        )
    if line and crystal is not None and line not in crystal.lines:
        raise AotfLabError(
            "no such line in the calibration of the crystal", where=f"{crystal.name}, {crystal.measured}", found=line,
            allowed=", ".join(crystal.lines), cure="name one of these lines",
        )  # fmt: skip
    known = parts()[part]
    verdicts = _verdicts(known)
    gone = {key: GONE[how] for key, (how, _) in verdicts.items() if GONE.get(how, 0) > 0}
    readings = shortest_set(gone)
    outcomes = []
    for key, (how, reason) in verdicts.items():
        result = results()[key]
        by = next((r for r in readings if key in gone and r.restores.get(key, 0) >= gone[key]), None)
        size = size_of_change(part, key, oscillator, crystal) if how != "stays" else ""
        own = line if how in ("check", "renew", "void") else ""
        outcomes.append(Outcome(result, how, reason + size, by, concerned(result, oscillator, crystal, own)))
    return PartsChange(known, line, tuple(outcomes), readings)


def _verdicts(part: Part) -> Mapping[str, tuple[str, str]]:
    """Return result -> (verdict, reason), for what is computed from others too."""
    found: dict[str, tuple[str, str]] = {}
    for key, result in results().items():
        if not result.inputs:
            found[key] = part.effects.get(key, ("stays", result.stays))
            continue
        moved = [results()[i].name for i in result.inputs if found[i][0] != "stays"]
        reason = f"computed from {', '.join(moved)}" if moved else "all that it is computed from stays"
        found[key] = ("again" if moved else "stays", reason)
    return found
