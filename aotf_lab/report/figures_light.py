"""The report's figures of the light: the hunt, one drive for all lines, where to park."""

from __future__ import annotations

from collections.abc import Iterator

from aotf_lab.report.figures import ReportFigure
from aotf_lab.report.figures_driver import small_figure
from aotf_lab.report.light_parts import Light

__all__ = ["light_figures"]


def light_figures(light: Light) -> list[ReportFigure]:
    """Return the figures of the light, all of them small."""
    return [*_hunt(light), *_one_drive(light), *_park(light)]


def _hunt(light: Light) -> Iterator[ReportFigure]:
    hunt = light.hunt
    if hunt is not None:
        low, high = hunt.range_mhz
        yield small_figure(
            "hunt",
            lambda ax: hunt.plot(ax),
            "All peaks of one wide sweep, with what each is; ghosts are driven by a harmonic of the oscillator.",
            f"{len(hunt.lines)} lines and {len(hunt.ghosts)} ghosts between {low:.4g} and {high:.4g} MHz.",
        )


def _one_drive(light: Light) -> Iterator[ReportFigure]:
    drive = light.one_drive
    if drive is not None:
        yield small_figure(
            "one drive",
            lambda ax: drive.plot(ax),
            "Efficiency of every line against the amplifier's supply; hatched: above the highest safe supply.",
            f"At a supply of {drive.supply_v:.2f} V the weakest line, {drive.weakest.line}, is served best.",
        )


def _park(light: Light) -> Iterator[ReportFigure]:
    park = light.park
    if park is not None:
        yield small_figure(
            "park",
            lambda ax: park.plot(ax),
            "Light that leaks while the oscillator is parked, against frequency; hatched: what cannot be set.",
            f"Least light leaks at {park.best.at_mhz:.2f} MHz: at most {park.bound_db:.1f} dB of one line's.",
        )
