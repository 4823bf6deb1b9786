"""The numbers of the driver, with intervals and causes, as text: supply, harmonics, match, behaviour in time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
from uncertainties import nominal_value, umath

from aotf_lab.driver.waveform import Waveform
from aotf_lab.driver.waveform.shares import typical_harmonics
from aotf_lab.report.content_numbers import NumberRow, number_row
from aotf_lab.report.driver_parts import Driver
from aotf_lab.report.preflight_rows import rounded_down
from aotf_lab.report.words import causes, count, joined, measured

__all__ = ["driver_rows"]

_PLACES = 1001


def driver_rows(driver: Driver) -> list[NumberRow]:
    """Return the derived numbers of the driver with intervals and causes."""
    return [
        *_supply_rows(driver),
        *_harmonic_rows(driver),
        *_match_rows(driver),
        *_warm_up_rows(driver),
        *_steady_rows(driver),
    ]


def _supply_rows(driver: Driver) -> Iterator[NumberRow]:
    safe, level = driver.safe, driver.level
    if safe is None or level is None:
        return
    volts, where = rounded_down(safe.supply_v), f"at {safe.at_mhz:.1f} MHz, its hottest"
    yield NumberRow(
        "Highest safe supply of the amplifier", f"{volts} V", "an upper limit", f"decided by {safe.held_by}"
    )
    power = safe.rf_power_w
    yield number_row(f"RF power there, {where}", power, "W", level.fit.interval(power))
    terms = "; ".join(f"{t.name} × {t.factor:.3f} ({t.words})" for t in safe.terms)
    bound, limit = f"{100 * safe.confidence:g} % bound of that power", f"limit {safe.limit_w:g} W"
    yield NumberRow(bound, f"{safe.bound_w:.3f} W", limit, terms)
    if level.current is not None:
        heat = level.heat_w(safe.supply_v, safe.at_mhz)
        yield number_row(f"Heat of the amplifier there, {where}", heat, "W", level.fit.interval(heat))


def _harmonic_rows(driver: Driver) -> Iterator[NumberRow]:
    waves = list(driver.good.values())
    for harmonic in typical_harmonics(waves) or ():
        name = f"Harmonic {harmonic.order} of the driver, {count(len(waves), 'trace')}"
        if harmonic.share.n < 2 * harmonic.share.s:
            highest = 10.0 * np.log10(max(harmonic.share.n, 0.0) + 2 * harmonic.share.s)
            yield NumberRow(name, f"below {highest:.0f} dBc", "an upper limit", "noise of the traces")
            continue
        level = 10.0 * umath.log10(harmonic.share)
        low, high = level.n - 1.96 * level.s, level.n + 1.96 * level.s
        yield NumberRow(name, measured(level, "dBc"), f"{low:.1f} to {high:.1f}", causes(level))
    for way, found in (("rms", _excesses(waves, "rms_excess")), ("peak to peak", _excesses(waves, "vpp_excess"))):
        if found:
            name = f"RF power from volts {way}, taken for that of the fundamental, would be wrong by"
            spread = f"{min(found):+.1f} to {max(found):+.1f} % from trace to trace"
            yield NumberRow(name, f"{np.mean(found):+.1f} %", spread, "harmonics; taken out of every RF power here")


def _excesses(waves: Iterable[Waveform], name: str) -> list[float]:
    """Return the excess of power (percent) of each trace that tells it."""
    values = [getattr(wave, name) for wave in waves]
    return [100.0 * float(nominal_value(v)) for v in values if v is not None]


def _match_rows(driver: Driver) -> Iterator[NumberRow]:
    match = driver.match
    if match is None:
        return
    grid = np.linspace(*match.range_mhz, _PLACES)
    worst = float(grid[int(np.argmin(match.return_loss_db(grid)))])
    low, high = match.return_loss_bounds_db(worst)
    ends = f"{low:.1f} to " + (f"{high:.1f}" if np.isfinite(high) else "no limit")
    loss, cause = f"{match.return_loss_db(worst):.1f} dB", f"directivity of the coupler, {match.directivity_db:g} dB"
    yield NumberRow(f"Lowest return loss of the crystal, at {worst:.1f} MHz", loss, ends, cause)
    share = match.absorbed(worst)
    low_share, high_share = (1.0 - 10.0 ** (-end / 10.0) for end in (low, high))
    ends = f"{100 * low_share:.1f} to {100 * high_share:.1f}"
    yield NumberRow("Share of the power that it absorbs there", measured(100 * share, "%"), ends, causes(share))
    bands = [f"{a:.1f} to {b:.1f}" for a, b in match.matched_bands()]
    value = f"{joined(bands)} MHz" if bands else "nowhere"
    yield NumberRow("Return loss of 10 dB or more", value, "for sure", "")


def _warm_up_rows(driver: Driver) -> Iterator[NumberRow]:
    warm_up = driver.warm_up
    if warm_up is None:
        return
    interval = warm_up.fit.interval
    final = warm_up.final_mhz
    yield number_row("Settled frequency of the warm-up log", final, "MHz", interval(final))
    for tau in warm_up.time_constants_s:
        minutes = tau / 60
        yield number_row("Time constant of the warm-up", minutes, "min", interval(minutes))
    if warm_up.temperature_mhz_per_k is not None:
        slope = 1e3 * warm_up.temperature_mhz_per_k
        yield number_row("Frequency against the box's temperature", slope, "kHz/K", interval(slope))


def _steady_rows(driver: Driver) -> Iterator[NumberRow]:
    if driver.pushing is not None:
        slope = 1e3 * driver.pushing.mhz_per_v
        interval = driver.pushing.fit.interval(slope)
        yield number_row("Frequency against the oscillator's own supply (pushing)", slope, "kHz/V", interval)
    steady = driver.stability
    if steady is not None:
        best = int(np.argmin(steady.allan.deviation))
        low, here, high = (
            1e3 * steady.frequency_mhz * x[best] for x in (steady.allan.low, steady.allan.deviation, steady.allan.high)
        )
        value = f"{here:.2g} kHz at {steady.best_averaging_s:.4g} s"
        more = "the longest time that the log shows" if best == len(steady.tau_s) - 1 else steady.noise[-1][2]
        name = "Least Allan deviation, at the best averaging time"
        yield NumberRow(name, value, f"{low:.2g} to {high:.2g}", f"beyond it: {more}")
