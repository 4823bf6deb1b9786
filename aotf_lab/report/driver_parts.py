"""What was measured of the driver in one session: each part, or None where it was not, or could not be computed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from aotf_lab.driver.level import Level, SafeSupply
from aotf_lab.driver.match import Match
from aotf_lab.driver.stability import Pushing, Stability, WarmUp
from aotf_lab.driver.waveform import Waveform
from aotf_lab.session import Session

__all__ = ["Driver", "driver_of", "nothing_computed", "part_of"]


@dataclass(frozen=True)
class Driver:
    """The parts; ``good`` are the traces that are used, by file name, ``unused`` those whose checks forbid it.

    ``safe`` is None where ``withheld`` says why no supply is called safe; ``trusts_pad`` that it rests on a pad and a
    probe that nothing stated of the amplifier bears out.
    """

    safe: SafeSupply | None
    withheld: str
    level: Level | None
    match: Match | None
    warm_up: WarmUp | None
    stability: Stability | None
    pushing: Pushing | None
    good: Mapping[str, Waveform] = field(default_factory=dict)
    unused: Mapping[str, Waveform] = field(default_factory=dict)
    trusts_pad: bool = False


def driver_of(session: Session, safe: SafeSupply | None, withheld: str, trusts_pad: bool = False) -> Driver:
    """Return what was measured of the session's driver."""
    waves = part_of(session, "waveforms") or {}
    return Driver(
        safe,
        withheld,
        level=part_of(session, "level"),
        match=part_of(session, "match"),
        warm_up=part_of(session, "warm_up"),
        stability=part_of(session, "stability"),
        pushing=part_of(session, "pushing"),
        good={name: w for name, w in waves.items() if not w.withheld},
        unused={name: w for name, w in waves.items() if w.withheld},
        trusts_pad=trusts_pad,
    )


def nothing_computed(session: Session) -> bool:
    """Return whether no curve at all can be computed from the session."""
    found = [part_of(session, part) for part in session.parts if part != "all_readings"]
    return all(part is None or part == {} for part in found)


def part_of(session: Session, name: str) -> Any:
    """Return a part, None where the session has no file for it: to ask for that would be a trouble."""
    return session.part(name) if name in session.parts else None
