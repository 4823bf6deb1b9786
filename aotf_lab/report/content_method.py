"""How this session's numbers were made, as paragraphs for a lab book: readings, laws, chi-square, sources."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields

from aotf_lab.data import read_packaged_table
from aotf_lab.estimation import Fit
from aotf_lab.reading.instrument_fields import Instrument
from aotf_lab.report.driver_parts import Driver
from aotf_lab.report.light_parts import Light
from aotf_lab.report.pace_parts import Pace
from aotf_lab.report.words import count, joined, measured, of_line
from aotf_lab.session import Session

__all__ = ["Paragraph", "accuracies", "method"]

_UNITS = {
    "ppm": "ppm", "percent": "%", "mhz": "MHz", "khz": "kHz", "mv": "mV", "uw": "µW", "ohm": "ohm", "db": "dB",
    "us": "µs", "mm": "mm", "um": "µm", "deg": "°", "s": "s", "v": "V",
}  # fmt: skip


@dataclass(frozen=True)
class Paragraph:
    """What is told of one topic, as it stands in a lab book."""

    topic: str
    words: str


def method(session: Session, parts: tuple[Driver, Light, Pace], all_files: str) -> list[Paragraph]:
    """Return what is to be told of all that was computed from this session, in the order of the bench day.

    ``all_files`` is the SHA-256 of all files together.
    """
    driver, light, pace = parts
    found = (
        *_general(session, all_files), *_oscillator(session), *_scans(session), *_tuning(session),
        *_efficiency(session), *_level(driver), *_driver(driver), *_light(light), *_pace(pace), *_composed(light),
    )  # fmt: skip
    return [Paragraph(p.topic, p.words[0].upper() + p.words[1:]) for p in found]


def accuracies(tool: Instrument) -> str:
    """Return what is stated of an instrument, in words; "" where nothing is.

    >>> from aotf_lab.reading import Counter
    >>> accuracies(Counter(time_base_ppm=15, u_reading_khz=4.5))
    'time base 15 ppm, u of a reading 4.5 kHz'
    """
    said = []
    for item in fields(tool):
        value, (name, _, unit) = getattr(tool, item.name), item.name.rpartition("_")
        if not isinstance(value, int | float):
            continue
        if unit not in _UNITS:
            name, unit = item.name, ""
        words = name.replace("u_reading", "u of a reading").replace("u_", "u of the ").replace("_", " ")
        said.append(f"{words} {value:g} {_UNITS.get(unit, '')}".strip())
    return ", ".join(said)


def _general(session: Session, all_files: str) -> Iterator[Paragraph]:
    facts, bench = session.facts, session.facts.instruments
    day = "on a day that session.toml does not state" if facts.date is None else f"on {facts.date}"
    read = len(session.all_readings)
    yield Paragraph(
        "Readings",
        f"Taken {day}: {count(read, 'raw file')} read, SHA-256 of all files together "
        f"{all_files}. Each value stands with its standard uncertainty (k = 1) in brackets, in units "
        "of its last digits (JCGM 100:2008). Where readings scatter significantly more than their instruments' "
        "accuracies say, u is scaled up (Birge ratio) and intervals use Student t; it is never scaled down.",
    )
    tools = {
        "counter": bench.counter, "voltmeter": bench.voltmeter, "scope": bench.scope, "power meter": bench.power_meter,
        "ruler": bench.ruler, "rotator": bench.rotator, "stage": bench.stage, "detector": bench.detector,
    }  # fmt: skip
    said = [f"{name}: {words}" for name, tool in tools.items() if (words := accuracies(tool))]
    if said:
        yield Paragraph("Accuracies, as stated (u is for k = 1)", "; ".join(said) + ".")


_LEAST_DOF = 0.05
"""Weak priors leave a fit of as many readings as parameters some thousandths."""


def _fitted(fit: Fit) -> str:
    scaled = "" if fit.birge == 1.0 else f" (uncertainties scaled up {fit.birge:.2f} times)"
    if not fit.u_known:
        return f"scatter of the readings as their uncertainty, {fit.dof:.3g} degrees of freedom"
    if fit.dof < _LEAST_DOF:
        return "no reading more than it takes, so none tests it"
    return f"chi2/dof = {fit.chi2:.1f}/{fit.dof:.4g}{scaled}"


def _range_of(fits: Iterable[Fit]) -> str:
    ratios = [fit.chi2 / fit.dof for fit in fits if fit.u_known and fit.dof >= 1]
    if not ratios:
        return "scatter of the readings as their uncertainty"
    return f"chi2/dof from {min(ratios):.2f} to {max(ratios):.2f}" if len(ratios) > 1 else f"chi2/dof = {ratios[0]:.2f}"


def _oscillator(session: Session) -> Iterator[Paragraph]:
    vco = session.curves.vco
    if vco is not None:
        (low_v, high_v), (low, high) = vco.range_v, vco.range_mhz
        yield Paragraph(
            "Oscillator",
            f"{count(len(vco.readings.table), 'reading')} from {low_v:.3g} to {high_v:.4g} V ({low:.4g} to {high:.4g} "
            f"MHz), a Gaussian process whose band carries the doubt about the form of the curve; {_fitted(vco.fit)}. "
            "Volts are as the voltmeter of the readings shows.",
        )


def _scans(session: Session) -> Iterator[Paragraph]:
    scans = session.curves.scans
    if scans:
        readings = sum(len(s.readings.table) for s in scans.values())
        yield Paragraph(
            "Passbands",
            f"{count(len(scans), 'line')} ({', '.join(scans)}), {readings} readings; coupled waves with drive, and the "
            f"power meter's lag; {_range_of(s.fit for s in scans.values())}.",
        )


def _tuning(session: Session) -> Iterator[Paragraph]:
    tuning = session.curves.tuning
    if tuning is None:
        return
    material = session.facts.crystal.material
    sources = dict.fromkeys(
        row["source"].partition(";")[0] for row in read_packaged_table("dispersion") if row["material"] == material
    )
    found = session.found_nm
    own = f" Found from their own peaks: {joined(list(found))}." if found else ""
    yield Paragraph(
        "Tuning",
        f"{count(len(tuning.readings.table), 'anchor line')} from {tuning.anchored_nm[0]:.1f} to "
        f"{tuning.anchored_nm[1]:.1f} nm (vacuum); the published birefringence of {material} ({'; '.join(sources)}) as "
        "shape only, scale free, slope and bend with weak priors; errors in both variables (York and others, Am. J. "
        f"Phys. 72, 367 (2004)); {_fitted(tuning.fit)}.{own}",
    )


def _efficiency(session: Session) -> Iterator[Paragraph]:
    lines = session.curves.efficiency
    if lines is not None:
        readings = sum(len(own.readings.table) for own in lines.own.values())
        yield Paragraph(
            "Efficiency",
            f"{count(len(lines.own), 'line')} ({', '.join(lines.own)}), {readings} readings; "
            f"eta_max sin^2((pi/2) sqrt(P/P_sat)), P_sat by the square of the wavelength, the power scale's error kept "
            f"apart as common; {_fitted(lines.fit)}. RF power is chosen for most light with the upper 97.5 % bound of "
            "the true power below the crystal's rating; watts are as the bench's own scope shows them.",
        )


def _level(driver: Driver) -> Iterator[Paragraph]:
    level, safe = driver.level, driver.safe
    if level is None:
        return
    words = (
        f"{count(len(level.rows.power_w), 'reading')} over the supply and over the band, in dB; {_fitted(level.fit)}."
    )
    if safe is not None:
        words += (
            f" The highest safe supply keeps the upper {100 * safe.confidence:g} % bound of the largest power in the "
            f"band, every mismatch at its worst phase, below {safe.limit_w:g} W."
        )
    yield Paragraph("RF power", words)


def _driver(driver: Driver) -> Iterator[Paragraph]:
    if driver.good:
        fits = (wave.fit for wave in driver.good.values())
        yield Paragraph(
            "Traces",
            f"{count(len(driver.good), 'trace')} used, {len(driver.unused)} not; a sine with its harmonics; RF power "
            f"is that of the fundamental; {_range_of(fits)}.",
        )
    if driver.match is not None:
        yield Paragraph(
            "Match",
            f"{count(len(driver.match.frequency_mhz), 'point')}; a directivity of {driver.match.directivity_db:g} dB "
            "bounds every return loss.",
        )
    warm_up = driver.warm_up
    if warm_up is not None:
        terms = count(len(warm_up.time_constants_s), "exponential")
        yield Paragraph(
            "Warm-up",
            f"{count(len(warm_up.log), 'reading')} over {warm_up.range_s[1] / 60:.3g} min; {terms} beside white noise "
            f"and a random walk; {_fitted(warm_up.fit)}. Allan deviation overlapping, after IEEE Std 1139.",
        )
    if driver.pushing is not None:
        yield Paragraph(
            "Pushing", f"{count(len(driver.pushing.log), 'reading')}, a straight line; {_fitted(driver.pushing.fit)}."
        )


def _light(light: Light) -> Iterator[Paragraph]:
    if light.hunt is not None:
        yield Paragraph(
            "Hunt",
            f"{count(len(light.hunt.readings.table), 'reading')}; every peak is weighed against line, sidelobe, ghost "
            f"of a harmonic and other polarisation; {_fitted(light.hunt.fit)}.",
        )
    parts = {f"beam size{of_line(n)}": b.fit for n, b in light.beam_size.items()}
    parts |= {f"polarisation{of_line(n)}": p.fit for n, p in light.polarisation.items()}
    if light.angles is not None:
        parts["separation angles"] = light.angles.fit
    if parts:
        yield Paragraph("Optics", "; ".join(f"{name}: {_fitted(fit)}" for name, fit in parts.items()) + ".")


def _pace(pace: Pace) -> Iterator[Paragraph]:
    parts = {f"edge{of_line(n)}": e.fit for n, e in pace.edge.items()}
    parts |= {f"depth of modulation{of_line(n)}": d.fit for n, d in pace.modulation_depth.items()}
    if parts:
        laws = "A Gaussian beam behind the poles of port and detector. "
        yield Paragraph("Time", laws + "; ".join(f"{name}: {_fitted(fit)}" for name, fit in parts.items()) + ".")


def _composed(light: Light) -> Iterator[Paragraph]:
    if light.identity is not None:
        yield Paragraph(
            "Which line is which", "decided by the evidence of all assignments of the peaks in falling frequency."
        )
    if light.park is not None:
        drive = "" if light.park.drive_v is None else f", {measured(light.park.drive_v, 'V')}"
        yield Paragraph(
            "Park",
            f"{light.park.best.at_mhz:.3f} MHz{drive}: least light by f and its harmonics; beyond the main lobe of a "
            "passband no null is counted on, so leaks are bounds.",
        )
