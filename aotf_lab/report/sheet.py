"""The bench sheet: what to set, on one page that can be taped to the bench."""

from __future__ import annotations

from collections.abc import Iterator

from aotf_lab.planning import SetPoints
from aotf_lab.report.checks import PartCheck
from aotf_lab.report.content_time import LOST_PERCENT, since, wait_of
from aotf_lab.report.driver_parts import Driver
from aotf_lab.report.findings import Finding
from aotf_lab.report.light_parts import Light
from aotf_lab.report.pace_parts import Pace
from aotf_lab.report.preflight_rows import rounded_down
from aotf_lab.report.sheet_fit import fitted
from aotf_lab.report.sheet_parts import BenchSheet, Box
from aotf_lab.report.sheet_rows import Texts, failures, sheet_lines, sheet_plays
from aotf_lab.report.words import clipped, measured
from aotf_lab.session import Session

__all__ = ["bench_sheet"]

_HASH, _NOTE, _WORDS = 16, 200, 120


def bench_sheet(
    session: Session,
    parts: tuple[Driver, Light, Pace],
    points: SetPoints,
    texts: Texts,
    judged: tuple[list[PartCheck], list[Finding]],
) -> BenchSheet:
    """Return the sheet of what was computed, with ``texts`` of the details."""
    driver, light, pace = parts
    sheet = BenchSheet(
        clipped(session.facts.note, _NOTE),
        session.facts.date or "",
        (_supply(driver), _wait(session, driver), _park(light)),
        tuple(sheet_lines(points, texts)),
        tuple(_notes(light, pace)) if points else (),
        tuple(sheet_plays(pace)),
        tuple(failures(session, points, *judged)),
        0,
        0,
        texts.all_files[:_HASH],
        size_pt=0.0,
        table_em=1.0,
    )
    return fitted(sheet)


def _supply(driver: Driver) -> Box:
    title, safe = "Supply of the amplifier, never above", driver.safe
    if safe is None:
        return Box(title, "no supply", clipped(f"none is called safe: {driver.withheld}", _WORDS))
    low, high = safe.band_mhz
    words = f"keeps RF below {safe.limit_w:g} W from {low:.4g} to {high:.4g} MHz ({100 * safe.confidence:g} %)"
    return Box(title, f"{rounded_down(safe.supply_v)} V", words)


def _wait(session: Session, driver: Driver) -> Box:
    title = "After power-on, wait"
    if driver.warm_up is None:
        return Box(title, "not known", "no warm-up was logged")
    minutes = wait_of(session, driver.warm_up)
    if isinstance(minutes, str):
        return Box(title, "not known", clipped(minutes, _WORDS))
    counted = since(driver.warm_up).removeprefix("after power-on").lstrip(", ")
    words = f"what is left of the warm-up then costs less than {LOST_PERCENT:g} % of the light (95 %)"
    return Box(title, f"{minutes} min", f"{words}; {counted}" if counted else words)


def _park(light: Light) -> Box:
    title, park = "No light wanted: RF off, or park at", light.park
    if park is None:
        return Box(title, "RF off", "no place to park was computed")
    at = f"{park.best.at_mhz:.2f} MHz"
    leak = f"what leaks is {-park.bound_db:.1f} dB or more below one line's full light (95 %)"
    if park.drive_v is None:
        return Box(title, at, leak)
    return Box(title, measured(park.drive_v, "V"), f"{at}; {leak}")


def _notes(light: Light, pace: Pace) -> Iterator[str]:
    yield (
        "Brackets: standard uncertainty (k = 1) in the last digits. Drive as the voltmeter of the readings shows it, "
        "RF power as the bench's scope shows it: set the watts, the supply only helps to find them."
    )
    if pace.levels:
        yield (
            "Typed: offset of the generator with its amplitude off. It is a start: then set the drive by the voltmeter "
            "at the port, generator plugged in."
        )
    if light.one_drive is not None:
        least = light.one_drive.least_share
        share = f", each line at {100 * least.n:.0f} % or more of its own maximum" if least else ""
        yield f"One supply for all lines: {light.one_drive.supply_v:.2f} V{share}."
