"""On which day will a calibration have lost its light?

The set-point in use is that of the last record. On a later day the link is where the trend, the wander and a new
scatter between records have taken it. The error of the set-point, the oscillator's shift less the crystal's, has for
each size and kind of the scatter a normal distribution; the chance that it stays within the offset of the stated loss
is a mean over these. Nothing is promised further ahead than the history reaches back (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from scipy import optimize, special

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.coupled_waves import detuning_for_light, light_lost
from aotf_lab.record.drift.due import CONFIDENCE, Due, Passband
from aotf_lab.record.drift.link import LinkDrift

__all__ = ["Room", "due_of", "room_of"]

_DAYS = 32
"""Days looked at before the one of the limit is narrowed down."""
_SIZES = 64
"""Sizes of a link's scatter that are enough for the chance of two links together."""


@dataclass(frozen=True)
class Room:
    """The temperatures to come: ``over_k`` their mean over that of the last record, ``u_k`` their spread (k = 1).

    ``corrected``: whether set-points are moved by the coefficient found; the thermometer's noise is in the scatter.
    """

    over_k: float
    u_k: float
    corrected: bool


def room_of(drift: LinkDrift, swing_k: float | None, *, corrected: bool) -> Room:
    """Return the temperatures to come: within +-``swing_k`` of the last record's, or as they were at the records."""
    t = drift.history.temperature_c
    if swing_k is not None:
        return Room(0.0, swing_k / 3.0**0.5, corrected)
    if np.isnan(t).any():
        return Room(0.0, 0.0, False)
    middle, half = 0.5 * float(t.min() + t.max()), 0.5 * float(np.ptp(t))
    return Room(middle - float(t[-1]), half / 3.0**0.5, corrected)


@dataclass(frozen=True, eq=False)
class _Error:
    """A link's error (MHz) on a day: ``mean`` and ``variance`` (g,) for each scatter, ``weight`` (g,).

    ``warm`` (g,) is what the spread of the temperature makes of it, with its sign.
    """

    mean: FloatArray
    variance: FloatArray
    warm: FloatArray
    weight: FloatArray


def _error(drift: LinkDrift, room: Room, scale_mhz: float, day: float) -> _Error:
    """Return the shift of the link on a ``day`` after the last record; ``scale_mhz`` turns its unit into MHz."""
    found = drift.found
    mean, own, known = found.later(drift.at(room.over_k, day), day)
    variance, warm = own + known, np.zeros_like(mean)
    if "per_k" in drift.terms:
        used, left, spread = _heat(drift, room)
        mean, variance, warm = mean - used * room.over_k, variance + spread, left * room.u_k
    return _Error(scale_mhz * mean, scale_mhz**2 * variance, scale_mhz * warm, found.weight)


def _heat(drift: LinkDrift, room: Room) -> tuple[float, FloatArray, FloatArray]:
    """Return the coefficient by which set-points are moved, what is left of the link's (g,), its variance (g,)."""
    found, k = drift.found, drift.terms.index("per_k")
    used = float(found.mean[k]) if room.corrected else 0.0
    left = found.values[:, k] - used
    return used, left, (left**2 + found.covariance[:, k, k]) * room.u_k**2


def _parts(drift: LinkDrift, room: Room, scale_mhz: float, day: float) -> dict[str, float]:
    """Return the size (kHz) of each cause on that day, at the likeliest scatter."""
    found, name, kilo, m = drift.found, drift.history.link, 1e3 * scale_mhz, drift.found.likeliest
    _, own, known = found.later(drift.at(room.over_k, day), day)
    parts = {
        f"scatter of the {name} between records": float(own[m]) ** 0.5,
        f"what is not known of the {name}'s coefficients": float(known[m]) ** 0.5,
        f"last record of the {name} off the trend": abs(float(found.later(drift.at(0.0), 1.0)[0][m])),
    }
    if "per_k" in drift.terms:
        _, left, spread = _heat(drift, room)
        parts[f"temperature of the {name}"] = float(np.hypot(left[m] * room.over_k, spread[m] ** 0.5))
    if "per_day" in drift.terms:
        parts[f"ageing of the {name}"] = abs(float(found.mean[drift.terms.index("per_day")])) * day
    return {cause: kilo * size for cause, size in parts.items()}


def _coarse(error: _Error) -> _Error:
    """Return ``error`` on a coarser grid of the scatter: its weight is smooth there."""
    every = max(1, len(error.weight) // _SIZES)
    weight = error.weight[::every] / error.weight[::every].sum()
    return replace(
        error, mean=error.mean[::every], variance=error.variance[::every], warm=error.warm[::every], weight=weight
    )


def _together(errors: Sequence[_Error]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return means, u and weights (k,) of the first error, or of the first less the second, warmed by one room."""
    first, *others = errors
    if not others:
        return first.mean, np.sqrt(first.variance), first.weight
    a, b = _coarse(first), _coarse(others[0])
    variance = np.add.outer(a.variance, b.variance) - 2.0 * np.outer(a.warm, b.warm)
    return np.subtract.outer(a.mean, b.mean).ravel(), np.sqrt(variance.ravel()), np.outer(a.weight, b.weight).ravel()


def _chance_within(errors: Sequence[_Error], allowed_mhz: float) -> float:
    """Return the chance that the error of all links together stays within +-``allowed_mhz``."""
    mean, u, weight = _together(errors)
    return float(weight @ (special.ndtr((allowed_mhz - mean) / u) - special.ndtr((-allowed_mhz - mean) / u)))


def _promised(errors: Sequence[_Error], line: Passband) -> float:
    """Return the loss of light (%) that is not exceeded with the usual confidence."""
    low, high = 0.0, line.fwhm_mhz
    if _chance_within(errors, high) < CONFIDENCE:
        return 100.0
    offset = float(optimize.brentq(lambda a: _chance_within(errors, a) - CONFIDENCE, low, high, xtol=1e-7))
    return 100.0 * float(light_lost(offset / line.fwhm_mhz))


def due_of(
    drifts: Sequence[LinkDrift], rooms: Sequence[Room], lines: Mapping[str, Passband], loss_percent: float
) -> Due:
    """Return when one link, or the set-points made of both, are due at the line that is first."""
    last = max(d.history.dates[-1] for d in drifts)
    reach = max(int(min(d.history.span_days for d in drifts)), 1)
    found = [_due_at(drifts, rooms, name, line, loss_percent, last, reach) for name, line in lines.items()]
    return min(found, key=lambda due: (date.min if due.date is None else due.date, float(due.chance[0])))


def _due_at(
    drifts: Sequence[LinkDrift], rooms: Sequence[Room], name: str, line: Passband, loss_percent: float, last: date,
    reach: int,
) -> Due:  # fmt: skip
    allowed = float(detuning_for_light(1.0 - loss_percent / 100.0)) * line.fwhm_mhz

    scales = [1.0 if d.history.link == "oscillator" else line.frequency_mhz for d in drifts]
    since = [(last - d.history.dates[-1]).days for d in drifts]
    links = list(zip(drifts, rooms, scales, since, strict=True))

    def errors(day: float) -> list[_Error]:
        return [_error(d, room, scale, day + ago) for d, room, scale, ago in links]

    days = np.unique(np.round(np.geomspace(1.0, max(reach, 1), _DAYS)))
    chance = np.array([_chance_within(errors(float(day)), allowed) for day in days])
    bad = np.flatnonzero(chance < CONFIDENCE)
    good_to, first_bad = (reach, None) if not len(bad) else (int(days[bad[0] - 1]) if bad[0] else 0, int(days[bad[0]]))
    while first_bad is not None and first_bad - good_to > 1:
        middle = (good_to + first_bad) // 2
        if _chance_within(errors(float(middle)), allowed) >= CONFIDENCE:
            good_to = middle
        else:
            first_bad = middle
    due = first_bad if first_bad is not None else reach + 1
    parts: dict[str, float] = {}
    for d, room, scale, ago in links:
        parts |= _parts(d, room, scale, float(due + ago))
    ordered = dict(sorted(parts.items(), key=lambda part: -part[1]))
    return Due(
        tuple(d.history.link for d in drifts), last, last + timedelta(days=due) if good_to >= 1 else None, name,
        loss_percent, 1e3 * allowed, ordered, first_bad is None, _promised(errors(1.0), line), days, chance,
    )  # fmt: skip
