"""The report's figures of the driver: RF power, match, one trace, warm-up, Allan deviation."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from aotf_lab.drawing import figure_to_svg, legend_above, new_figure
from aotf_lab.drawing.level import mark_safe_supply
from aotf_lab.report.driver_parts import Driver
from aotf_lab.report.figures import PAIR, WIDTHS_IN, ReportFigure, encoded
from aotf_lab.report.words import joined
from aotf_lab.session import Session

__all__ = ["driver_figures", "small_figure"]


def driver_figures(session: Session, driver: Driver) -> list[ReportFigure]:
    """Return the figures of what was measured of the driver, all of them small."""
    limit_w = session.facts.crystal.rated_rf_power_w
    return [*_level(driver, limit_w), *_match(driver), *_trace(driver), *_in_time(driver)]


def small_figure(name: str, draw: Callable[..., object], caption: str, alt: str) -> ReportFigure:
    """Return the small figure that ``draw`` puts on the axes it is given."""
    figure, (axes,) = new_figure(1, height_in=2.75, width_in=WIDTHS_IN[PAIR])
    draw(axes)
    legend_above(axes)
    return ReportFigure(encoded(figure_to_svg(figure, name)), caption, alt, PAIR)


def _level(driver: Driver, limit_w: float | None) -> Iterator[ReportFigure]:
    level, safe = driver.level, driver.safe
    if level is None or not level.power_scale_known:
        return
    wall = "" if limit_w is None else "; hatched: beyond the crystal's rating"
    run_v, (low, high) = level.band_run.setting, level.range_mhz
    hot = level.hottest_mhz(run_v)
    yield small_figure(
        "level over band",
        lambda ax: level.plot(ax=ax, limit_w=limit_w),
        f"Amplifier: RF power over the band at a supply of {run_v:.4g} V, with its 95 % band{wall}.",
        f"RF power at {run_v:.4g} V from {low:.4g} to {high:.4g} MHz; highest at {hot:.1f} MHz with "
        f"{level.rf_power(run_v, hot).n:.2g} W.",
    )
    at = level.supply_run.setting
    (low_v, high_v), top = level.range_v, level.rf_power(level.range_v[1], at).n
    mark = "" if safe is None else "; broken: the highest safe supply, which the hottest frequency decides"

    def draw(ax: object) -> None:
        axes = level.plot_supply(ax=ax, limit_w=limit_w)
        if safe is not None:
            mark_safe_supply(axes, safe.supply_v)

    yield small_figure(
        "level against supply",
        draw,
        f"Amplifier: RF power against its supply at {at:.4g} MHz{wall}{mark}.",
        f"RF power at {at:.4g} MHz rises to {top:.2g} W for a supply from {low_v:.4g} to {high_v:.4g} V"
        + ("." if safe is None else f"; the highest safe supply is {safe.supply_v:.2f} V."),
    )


def _match(driver: Driver) -> Iterator[ReportFigure]:
    match = driver.match
    if match is None:
        return
    low, high = match.range_mhz
    matched = [f"{a:.1f} to {b:.1f} MHz" for a, b in match.matched_bands()]
    bands = joined(matched) if matched else "nowhere"
    yield small_figure(
        "match",
        lambda ax: match.plot(ax),
        "Crystal: return loss at its connector; shaded, what the coupler's directivity leaves open.",
        f"Return loss from {low:.4g} to {high:.4g} MHz; 10 dB or more for sure: {bands}.",
    )


def _trace(driver: Driver) -> Iterator[ReportFigure]:
    """Yield the trace of the largest power among those that passed every check, or else of all that are used."""
    passed = {name: w for name, w in driver.good.items() if not w.fit.failed} or driver.good
    powers = {name: w.rf_power_w.n for name, w in passed.items() if w.rf_power_w is not None}
    if not powers:
        return
    name = max(powers, key=lambda key: powers[key])
    wave = passed[name]
    yield small_figure(
        "trace",
        lambda ax: wave.plot(ax),
        f"Wave at the load, as the scope saw it behind pad and probe: {name}, its first periods.",
        f"A wave of {wave.wave.frequency_mhz:.4g} MHz and {wave.amplitude_v.n:.3g} V at the scope, with the fit: "
        f"{powers[name]:.2g} W in the fundamental.",
    )


def _in_time(driver: Driver) -> Iterator[ReportFigure]:
    warm_up, steady = driver.warm_up, driver.stability
    if warm_up is not None:
        drift, minutes = 1e3 * warm_up.drift_mhz.n, warm_up.time_constant_s.n / 60
        yield small_figure(
            "warm-up",
            lambda ax: warm_up.plot(ax),
            "Oscillator: warm-up, the effect of the box's temperature taken off, and the law with its 95 % band.",
            f"After power-on the frequency settles by {drift:.3g} kHz with a time constant of {minutes:.3g} min.",
        )
    if steady is not None:
        least = 1e3 * steady.deviation_mhz.min()
        yield small_figure(
            "Allan deviation",
            lambda ax: steady.plot(ax),
            "Oscillator: Allan deviation against averaging time, warm-up and temperature taken off.",
            f"The Allan deviation is least, {least:.2g} kHz, at an averaging time of {steady.best_averaging_s:.4g} s.",
        )
