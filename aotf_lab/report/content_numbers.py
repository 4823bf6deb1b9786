"""The numbers of the crystal, with intervals and causes, as text."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from aotf_lab.errors import AotfLabError
from aotf_lab.report.words import causes, measured
from aotf_lab.session import Session

__all__ = ["NUMBER_HEADS", "NumberRow", "crystal_rows", "number_row"]


NUMBER_HEADS = ("Quantity", "Value", "95 % interval", "Largest causes of its variance")


@dataclass(frozen=True)
class NumberRow:
    """One row of the table of numbers, as text."""

    name: str
    value: str
    interval: str
    causes: str


def crystal_rows(session: Session) -> list[NumberRow]:
    """Return the derived numbers of the crystal with intervals and causes."""
    return [
        *_tuning_rows(session),
        *_cut_rows(session),
        *_scan_rows(session),
        *_efficiency_rows(session),
        *_found_rows(session),
        *_modulator_rows(session),
    ]


def number_row(name: str, value: UFloat, unit: str, interval: tuple[float, float]) -> NumberRow:
    """Return the row of a value with its interval, in digits that its uncertainty allows."""
    digits = max(0, 1 - int(np.floor(np.log10(value.s)))) if value.s > 0 else 4
    low, high = (f"{end:.{min(digits, 9)}f}" if np.isfinite(end) else "no limit" for end in interval)
    return NumberRow(name, measured(value, unit), f"{low} to {high} {unit}".strip(), causes(value))


def _tuning_rows(session: Session) -> Iterator[NumberRow]:
    tuning = session.curves.tuning
    if tuning is None:
        return
    middle = sum(tuning.range_nm) / 2
    product = tuning.velocity_birefringence(middle)
    yield number_row(f"v B at {middle:.0f} nm", product, "m/s", tuning.fit.interval(product))
    velocity = session.velocity_m_s
    if velocity is not None:
        bare = tuning.effective_birefringence(velocity, middle)
        name = f"Effective birefringence B at {middle:.0f} nm, given v = {measured(velocity, 'm/s')}"
        yield number_row(name, bare, "", tuning.fit.interval(bare))


def _cut_rows(session: Session) -> Iterator[NumberRow]:
    if session.curves.tuning is None:
        return
    try:
        cut = session.cut
    except AotfLabError:  # no packaged indices or velocity reach this crystal or these lines
        return
    title = "of the parallel-tangent cut that fits, from"
    yield number_row(f"Incidence {title} the optic axis", cut.incidence_deg, "°", cut.fit.interval(cut.incidence_deg))
    yield number_row(f"Sound {title} [110]", cut.acoustic_angle_deg, "°", cut.fit.interval(cut.acoustic_angle_deg))


def _scan_rows(session: Session) -> Iterator[NumberRow]:
    for name, scan in session.curves.scans.items():
        yield number_row(f"Peak of line {name}", scan.centre_mhz, "MHz", scan.fit.interval(scan.centre_mhz))
        yield number_row(f"Passband FWHM of line {name}", scan.fwhm_mhz, "MHz", scan.fit.interval(scan.fwhm_mhz))


def _efficiency_rows(session: Session) -> Iterator[NumberRow]:
    lines = session.curves.efficiency
    if lines is None:
        return
    for name, own in lines.own.items():
        if own.level == "slope only":
            slope, title = own.slope_per_w, f"Initial slope of line {name} alone (drive too low for more)"
            yield number_row(title, slope, "1/W", own.fit.interval(slope))
        else:
            power = own.saturation_power_w
            yield number_row(f"Saturation power of line {name} alone", power, "W", own.saturation_interval_w())
            yield number_row(f"Peak efficiency of line {name} alone", own.peak_efficiency, "", own.peak_interval())
    if lines.level != "slope only" and len(lines.own) > 1:
        shared = lines.saturation_power_w()
        yield number_row("Saturation power at 589 nm, all lines together", shared, "W", lines.fit.interval(shared))


def _found_rows(session: Session) -> Iterator[NumberRow]:
    tuning = session.curves.tuning
    for name, value in session.found_nm.items():
        if tuning is not None:
            yield number_row(f"Wavelength of line {name}, found from its peak", value, "nm", tuning.fit.interval(value))


def _modulator_rows(session: Session) -> Iterator[NumberRow]:
    """Yield what a plain modulator does at each line; what hangs on an unknown velocity or beam is left out."""
    for name, modulator in session.curves.modulators.items():
        fit = modulator.response.fit
        for what, value, unit in (
            ("Best carrier", modulator.carrier_mhz, "MHz"),
            ("Bandwidth at half of the light", modulator.bandwidth_mhz, "MHz"),
            ("Bragg angle outside, given v", modulator.bragg_angle_deg, "°"),
            ("Separation of the orders outside, given v", modulator.separation_deg, "°"),
            ("Rise time predicted from beam and v", modulator.rise_time_us, "µs"),
        ):
            if value is not None:
                yield number_row(f"{what}, line {name}", value, unit, fit.interval(value))
