"""What a [[play]] of session.toml asks the generator to play."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from aotf_lab.reading.toml_section import Section

__all__ = ["DARK", "Play", "play_facts"]

DARK = ("park", "off")
"""Names of dark steps in place of a line: the oscillator at its park frequency, or the RF switched off."""


@dataclass(frozen=True)
class Play:
    """Lines by name, or a dark step, in the order stated.

    Without times it is a level, a square wave or a list of levels; with ``dwell_us`` (one a step) a sequence; with
    ``rate_khz`` a sine over the lines. ``equal_light`` shares the dwells out so that each line gives the same energy.
    """

    name: str
    lines: tuple[str, ...]
    dwell_us: tuple[float, ...] | None = None
    rate_khz: float | None = None
    equal_light: bool = False

    @property
    def lit(self) -> tuple[str, ...]:
        """The lines, without dark steps."""
        return tuple(line for line in self.lines if line not in DARK)


def play_facts(section: Section, names: Sequence[str]) -> Play:
    """Return what the section asks for; ``names`` are the lines of session.toml.

    Raises ``SessionError`` for a line that is none, dwells that do not match the steps, a sine with dwells or dark
    steps, and RF off without dwells.
    """
    lines = section.texts("lines")
    allowed = ", ".join([*names, *DARK])
    for line in lines:
        if line not in (*names, *DARK):
            raise section.refuse("lines", f"no such line: {line}", allowed, "add the [[line]], or correct the name")
    name = section.text("name", " ".join(lines))
    dwell, rate = section.numbers("dwell_us", None, above=0), section.number("rate_khz", None, above=0)
    equal = section.flag("equal_light", False)
    section.close()
    play = Play(name, lines, dwell, rate, equal)
    if not play.lit:
        raise section.refuse("lines", "none that gives light", allowed, "name a line")
    if dwell is not None and not section.is_list("dwell_us"):
        dwell = dwell * len(lines)
    if dwell is not None and len(dwell) != len(lines):
        raise section.refuse("dwell_us", "another number of dwells than of lines",
                             f"a list of {len(lines)}, or one number for all, without brackets",
                             "give one for each step, or one for all")  # fmt: skip
    if rate is not None and (dwell is not None or play.lit != lines):
        raise section.refuse("rate_khz", "a sine has neither dwells nor dark steps", "rate_khz with lines alone",
                             "delete the dwells and dark steps, or rate_khz")  # fmt: skip
    if dwell is None and ("off" in lines or equal):
        raise section.refuse("lines" if "off" in lines else "equal_light", "needs dwells", "dwell_us beside it",
                             "state dwell_us, or park the oscillator instead")  # fmt: skip
    return Play(name, lines, dwell, rate, equal)
