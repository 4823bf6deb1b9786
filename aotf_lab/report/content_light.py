"""What is known of the light, as text: which peak is which, one supply for all lines, where to park, what leaks."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from aotf_lab.report.content_numbers import NumberRow, number_row
from aotf_lab.report.light_parts import Light
from aotf_lab.report.words import count, joined, measured, of_line

__all__ = ["light_rows", "light_sentences"]


def light_sentences(light: Light) -> list[str]:
    """Return the sentences of the verdict that speak of the light."""
    return [*_identity(light), *_one_drive(light), *_park(light)]


def _identity(light: Light) -> Iterator[str]:
    if light.identity is not None and light.identity.ambiguous:
        yield f"Which line is which is not sure: {light.identity.remaining} assignments fit the scanned peaks."
    ghosts = light.hunt.ghosts if light.hunt is not None else ()
    if ghosts:
        places = joined([f"{ghost.frequency_mhz.n:.2f}" for ghost in ghosts])
        yield (
            f"The peak{'s' if len(ghosts) > 1 else ''} at {places} MHz {'are' if len(ghosts) > 1 else 'is'} no line: "
            "a harmonic of the oscillator drives a line from there."
        )


def _one_drive(light: Light) -> Iterator[str]:
    drive = light.one_drive
    if drive is not None:
        share = f", each at {100 * drive.least_share.n:.0f} % or more of its own maximum" if drive.least_share else ""
        yield f"One supply for all lines: {drive.supply_v:.2f} V{share}."


def _park(light: Light) -> Iterator[str]:
    park = light.park
    if park is not None:
        volts = "" if park.drive_v is None else f" ({measured(park.drive_v, 'V')})"
        yield (
            f"No light wanted: park at {park.best.at_mhz:.2f} MHz{volts}; what leaks there stays "
            f"{-park.bound_db:.1f} dB or more below one line's full light (95 %), and less leaks with the RF off."
        )


def light_rows(light: Light) -> list[NumberRow]:
    """Return the numbers of the light with intervals and causes."""
    return [*_peaks(light), *_plans(light), *_leaks(light), *_lamp(light), *_beam(light)]


def _peaks(light: Light) -> Iterator[NumberRow]:
    if light.hunt is not None:
        kinds = {kind: len(light.hunt.of_kind(kind)) for kind in ("line", "ghost", "other polarisation", "unexplained")}
        found = joined(
            [count(n, kind if kind in ("line", "ghost") else f"peak, {kind},") for kind, n in kinds.items() if n]
        )
        low, high = light.hunt.range_mhz
        bound = f"found with 95 % from {1e3 * light.hunt.detection_mw:.2g} µW"
        yield NumberRow(f"Peaks between {low:.4g} and {high:.4g} MHz", found or "none", bound, "")
        for ghost in light.hunt.ghosts:
            interval = light.hunt.fit.interval(ghost.frequency_mhz)
            yield number_row(ghost.title[:1].upper() + ghost.title[1:], ghost.frequency_mhz, "MHz", interval)
    if light.identity is not None:
        best, gap = light.identity.best, light.identity.gap
        value = "ambiguous" if light.identity.ambiguous else f"known, probability {best.probability:.4g}"
        second = "" if gap is None or gap < 0 else f"chi-square of the runner-up higher by {gap:.3g}"
        yield NumberRow("Which scanned peak is which line, from the peaks alone", value, second, "")


def _plans(light: Light) -> Iterator[NumberRow]:
    drive, park = light.one_drive, light.park
    if drive is not None:
        low, high = drive.within_v
        flat = f"{low:.2f} to {high:.2f} V within 1 % of the best"
        yield NumberRow(
            "Supply that serves the weakest line best",
            f"{drive.supply_v:.2f} V",
            flat,
            f"weakest: {drive.weakest.line}",
        )
    if park is not None:
        best = park.best
        cause = f"line {best.line} by {'f itself' if best.order == 1 else f'{best.order} f'} {100 * best.share:.0f} %"
        value = f"{park.leak_db:.1f} dB at {park.best.at_mhz:.3f} MHz"
        yield NumberRow("Leak where the oscillator is parked", value, f"at most {park.bound_db:.1f} dB", cause)


def _leaks(light: Light) -> Iterator[NumberRow]:
    if light.crosstalk is not None:
        row = max(light.crosstalk.lines, key=light.crosstalk.total_db)
        value = f"below {light.crosstalk.total_db(row):.1f} dB"
        yield NumberRow(f"Light of all other lines with the filter set to the worst, {row}", value, "bound", "")


def _lamp(light: Light) -> Iterator[NumberRow]:
    if light.spectrum is not None:
        top = int(np.argmax(light.spectrum.nominal_density))
        density, nm = light.spectrum.density_mw_per_nm[top], light.spectrum.wavelength_nm[top]
        interval = (density.n - 1.96 * density.s, density.n + 1.96 * density.s)
        yield number_row(f"Highest spectral power of the lamp, at {nm.n:.1f} nm", density, "mW/nm", interval)


def _beam(light: Light) -> Iterator[NumberRow]:
    for name, size in light.beam_size.items():
        interval = size.fit.interval(size.diameter_mm)
        yield number_row(f"Beam diameter (1/e²){of_line(name)}", size.diameter_mm, "mm", interval)
    for name, state in light.polarisation.items():
        interval = state.fit.interval(state.axis_deg)
        yield number_row(f"Axis of the polarisation{of_line(name)}", state.axis_deg, "°", interval)
        bound = f"below {state.crossed_bound:.2g}"
        yield NumberRow(f"Light in the other polarisation{of_line(name)}", measured(state.crossed_share), bound, "")
    if light.angles is not None:
        spread = light.angles.spread_mrad
        yield number_row(
            "Spread of the separation angle over the colours", spread, "mrad", light.angles.fit.interval(spread)
        )
        velocity = light.angles.velocity_m_s
        if velocity is not None:
            name = "Acoustic velocity from the angles, if the faces are parallel"
            yield number_row(name, velocity, "m/s", light.angles.fit.interval(velocity))
