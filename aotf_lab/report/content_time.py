"""The oscillator in time: how long to wait after power-on, and what is left of every cause at one set-point."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from aotf_lab.driver.stability import StabilityBudget, WarmUp, stability_budget
from aotf_lab.errors import AotfLabError
from aotf_lab.physics.coupled_waves import detuning_for_light
from aotf_lab.planning import SetPoint, SetPoints
from aotf_lab.report.driver_parts import Driver
from aotf_lab.report.words import light
from aotf_lab.session import Session

__all__ = [
    "LOST_PERCENT",
    "TIME_HEADS",
    "TimeTable",
    "narrowest_mhz",
    "share_allowed",
    "since",
    "time_table",
    "wait_of",
    "waited_min",
]

LOST_PERCENT = 1.0
"""Share of the light that the warm-up left may cost after the wait."""

_USED_S = 3600.0
"""A bench is used for so long after a calibration, or after a look at the counter."""

TIME_HEADS = ("Cause", "u (kHz)", "Share of FWHM", "Light lost, at most", "Share of variance", "How it was found")


@dataclass(frozen=True)
class TimeTable:
    """The budget at one set-point as text: what was supposed, its rows, and what is left out, with what it needs."""

    supposed: str
    rows: list[tuple[str, ...]]
    left_out: list[str]


def share_allowed() -> float:
    """Return the share of the passband's width by which ``LOST_PERCENT`` of the light is lost."""
    return float(detuning_for_light(1.0 - LOST_PERCENT / 100.0))


def since(warm_up: WarmUp) -> str:
    """Return from when the times of the warm-up count."""
    if warm_up.started_s is not None:
        return "after power-on"
    return "after power-on, counted from the first reading of the warm-up log"


def narrowest_mhz(session: Session) -> float | None:
    """Return the least width (MHz) of a passband that was measured."""
    return min((scan.fwhm_mhz.n for scan in session.curves.scans.values()), default=None)


def waited_min(warm_up: WarmUp, fwhm_mhz: float) -> int:
    """Return how many whole minutes to wait until little of the warm-up is left; raises as ``WarmUp.wait_s``."""
    return math.ceil(warm_up.wait_s(share_allowed(), fwhm_mhz) / 60)


def wait_of(session: Session, warm_up: WarmUp) -> int | str:
    """Return how many whole minutes to wait after power-on, or why that is not known."""
    width = narrowest_mhz(session)
    if width is None:
        return "no passband was measured"
    try:
        return waited_min(warm_up, width)
    except AotfLabError as error:
        return error.what


def time_table(session: Session, driver: Driver, points: SetPoints) -> TimeTable | None:
    """Return the budget in time at the set-point next to where the warm-up was logged, None without a log."""
    warm_up = driver.warm_up
    found = [(p, f.n) for p in points if (f := p.frequency_mhz) is not None and p.drive_v is not None]
    if warm_up is None or not found:
        return None
    logged = warm_up.final_mhz.n
    point, frequency = min(found, key=lambda pair: abs(pair[1] - logged))
    width, narrowest = session.curves.fwhm_mhz(frequency), narrowest_mhz(session)
    if width is None or narrowest is None:
        return None
    try:
        used_s = min(60.0 * waited_min(warm_up, narrowest), warm_up.range_s[1])
    except AotfLabError:  # the verdict says why
        used_s = None
    elapsed_s, swing_k = min(_USED_S, float(np.ptp(warm_up.log.time_s))), _swing(warm_up)
    budget = stability_budget(
        width, warm_up=warm_up, stability=driver.stability, pushing=driver.pushing, vco=session.curves.vco,
        drive_v=None if point.drive_v is None else point.drive_v.n, used_after_s=used_s, elapsed_s=elapsed_s,
        temperature_swing_k=swing_k,
    )  # fmt: skip
    supposed = _supposed(point, logged, used_s, elapsed_s, swing_k)
    return TimeTable(supposed, _rows(budget), list(_left_out(budget, driver)))


def _swing(warm_up: WarmUp) -> float | None:
    """Return half of the range of the box's temperature (K) in the log."""
    return None if warm_up.temperature_c is None else float(f"{np.ptp(warm_up.temperature_c) / 2:.2g}")


def _supposed(point: SetPoint, logged_mhz: float, used_s: float | None, elapsed_s: float, swing_k: float | None) -> str:
    """Return what the budget rests on: none of it is a fact of the bench."""
    parts = [] if used_s is None else [f"used from {used_s / 60:.0f} min on (as the log counts)"]
    parts.append(f"{elapsed_s / 60:.0f} min after its calibration")
    parts += [] if swing_k is None else [f"the box within ±{swing_k:.2g} K, as in the log"]
    return (
        f"Supposed: line {point.line}, {', '.join(parts)}. The log was taken at {logged_mhz:.1f} MHz; another drive "
        "may drift otherwise. What is known to be left is not corrected for: its size counts as if it were its u, so "
        "its light is an upper limit. The set-points' own uncertainty holds none of this but the backlash."
    )


def _rows(budget: StabilityBudget) -> list[tuple[str, ...]]:
    total = sum(t.u_mhz**2 for t in budget) or 1.0
    return [
        (
            t.name,
            f"{1e3 * t.u_mhz:.2g}",
            f"{100 * t.share_of_fwhm:.2g} %",
            light(t.light_lost_percent),
            f"{100 * t.u_mhz**2 / total:.0f} %",
            t.why,
        )
        for t in budget
    ]


def _left_out(budget: StabilityBudget, driver: Driver) -> Iterator[str]:
    for words in budget.missing:
        name, _, needs = words.partition(": ")
        if name == "supply" and driver.pushing is not None:
            per_10_mv = abs(driver.pushing.shift_mhz(0.01).n)
            needs = f"how far the oscillator's own supply swings; 10 mV move the frequency by {1e3 * per_10_mv:.2g} kHz"
        yield f"{name}: {needs}"
