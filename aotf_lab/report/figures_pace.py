"""The report's figures of time: an edge, depth of modulation, a play against time."""

from __future__ import annotations

from collections.abc import Iterator

from aotf_lab.planning.sequence import Sequence
from aotf_lab.report.figures import ReportFigure
from aotf_lab.report.figures_driver import small_figure
from aotf_lab.report.pace_parts import Pace

__all__ = ["pace_figures"]


def pace_figures(pace: Pace) -> list[ReportFigure]:
    """Return the figures of time, all of them small: of the first edge, the first depth, the first sequence."""
    return [*_edge(pace), *_depth(pace), *_sequence(pace)]


def _edge(pace: Pace) -> Iterator[ReportFigure]:
    for edge in list(pace.edge.values())[:1]:
        yield small_figure(
            "edge",
            lambda ax, edge=edge: edge.plot(ax),
            "Light switched by a step at the oscillator's port, with the fit of a Gaussian beam behind its poles.",
            f"The light follows the drive after a delay and takes {edge.shown_rise_us:.2g} µs from 10 to 90 %, of "
            f"which the beam alone takes {(edge.rise_us or edge.fall_us or edge.transit_us).n:.2g} µs.",
        )


def _depth(pace: Pace) -> Iterator[ReportFigure]:
    for depth in list(pace.modulation_depth.values())[:1]:
        yield small_figure(
            "modulation depth",
            lambda ax, depth=depth: depth.plot(ax),
            "Depth of modulation against its frequency, with the law of a Gaussian beam behind the port's pole.",
            f"The depth falls to half of that at rest at {depth.half_khz.n:.0f} kHz.",
        )


def _sequence(pace: Pace) -> Iterator[ReportFigure]:
    for name, play in pace.plays.items():
        if isinstance(play, Sequence):
            yield small_figure(
                "sequence",
                lambda ax, play=play: play.plot(ax),
                f"One cycle of \u201c{name}\u201d: volts at the port, and the light of each line; bars: good light.",
                f"{len(play.turns)} steps in {play.cycle_us:.0f} µs: {', '.join(play.order)}.",
            )
            return
