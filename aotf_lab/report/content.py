"""What the report says, as plain words and tables; the template only lays it out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from aotf_lab.errors import AotfLabError
from aotf_lab.planning import SetPoint, SetPoints
from aotf_lab.reading.receipt import FlaggedRow, RejectedRow
from aotf_lab.report.checks import PartCheck
from aotf_lab.report.words import causes, count, joined, light, measured
from aotf_lab.session import Session

__all__ = [
    "DETAIL_HEADS",
    "METHOD",
    "SET_POINT_HEADS",
    "NumberRow",
    "budget_rows",
    "detail_rows",
    "file_rows",
    "number_rows",
    "set_point_rows",
    "trouble_names",
    "verdict",
]

SET_POINT_HEADS = (
    "Line",
    "Drive (V)",
    "RF power (W)",
    "Wavelength in vacuum (nm)",
    "Frequency (MHz)",
    "Efficiency",
    "Light lost, at most",
)

DETAIL_HEADS = (
    "Line",
    "u of the setting, share of FWHM",
    "u of the drive (mV)",
    "Drive by another meter (V)",
    "Largest cause",
    "Remarks",
)

_ROWS_TOLD = 5
"""Of the rows of a file that were rejected or are in doubt, so many are told with their reason."""

METHOD = (
    "Each value stands with its standard uncertainty (k = 1) in brackets, after the Guide to the expression of "
    "uncertainty in measurement (JCGM 100:2008). Stated instrument accuracies are taken as they are; where readings "
    "scatter significantly more, the scatter is scaled up (Birge) and intervals use Student t.",
    "Oscillator: a Gaussian process whose band carries the doubt about the form of the curve. Volts are as the "
    "voltmeter of the readings shows. Passband: coupled waves with drive and the power meter's lag. Tuning: the "
    "published birefringence of the crystal (Uchida, Phys. Rev. B 4, 3736 (1971), for paratellurite) as shape only,"
    " with weak priors, errors in both variables. Efficiency: sine-squared law, the power scale's error kept "
    "apart as common.",
    "RF power is chosen for most light with the upper 97.5 % bound of the true power below the crystal's rating. "
    "Watts are as the bench's own scope shows them; their uncertainty is that of the scale.",
)


def set_point_rows(points: SetPoints) -> list[tuple[str, ...]]:
    """Return what to set as text, a row a line."""
    return [
        (
            f"{p.line} (doubtful)" if p.doubtful else p.line,
            measured(p.drive_v),
            measured(p.rf_power_w),
            measured(p.wavelength_nm),
            measured(p.frequency_mhz),
            measured(p.efficiency),
            light(p.light_lost_percent),
        )
        for p in points
    ]


def detail_rows(points: SetPoints) -> list[tuple[str, ...]]:
    """Return how sure each set-point is, and why, as text."""
    return [_detail_row(p) for p in points]


def _detail_row(point: SetPoint) -> tuple[str, ...]:
    origin = {"own peak": "set to its own peak", "tuning curve": "from the tuning curve"}.get(point.origin, "")
    return (
        point.line,
        "–" if point.share_of_fwhm is None else f"{100 * point.share_of_fwhm:.1f} %",
        "–" if point.drive_v is None else f"{1e3 * point.drive_v.s:.1f}",
        measured(point.drive_other_meter_v),
        point.largest_cause,
        "; ".join(filter(None, (origin, point.remark))),
    )


def verdict(session: Session, points: SetPoints, checks: list[PartCheck]) -> list[str]:
    """Return the verdict: what can be set, how well, and what stands against trusting it."""
    reached = [p for p in points if p.reachable]
    sentences = [f"{len(reached)} of {count(len(points), 'line')} can be set."]
    losses = [(p.light_lost_percent, p) for p in reached if p.light_lost_percent is not None]
    if losses:
        worst, point = max(losses, key=lambda pair: pair[0])
        sentences.append(f"The least certain, {point.line}, loses {light(worst)} of its light at the most (95 %).")
    doubtful = [p.line for p in points if p.doubtful]
    if doubtful:
        sentences.append(f"Do not use {joined(doubtful)} before the failed checks below are cleared up.")
    unpowered = [p.line for p in points if p.rf_power_w is None]
    if unpowered:
        sentences.append(f"No RF power is given for {joined(unpowered)}; the remarks say why.")
    if session.troubles:
        sentences.append(f"Not computed: {joined(trouble_names(session))}; the reason stands below.")
    failed = [c for c in checks if not c.passed]
    if failed:
        sentences.append(f"{count(len(failed), 'check')} failed; read them before you rely on a number.")
    elif not session.troubles and reached:
        sentences.append("Every check passed.")
    return sentences


_PART_NAMES = {"vco": "oscillator curve", "tuning": "tuning curve", "efficiency": "efficiency"}


def trouble_names(session: Session) -> list[str]:
    """Return the spoken names of the parts that could not be computed."""
    return [_PART_NAMES.get(part, part) for part in session.troubles]


@dataclass(frozen=True)
class NumberRow:
    """One row of the table of numbers, as text."""

    name: str
    value: str
    interval: str
    causes: str


def number_rows(session: Session) -> list[NumberRow]:
    """Return the derived numbers of the bench with intervals and causes."""
    return [
        *_crystal_rows(session),
        *_cut_rows(session),
        *_scan_rows(session),
        *_efficiency_rows(session),
        *_found_rows(session),
    ]


def _row(name: str, value: UFloat, unit: str, interval: tuple[float, float]) -> NumberRow:
    digits = max(0, 1 - int(np.floor(np.log10(value.s)))) if value.s > 0 else 4
    low, high = (f"{end:.{min(digits, 9)}f}" if np.isfinite(end) else "no limit" for end in interval)
    return NumberRow(name, measured(value, unit), f"{low} to {high}", causes(value))


def _crystal_rows(session: Session) -> Iterator[NumberRow]:
    tuning = session.curves.tuning
    if tuning is None:
        return
    middle = sum(tuning.range_nm) / 2
    product = tuning.velocity_birefringence(middle)
    yield _row(f"v B at {middle:.0f} nm", product, "m/s", tuning.fit.interval(product))
    velocity = session.velocity_m_s
    if velocity is not None:
        bare = tuning.effective_birefringence(velocity, middle)
        name = f"Effective birefringence B at {middle:.0f} nm, given v = {measured(velocity, 'm/s')}"
        yield _row(name, bare, "", tuning.fit.interval(bare))


def _cut_rows(session: Session) -> Iterator[NumberRow]:
    if session.curves.tuning is None:
        return
    try:
        cut = session.cut
    except AotfLabError:  # no packaged indices or velocity reach this crystal or these lines
        return
    title = "of the parallel-tangent cut that fits, from"
    yield _row(f"Incidence {title} the optic axis", cut.incidence_deg, "°", cut.fit.interval(cut.incidence_deg))
    yield _row(f"Sound {title} [110]", cut.acoustic_angle_deg, "°", cut.fit.interval(cut.acoustic_angle_deg))


def _scan_rows(session: Session) -> Iterator[NumberRow]:
    for name, scan in session.curves.scans.items():
        yield _row(f"Peak of line {name}", scan.centre_mhz, "MHz", scan.fit.interval(scan.centre_mhz))
        yield _row(f"Passband FWHM of line {name}", scan.fwhm_mhz, "MHz", scan.fit.interval(scan.fwhm_mhz))


def _efficiency_rows(session: Session) -> Iterator[NumberRow]:
    lines = session.curves.efficiency
    if lines is None:
        return
    for name, own in lines.own.items():
        if own.level == "slope only":
            slope, title = own.slope_per_w, f"Initial slope of line {name} alone (drive too low for more)"
            yield _row(title, slope, "1/W", own.fit.interval(slope))
        else:
            power = own.saturation_power_w
            yield _row(f"Saturation power of line {name} alone", power, "W", own.saturation_interval_w())
            yield _row(f"Peak efficiency of line {name} alone", own.peak_efficiency, "", own.peak_interval())
    if lines.level != "slope only":
        shared = lines.saturation_power_w()
        yield _row("Saturation power at 589 nm, all lines together", shared, "W", lines.fit.interval(shared))


def _found_rows(session: Session) -> Iterator[NumberRow]:
    tuning = session.curves.tuning
    for name, value in session.found_nm.items():
        if tuning is not None:
            yield _row(f"Wavelength of line {name}, found from its peak", value, "nm", tuning.fit.interval(value))


def budget_rows(points: SetPoints) -> list[tuple[str, list[str]]]:
    """Return the share of each cause in the variance of each reachable set-point."""
    reached = [(p.line, _general(p)) for p in points if p.budget]
    names = dict.fromkeys(cause for _, shares in reached for cause, share in shares.items() if share >= 0.005)
    return [(n, [f"{100 * shares.get(n, 0.0):.0f} %" for _, shares in reached]) for n in names]


def _general(point: SetPoint) -> dict[str, float]:
    """Return the budget of a set-point with its own scan named as such, so that lines can be compared."""
    own = f"scatter of the scan of line {point.line}"
    return {"scatter of its own scan" if cause == own else cause: share for cause, share in point.budget.items()}


@dataclass(frozen=True)
class FileRow:
    """One raw file of the session."""

    name: str
    rows: str
    rejected: str
    flagged: str
    sha256: str


def file_rows(session: Session) -> list[FileRow]:
    """Return every raw file that was read, with its hash and the rows that were not taken."""
    rows = []
    for source in (session.facts.source, *session.facts.layouts, *session.facts.kept):
        rows.append(FileRow(source.name, "–", "–", "–", source.sha256))
    for name, readings in session.all_readings.items():
        rejected = [r for receipt in readings.receipts for r in receipt.rejected]
        flagged = [r for receipt in readings.receipts for r in receipt.flagged]
        hashes = ", ".join(s.sha256 for s in readings.sources)
        rows.append(FileRow(name, str(len(readings.table)), _listed(rejected), _listed(flagged), hashes))
    return rows


def _listed(rows: Sequence[RejectedRow | FlaggedRow]) -> str:
    told = [f"line {r.line}: {r.reason}" for r in rows[:_ROWS_TOLD]]
    more = [f"and {len(rows) - _ROWS_TOLD} more; see aotf-lab check"] if len(rows) > _ROWS_TOLD else []
    return "; ".join(told + more) or "none"
