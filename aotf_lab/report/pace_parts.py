"""What a session says of time and of the generator: each part, or None where there is nothing to say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from aotf_lab.estimation import Check
from aotf_lab.planning.generator import GeneratorSettings
from aotf_lab.planning.generator.made import least_sure
from aotf_lab.planning.next_reading import NextReadings
from aotf_lab.report.driver_parts import part_of
from aotf_lab.report.words import of_line
from aotf_lab.session import Session
from aotf_lab.session.timing import Played
from aotf_lab.timing.depth import ModulationDepth
from aotf_lab.timing.edge import Edge
from aotf_lab.timing.sweep import SweepLimits

__all__ = ["Pace", "pace_checks", "pace_of"]


@dataclass(frozen=True)
class Pace:
    """The parts; ``levels`` holds what to type for each line alone, ``plays`` what comes of each [[play]]."""

    edge: Mapping[str, Edge]
    modulation_depth: Mapping[str, ModulationDepth]
    sweep: SweepLimits | None
    levels: Mapping[str, GeneratorSettings]
    plays: Mapping[str, Played]
    advice: NextReadings | None


def pace_of(session: Session, safe: bool) -> Pace:
    """Return what the session says of time; a play that needs a supply is left out where none is called ``safe``."""
    plays = part_of(session, "plays") or {}
    return Pace(
        edge=part_of(session, "edge") or {},
        modulation_depth=part_of(session, "modulation_depth") or {},
        sweep=part_of(session, "sweep"),
        levels=part_of(session, "levels") or {},
        plays={n: p for n, p in plays.items() if safe or isinstance(p, GeneratorSettings)},
        advice=part_of(session, "advice"),
    )


def pace_checks(pace: Pace) -> Iterator[tuple[str, Check, float | None]]:
    """Yield (part, check, frequency near which the passband counts).

    What fails alike for several lines or plays is told once, in the words of the one with most at stake of those that
    say what to do.
    """
    for name, edge in pace.edge.items():
        yield from ((f"Edge{of_line(name)}", c, None) for c in edge.fit.checks)
    for name, depth in pace.modulation_depth.items():
        yield from ((f"Modulation depth{of_line(name)}", c, None) for c in depth.fit.checks)
    owners: dict[str, Played] = {f"line {name}": level for name, level in pace.levels.items()}
    yield from _together(owners | {f'"{name}"': play for name, play in pace.plays.items()})


def _together(owners: Mapping[str, Played]) -> Iterator[tuple[str, Check, float | None]]:
    """Yield each check that passed, and of the failed ones the first of each name with all that it failed for."""
    failed: dict[str, list[tuple[str, Check]]] = {}
    for owner, played in owners.items():
        for check in played.checks:
            if check.passed:
                yield f"Generator, {owner}", check, None
            else:
                failed.setdefault(check.name, []).append((owner, check))
    for found in failed.values():
        names = ", ".join(owner for owner, _ in found)
        owner, check = max(found, key=lambda pair: ("; " in pair[1].detail, pair[1].at_stake_mhz or 0.0))
        yield f"Generator, {names}", check, _frequency_mhz(owners[owner])


def _frequency_mhz(played: Played) -> float | None:
    """Return the frequency of the line of a wave of levels that its generator may move furthest."""
    if not isinstance(played, GeneratorSettings):
        return None
    lit = [m for m in played.made if m.wanted.fwhm_mhz is not None]
    return float(least_sure(lit).wanted.frequency_mhz.n) if lit else None
