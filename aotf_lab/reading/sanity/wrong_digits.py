"""Did a number lose its decimal point or its sign, or become a date, on its way through a spreadsheet?"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.quantities import QUANTITIES
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.beside import Beside, InOrder, beside, beyond, column_in_order, partner_of
from aotf_lab.reading.sanity.date_serial import SERIALS, date_of, numbers_read_as
from aotf_lab.reading.sanity.raw_unit import bench_per_raw
from aotf_lab.reading.sanity.scatter import resolution, second_differences
from aotf_lab.reading.sanity.suspicion import Suspicion, lines_of, listed

__all__ = ["wrong_digits"]

_COLUMNS = (
    "frequency_mhz", "drive_v", "supply_v", "rf_level_vrms", "rf_power_w", "optical_power_mw", "incident_power_mw",
    "temperature_c",
)  # fmt: skip
_LIGHT = ("optical_power_mw", "incident_power_mw")
_POINTS = (1, 2, 3, 4, 5, 6)
_OTHER_CAUSES = {"frequency_mhz": (1, 3, 6)}
"""Powers of ten that have another name: gate time, kHz, Hz."""

_FEWEST = 6
_UP = 3.0
_SLACK = 1.35
_SPIKE = 2.5
_DATE_SLACK = 1.15
_QUIET = 6.0
_FITS = 0.85
_WIDE = 6
_PEAK = 5.0
_NOTHING_NEAR_ZERO = 0.3


@dataclass(frozen=True)
class _Slip:
    row: int
    kind: str
    shown: float
    meant: float
    words: str


def wrong_digits(readings: Readings, explained: Collection[int] = ()) -> tuple[Suspicion, ...]:
    """Return the rows whose number is a power of ten above, the negative of, or a date in place of, what is expected.

    Readings of one file; what is expected comes from the rows beside it, in the order of the file (drive and
    frequency: in the order of each other). A peak that is only one reading wide is no lost point: in a scan
    the light must be resolved. Rows in ``explained`` (0-based) are passed over.
    """
    found: list[Suspicion] = []
    for column in (c for c in _COLUMNS if c in readings.table.columns):
        series = column_in_order(readings, column, explained)
        if series.values.size < _FEWEST:
            continue
        slips = _slips(readings, column, series)
        if column == "frequency_mhz":  # the order in which the drive is asked
            explained = {*explained, *(s.row for s in slips)}
        for kind in dict.fromkeys(s.kind for s in slips):
            found.append(_suspicion(readings, column, kind, sorted((s for s in slips if s.kind == kind), key=_by_row)))
    return tuple(found)


def _by_row(slip: _Slip) -> int:
    return slip.row


def _slips(readings: Readings, column: str, series: InOrder) -> list[_Slip]:
    rows, values = series.rows, series.values
    raw = values / bench_per_raw(readings, column)
    high = beyond(values) | _spikes(readings, column, series)
    doubted = (high if _resolved(readings, column, series, high) else np.zeros_like(high)) | (values < 0)
    serial = (np.abs(raw - np.round(raw)) < 1e-6) & (raw >= SERIALS[0]) & (raw <= SERIALS[1])
    doubted |= serial & (values > _UP * np.median(np.abs(values)))
    if not np.any(doubted) or np.count_nonzero(doubted) > values.size / 3:
        return []
    step = resolution(values[~doubted])
    quiet = float(np.quantile(np.abs(second_differences(values[~doubted])), 0.1)) / 0.126  # of normal values
    least = _QUIET * max(quiet, step)
    found = []
    for at in np.flatnonzero(doubted):
        near = beside(series, int(at), doubted)
        value = float(values[at])
        if near is None or near.holds(value, 1.0):
            continue
        if value < 0:
            alone = -value > 10.0 * step and np.min(np.abs(np.delete(values, at))) > _NOTHING_NEAR_ZERO * -value
            if near.holds(-value, _SLACK) and (alone or -value + near.low > least):
                found.append(_Slip(int(rows[at]), "a sign was flipped", value, -value, ""))
            continue
        if value - near.high < least:
            continue
        best = _explained(column, value, float(raw[at]), bool(serial[at]), near, step)
        if best is not None:
            found.append(_Slip(int(rows[at]), *best))
    return found


def _explained(
    column: str, value: float, raw: float, serial: bool, near: Beside, step: float
) -> tuple[str, float, float, str] | None:
    """Return kind, number shown, number meant and words of the slip that fits best."""
    choices: list[tuple[float, tuple[str, float, float, str]]] = []
    for power in _POINTS:
        meant = value / 10.0**power
        other_name = power in _OTHER_CAUSES.get(column, ())
        if near.holds(meant, _SLACK) and _on_grid(meant, step) and not other_name:
            choices.append((near.gap(meant), ("a decimal point was lost", value, meant, f"10^{power} times too large")))
    if serial:
        for typed in numbers_read_as(round(raw)):
            meant = typed * value / raw
            if near.holds(meant, _DATE_SLACK):
                words = f"{raw:.0f} is {date_of(round(raw)).isoformat()}"
                choices.append((near.gap(meant), ("a number became a date", value, meant, words)))
    return min(choices)[1] if choices else None


def _on_grid(meant: float, step: float) -> bool:
    """Return whether a number could have been shown in steps of the display, where these are a power of ten."""
    power = np.log10(step) if step > 0 else 0.5
    if abs(power - round(power)) > 1e-9:
        return True
    return bool(abs(meant / step - round(meant / step)) < 1e-4)


def _spikes(readings: Readings, column: str, series: InOrder) -> NDArray[np.bool_]:
    """Return the rows far above both neighbours where nothing else of the column is a spike."""
    values = series.values
    spikes = np.zeros(values.size, dtype=bool)
    if column not in (*_LIGHT, "drive_v") or (column == "drive_v" and partner_of(readings, column) is None):
        return spikes
    none = np.zeros(values.size, dtype=bool)
    padded = np.concatenate([[0.0], values, [0.0]])
    for at in np.flatnonzero(values > _SPIKE * np.maximum(padded[:-2], padded[2:])):
        near = beside(series, int(at), none)
        spikes[at] = near is not None and values[at] > _SPIKE * near.high
    return spikes if np.count_nonzero(spikes) <= max(1, values.size // 15) else np.zeros_like(spikes)


def _resolved(readings: Readings, column: str, series: InOrder, high: NDArray[np.bool_]) -> bool:
    """Return whether a peak of light would be several readings wide; true of what is not light over frequency."""
    if column not in _LIGHT or "frequency_mhz" not in readings.table.columns or not np.any(high):
        return True
    if readings.table["frequency_mhz"].nunique() < _FEWEST:
        return True
    values = series.values
    strong = np.flatnonzero(~high & (values > 0.05 * np.max(values[~high])))
    told = [(float(values[at]), beside(series, int(at), high)) for at in strong]
    top = int(np.argmax(np.where(high, 0.0, values)))
    if values[top] < _PEAK * float(np.min(values[~high])):
        return False
    peak = (values > 0.5 * values[top]) | high
    wide = [k for k in range(values.size) if np.all(peak[min(k, top) : max(k, top) + 1])]
    fits = [near is not None and near.holds(value, _SLACK) for value, near in told]
    return len(wide) >= _WIDE and len(fits) >= _FEWEST and sum(fits) > _FITS * len(fits)


def _suspicion(readings: Readings, column: str, kind: str, slips: list[_Slip]) -> Suspicion:
    quantity, rows = QUANTITIES[column], tuple(s.row for s in slips)
    because = {
        "a decimal point was lost": "typed without the point, or opened under another country's settings",
        "a sign was flipped": "leads exchanged, or a minus typed",
        "a number became a date": "a spreadsheet took the number for a date",
    }[kind]
    first = slips[0]
    words = f" ({first.words})" if first.words else ""
    return Suspicion(
        f"{kind}: {quantity.name.lower()}", lines_of(readings, rows),
        f"{first.shown:.10g} {quantity.unit}".rstrip() + f"{words} among rows that say about {first.meant:.3g}",
        f"{because}: would be " + listed([f"{s.meant:.7g} {quantity.unit}".rstrip() for s in slips]),
        "pass these lines over in a layout, or read the first export of the instrument", rows, unusable=True,
    )  # fmt: skip
