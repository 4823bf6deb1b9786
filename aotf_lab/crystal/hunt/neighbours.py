"""What a peak beside a higher one could be: light in the other polarisation, or a sidelobe higher than it should be."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from aotf_lab.crystal.hunt.expected import Expected
from aotf_lab.crystal.hunt.features import Features, normal
from aotf_lab.crystal.hunt.peak import Explanation

__all__ = ["FAR_MHZ", "second_polarisation", "strong_sidelobes"]

FAR_MHZ = 1.6
"""How far the peak of the other polarisation may lie from the line's (common practice, no source: a few hundred kHz);
further off it counts only where the cut predicts it."""

_RATE_SECOND, _RATE_LOBE = 0.15, 0.3
_LONE_NEAR, _LONE_FAR, _NEAR_MHZ = 0.03, 0.001, 0.25
"""How often one line alone has such a neighbour: within about ``_NEAR_MHZ``, and further off."""

_HAS = 0.8
_LINES_PER_MHZ = 0.3
"""Chance that another line shows the separation too, where it is one of polarisation; density of lines by chance."""

_CHANGE = 0.15
"""Relative change of the separation over a factor e in frequency that is still called common."""


def second_polarisation(
    peak: Features, partners: list[Features], others: list[Features], told: Expected, names: dict[int, str],
    visible_mw: float,
) -> Iterator[tuple[float, Explanation]]:  # fmt: skip
    """Yield (log weight, explanation) for each higher peak near by.

    The separation counts for little by itself. It speaks where the ``others`` that are high enough to show it (their
    neighbour would be above ``visible_mw``) have it too, or where the cut predicts it.
    """
    for partner in partners:
        away = peak.centre_mhz - partner.centre_mhz
        name = names.get(partner.index, "")
        reach = max(FAR_MHZ, 1.5 * abs(told.second_mhz.get(name, 0.0)))
        if abs(away.n) >= reach or peak.height_mw.n >= partner.height_mw.n:
            continue
        u_width = float(np.hypot((peak.log_width - partner.log_width).s, 0.10))
        shape = normal(peak.log_width.n, partner.log_width.n, u_width) - math.log(9.2)
        lone = _LONE_NEAR * math.exp(normal(away.n, 0.0, _NEAR_MHZ)) + (
            _LONE_FAR if abs(away.n) < FAR_MHZ else 1e-6
        ) / (2 * FAR_MHZ)
        place, found = math.log(lone), "no other line shows this separation"
        agreeing, missing = ([], 0) if abs(away.n) > FAR_MHZ else _common(peak, partner, others, visible_mw)
        if len(agreeing) > (abs(away.n) > 4 * _NEAR_MHZ):
            u, other = min(agreeing)
            chance = float(np.clip(6.0 * u * _LINES_PER_MHZ, 0.03, 0.5))
            speaks = len(agreeing) * math.log(_HAS / chance) + missing * math.log((1 - _HAS) / (1 - chance))
            near = 1.0 if abs(away.n) < 4 * _NEAR_MHZ else 0.2
            place = max(place, math.log(near * _RATE_SECOND) + normal(away.n, other, u) + min(speaks, 12.0))
            found = f"{len(agreeing)} of {len(agreeing) + missing} other lines show it too, to {1e3 * 3 * u:.0f} kHz"
        if name in told.second_mhz:
            predicted = told.second_mhz[name]
            u = math.hypot(0.1 * predicted, 0.05)
            place = max(place, math.log(_RATE_SECOND) + normal(away.n, predicted, u))
            found += f"; the cut predicts {predicted:.2f} +- {u:.2f} MHz"
        statement = f"{1e3 * away.n:.0f} +- {1e3 * away.s:.1f} kHz from peak {partner.index + 1}; {found}"
        yield shape + place, Explanation("other polarisation", 0.0, statement, partner.index + 1)


def _common(
    peak: Features, partner: Features, others: list[Features], visible_mw: float
) -> tuple[list[tuple[float, float]], int]:
    """Return (u, separation) in MHz of the other lines that show the separation, and how many should and do not."""
    away, ratio = peak.centre_mhz - partner.centre_mhz, float(peak.height_mw.n / partner.height_mw.n)
    clear = [o for o in others if o.height_mw.n > 5 * o.height_mw.s]
    rest = [o for o in clear if o.index not in (peak.index, partner.index)]
    lows: set[int] = set()
    agreeing: list[tuple[float, float]] = []
    missing = 0
    for high in sorted(rest, key=lambda p: -float(p.height_mw.n)):
        if high.index in lows:
            continue
        change = _CHANGE * abs(float(away.n) * math.log(high.centre_mhz.n / partner.centre_mhz.n))
        best = None
        for low in rest:
            apart = float(low.centre_mhz.n - high.centre_mhz.n)
            u = math.hypot(float(away.s), float(low.centre_mhz.s), change, 0.02)
            off = abs(apart - float(away.n))
            if low.height_mw.n < high.height_mw.n and off < 3.0 * u and (best is None or off < best[0]):
                best = off, u, apart, low.index
        if best is not None:
            agreeing.append(best[1:3])
            lows.add(best[3])
        elif ratio * high.height_mw.n > 2.0 * visible_mw:
            missing += 1
    return agreeing, missing


def strong_sidelobes(peak: Features, partners: list[Features]) -> Iterator[tuple[float, Explanation]]:
    """Yield (log weight, explanation) where light that is left lies on a sidelobe and is no higher than two of it."""
    for partner in partners:
        q2 = 0.25 * np.pi**2 * float(np.clip(partner.drive, 0.02, 2.2))
        per_rad = math.exp(partner.log_width.n) / 2.7831
        detuning = float(peak.centre_mhz.n - partner.centre_mhz.n) / per_rad
        if not abs(detuning) < 20.0:
            continue
        phase = math.sqrt(q2 + detuning**2)
        order = int(phase // math.pi)
        if order < 1:
            continue
        lobe = partner.height_mw.n * (np.sinc(phase_of_top(order) / np.pi) / np.sinc(np.sqrt(q2) / np.pi)) ** 2
        excess = float(peak.height_mw.n / lobe)
        away = abs(phase - phase_of_top(order)) * per_rad
        u = math.hypot(float(peak.centre_mhz.s), 0.35 * math.pi * per_rad)
        u_width = float(np.hypot(peak.log_width.s, 0.4))
        weight = math.log(_RATE_LOBE) + normal(away, 0.0, u) - math.log(2.0)
        weight += normal(math.log(max(excess, 1e-6)), math.log(0.5), 0.6)
        weight += normal(peak.log_width.n, partner.log_width.n + math.log(0.6), u_width)
        statement = (
            f"on sidelobe {order} of peak {partner.index + 1}, {excess:.2g} of coupled waves' height above it, limit 2"
        )
        yield weight, Explanation("sidelobe", 0.0, statement, partner.index + 1, order)


def phase_of_top(order: int) -> float:
    """Return the phase (rad) at which sin^2(s)/s^2 has its maximum number ``order`` beyond s = pi: tan s = s.

    >>> round(phase_of_top(1), 5), round(phase_of_top(2), 5)
    (4.49341, 7.72525)
    """
    s = (order + 0.5) * math.pi
    top = s - 1.0 / s
    for _ in range(5):
        top = math.atan(top) + order * math.pi
    return top
