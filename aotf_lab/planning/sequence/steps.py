"""What is wanted: which line, how long, with what weight."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.given import given, given_list, given_number

__all__ = ["OFF", "PARK", "Step", "Steps", "as_steps"]

PARK, OFF = "park", "off"
"""Names of the two dark steps: the oscillator at a park frequency, or RF switched off."""


@dataclass(frozen=True)
class Step:
    """One step: ``line`` by name, ``PARK`` or ``OFF``; ``dwell_us`` of good light; ``weight`` of its light energy."""

    line: str
    dwell_us: float
    weight: float = 1.0

    def __post_init__(self) -> None:
        given(self.line, str, "line of a step", f"the name of a line, {PARK!r} or {OFF!r}", "name it")
        given_number(self.dwell_us, f"dwell of step {self.line}", "us", above=0)
        given_number(self.weight, f"weight of step {self.line}", above=0)

    @property
    def dark(self) -> bool:
        """Whether no line is wanted."""
        return self.line in (PARK, OFF)


Steps: TypeAlias = Mapping[str, float] | Iterable[Step | tuple[str, float]]
"""Steps, or pairs of name and dwell (us), or name -> dwell (us)."""


def as_steps(steps: Steps) -> tuple[Step, ...]:
    """Return the steps; raises ``AotfLabError`` for fewer than two or a weight or dwell that is not above zero.

    >>> as_steps({"D": 50.0, "park": 20.0})
    (Step(line='D', dwell_us=50.0, weight=1.0), Step(line='park', dwell_us=20.0, weight=1.0))
    """
    allowed, cure = "steps, or pairs of name and dwell (us)", 'write {"D": 50.0, "park": 20.0}'
    several = steps.items() if isinstance(steps, Mapping) else given_list(steps, "steps", allowed, cure)
    found = tuple(s if isinstance(s, Step) else _step(s, allowed, cure) for s in several)
    if len(found) < 2 or len({s.line for s in found}) < 2:
        raise AotfLabError(
            "a sequence without a change", found=Said(", ".join(s.line for s in found) or "no steps"),
            allowed="two different steps or more", cure="add a line, or a step of park or off",
        )  # fmt: skip
    return found


def _step(pair: object, allowed: str, cure: str) -> Step:
    two = tuple(given_list(pair, "one of steps", allowed, cure))
    if len(two) != 2:
        raise AotfLabError("one of steps", found=Said(str(two)), allowed=allowed, cure=cure)
    return Step(two[0], given_number(two[1], f"dwell of step {two[0]}", "us", above=0))
