"""The report's figures as SVG, with a caption and an alternative text each."""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from aotf_lab.crystal import Efficiency
from aotf_lab.crystal.efficiency.curve import FULL, INTERVAL, SLOPE_ONLY
from aotf_lab.crystal.efficiency.law import drive_law
from aotf_lab.drawing import (
    figure_to_svg,
    legend_above,
    legend_in_words,
    lightened,
    mark_found_lines,
    mark_rated_power,
    new_figure,
    plot_light_residuals,
    plot_residuals,
)
from aotf_lab.driver import Vco
from aotf_lab.physics.coupled_waves import detuning_for_light
from aotf_lab.report.words import measured
from aotf_lab.session import Session

__all__ = ["PAGE", "PAIR", "QUARTER", "WIDTHS_IN", "ReportFigure", "encoded", "in_rows", "report_figures"]

Floats = NDArray[np.float64]

_FIVE_PERCENT = float(detuning_for_light(0.95))
"""Share of the FWHM at which 5 % of the light is lost."""


PAGE, PAIR, QUARTER = "page", "pair", "quarter"
"""How broad a figure stands on the page: alone, two or four beside each other."""

WIDTHS_IN = {PAGE: 7.4, PAIR: 3.67, QUARTER: 1.81}
"""Their widths as printed, so that letters print in the size in which they are drawn."""

_LEVELS = {
    FULL: "The drive reached the most light.",
    INTERVAL: "The drive ended short of the most light: shaded, where the saturation power may lie.",
    SLOPE_ONLY: "The drive was too low to tell a saturation power.",
}

_SMALL = 0.65
"""How thick lines and marks are in the narrowest figures."""


@dataclass(frozen=True)
class ReportFigure:
    """A figure: base64 of its SVG, what it shows, the same for someone who cannot see it, and how broad it stands.

    ``key`` is its legend in words where it holds none, told once for all figures that share it.
    """

    svg: str
    caption: str
    alt: str
    width: str = PAGE
    key: str = ""


def report_figures(session: Session) -> list[ReportFigure]:
    """Return the figures of everything that could be computed."""
    return [*_oscillator(session), *_scans(session), *_tuning(session), *_efficiency(session), *_modulators(session)]


def in_rows(figures: Iterable[ReportFigure]) -> list[tuple[str, str, list[ReportFigure]]]:
    """Return the figures in their order, those beside each other together: how broad, their key, and they."""
    runs = groupby(figures, key=lambda f: (f.width, f.key))
    return [(width, key, list(run)) for (width, key), run in runs]


def encoded(svg: str) -> str:
    """Return SVG text as an image's data URL holds it."""
    return base64.b64encode(svg.encode()).decode()


def _oscillator(session: Session) -> Iterator[ReportFigure]:
    vco = session.curves.vco
    if vco is None:
        return
    figure, (top, bottom) = new_figure(2, (3, 1), height_in=4.1, width_in=WIDTHS_IN[PAGE])
    vco.plot(top)
    top.set_xlabel("")
    plot_residuals(
        *_vco_residuals(vco),
        x_column="drive_v",
        five_percent_mhz=_guide(session, vco.range_mhz),
        half_band=_half_band(vco.band, vco.range_v),
        ax=bottom,
    )
    (low_v, high_v), (low, high) = vco.range_v, vco.range_mhz
    yield ReportFigure(
        encoded(figure_to_svg(figure, "oscillator")),
        "Oscillator: frequency against drive voltage; below, readings minus curve and the 95 % band of the curve.",
        f"Frequency rises from {low:.1f} MHz at {low_v:.2f} V to {high:.1f} MHz at {high_v:.2f} V.",
    )


def _vco_residuals(vco: Vco) -> tuple[Floats, Floats, Floats]:
    table = vco.readings.table
    drive = table["drive_v"].to_numpy(float)
    inside = np.clip(drive, *vco.range_v)
    fitted = np.array([f.n for f in vco.frequency(inside)])
    u = table["u_frequency_mhz"].to_numpy(float)
    return drive, table["frequency_mhz"].to_numpy(float) - fitted, np.nan_to_num(u)


def _half_band(band: Callable[..., tuple[Floats, Floats]], ends: tuple[float, float]) -> tuple[Floats, Floats]:
    grid = np.linspace(*ends, 120)
    low, high = band(grid)
    return grid, (high - low) / 2


def _guide(session: Session, range_mhz: tuple[float, float]) -> float | None:
    fwhm = session.curves.fwhm_mhz(sum(range_mhz) / 2)
    return None if fwhm is None else _FIVE_PERCENT * fwhm


def _tuning(session: Session) -> Iterator[ReportFigure]:
    tuning = session.curves.tuning
    if tuning is None:
        return
    figure, (top, bottom) = new_figure(2, (3, 1), height_in=4.1, width_in=WIDTHS_IN[PAGE])
    tuning.plot(top)
    found = _found_lines(session)
    if found:
        mark_found_lines(top, found)
    top.set_xlabel("")
    lines_nm = tuning.readings.table["wavelength_nm"].to_numpy(float)
    plot_residuals(
        lines_nm,
        tuning.residuals_mhz,
        tuning.u_residuals_mhz,
        x_column="wavelength_nm",
        five_percent_mhz=_guide(session, tuning.range_mhz),
        half_band=_half_band(tuning.band, tuning.range_nm),
        ax=bottom,
    )
    (low_nm, high_nm), (low, high) = tuning.range_nm, tuning.range_mhz
    yield ReportFigure(
        encoded(figure_to_svg(figure, "tuning")),
        "Crystal: frequency against wavelength; below, lines minus curve (bars: u of wavelength and frequency "
        "together) and the 95 % band of the curve.",
        f"Frequency falls from {high:.1f} MHz at {low_nm:.0f} nm to {low:.1f} MHz at {high_nm:.0f} nm.",
    )


def _found_lines(session: Session) -> dict[str, tuple[float, float]]:
    """Return wavelength and frequency of the lines whose wavelength was found from their peak."""
    scans = session.curves.scans
    return {name: (value.n, scans[name].centre_mhz.n) for name, value in session.found_nm.items()}


def _efficiency(session: Session) -> Iterator[ReportFigure]:
    lines = session.curves.efficiency
    for name, curve in lines.own.items() if lines is not None else ():
        figure, (top, bottom) = new_figure(2, (5, 2), height_in=3.55, width_in=WIDTHS_IN[PAIR])
        curve.plot(top)
        top.set_title(f"Line {name}: {curve.level}", fontsize="medium", loc="left")
        top.set_xlabel("")
        if session.curves.rated_rf_power_w is not None:
            mark_rated_power(top, session.curves.rated_rf_power_w)
        legend_above(top)
        plot_light_residuals(*_light_residuals(curve), ax=bottom)
        yield ReportFigure(
            encoded(figure_to_svg(figure, f"efficiency {name}")),
            f"Efficiency of line {name} against RF power; below, readings minus curve in percent of the light. "
            f"{_LEVELS.get(curve.level, '')}".strip(),
            f"Efficiency of line {name} against RF power, {_course(curve)}.",
            PAIR,
        )


def _course(curve: Efficiency) -> str:
    """Return how the efficiency goes with RF power, in words with numbers."""
    top = curve.range_w[1]
    if curve.level == SLOPE_ONLY:
        last = float(drive_law(np.array([top]), curve.slope_per_w.n, curve.curvature.n)[0])
        return f"rising to {last:.2f} at {top:.2g} W, the highest measured"
    most, power = curve.peak_efficiency.n, curve.saturation_power_w.n
    measured_to = "" if curve.level == FULL else ", beyond what was measured"
    return f"measured up to {top:.2g} W; the most, {most:.2f}, at {power:.3g} W{measured_to}"


def _light_residuals(curve: Efficiency) -> tuple[Floats, Floats, Floats]:
    """Return power (W), and reading minus curve with u in percent of the light there, without the dark readings."""
    drive = curve.drive
    fitted = drive_law(drive.power_w, curve.slope_per_w.n, curve.curvature.n)
    lit = fitted > 0
    u = np.broadcast_to(np.nan_to_num(np.asarray(curve.problem.u_y, dtype=float)), fitted.shape)
    gap = drive.efficiency - fitted
    return drive.power_w[lit], 100 * gap[lit] / fitted[lit], 100 * u[lit] / fitted[lit]


def _scans(session: Session) -> Iterator[ReportFigure]:
    for name, scan in session.curves.scans.items():
        figure, (axes,) = new_figure(1, height_in=1.75, width_in=WIDTHS_IN[QUARTER])
        scan.plot(axes)
        key = legend_in_words(lightened(axes, _SMALL))
        axes.set_xlabel("f (MHz)")
        axes.set_ylabel("\u03a6 (mW)")
        axes.set_title(f"Line {name}", fontsize="medium", loc="left")
        yield ReportFigure(
            encoded(figure_to_svg(figure, f"scan {name}")),
            f"Line {name}: centre {measured(scan.centre_mhz, 'MHz')}, FWHM {measured(scan.fwhm_mhz, 'MHz')}.",
            f"Passband of line {name}, centred at {scan.centre_mhz.n:.3f} MHz, full width at half maximum "
            f"{scan.fwhm_mhz.n:.3f} MHz.",
            QUARTER,
            f"optical power \u03a6 against frequency f (settled: by a meter without lag); {key}",
        )


def _modulators(session: Session) -> Iterator[ReportFigure]:
    for name, modulator in session.curves.modulators.items():
        figure, (axes,) = new_figure(1, height_in=3.0, width_in=WIDTHS_IN[PAIR])
        modulator.plot(axes)
        axes.set_title(f"Line {name}", fontsize="medium", loc="left")
        legend_above(axes)
        carrier, band = modulator.carrier_mhz.n, modulator.bandwidth_mhz.n
        yield ReportFigure(
            encoded(figure_to_svg(figure, f"modulator {name}")),
            f"Light of line {name} against the carrier's frequency; shaded, where half of the most or more is left.",
            f"Best carrier {carrier:.2f} MHz; half of the light is left over {band:.2f} MHz.",
            PAIR,
        )
