"""Which explanation a peak gets: all that are possible weighed against each other, or none when two stay possible.

The weight of an explanation is how often a bench has such a peak times the density of the peak's place, width and
height under it; the shares are the weights over their sum (Bayes' rule). The rates beforehand are stated beside each.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from aotf_lab.crystal.hunt.expected import Expected
from aotf_lab.crystal.hunt.features import Features, WidthOfLines, normal
from aotf_lab.crystal.hunt.ghosts import ghosts_of_lines, ghosts_of_peaks
from aotf_lab.crystal.hunt.neighbours import second_polarisation, strong_sidelobes
from aotf_lab.crystal.hunt.peak import CONFIDENT, Explanation, Kind
from aotf_lab.estimation.checks import z_limit

__all__ = ["Decision", "decide"]

Decision = tuple[Kind, tuple[Explanation, ...]]

_UNLISTED = 0.02
"""How many lines a bench has beside those of its list."""

_UNEXPLAINED = 0.02
_LOG_HEIGHTS, _LOG_WIDTHS = 9.2, 3.0
"""Range of the logarithm of heights (four decades) and of widths (a factor of 20) of any peak."""


def decide(
    peaks: list[Features], width: WidthOfLines, told: Expected, sweep_mhz: tuple[float, float], visible_mw: float
) -> dict[int, Decision]:
    """Return (kind, explanations, the likeliest first) for each peak by its index.

    From the highest down: a peak can only belong to a higher one that is no ghost and no sidelobe itself.
    ``visible_mw`` is the height that is found for sure.
    """
    decided: dict[int, Decision] = {}
    partners: list[Features] = []
    names: dict[int, str] = {}
    for peak in sorted(peaks, key=lambda p: -float(p.height_mw.n)):
        others = [p for p in peaks if not _is(decided, p, "ghost", "sidelobe")]
        lines = [p for p in partners if not _is(decided, p, "other polarisation")]
        weighed = [
            *_as_line(peak, width, told, sweep_mhz, set(names.values())),
            _unexplained(sweep_mhz),
            *ghosts_of_peaks(peak, partners, told),
            *ghosts_of_lines(peak, told, width, sweep_mhz),
            *second_polarisation(peak, lines, others, told, names, visible_mw),
            *strong_sidelobes(peak, partners),
        ]
        explanations = _shares(weighed)
        best = explanations[0]
        decided[peak.index] = best.kind if best.share >= CONFIDENT else "ambiguous", explanations
        if decided[peak.index][0] in ("line", "other polarisation", "ambiguous"):
            partners.append(peak)
        if decided[peak.index][0] == "line" and best.name:
            names[peak.index] = best.name
    return decided


def _is(decided: dict[int, Decision], peak: Features, *kinds: Kind) -> bool:
    return peak.index in decided and decided[peak.index][0] in kinds


def _shares(weighed: list[tuple[float, Explanation]]) -> tuple[Explanation, ...]:
    weights = np.array([w for w, _ in weighed])
    shares = np.exp(weights - weights.max())
    shares /= shares.sum()
    made = [replace(e, share=float(s)) for s, (_, e) in zip(shares, weighed, strict=True)]
    return tuple(sorted((e for e in made if e.share > 1e-12), key=lambda e: -e.share))


def _as_line(
    peak: Features, width: WidthOfLines, told: Expected, sweep_mhz: tuple[float, float], taken: set[str]
) -> Iterator[tuple[float, Explanation]]:
    """Yield the peak as a line: by name where lines are told and not yet found, and as one of no known name."""
    u_width = float(np.hypot(peak.log_width.s, width.spread))
    shape = normal(peak.log_width.n, width.log_width, u_width) - math.log(_LOG_HEIGHTS)
    z = (peak.log_width.n - width.log_width) / u_width
    found = f"width {math.exp(peak.log_width.n - width.log_width):.2f} of a line's ({width.source}), "
    found += f"{abs(z):.1f} u off, limit {z_limit():.1f}"
    for name, (frequency, u_line) in told.lines.items():
        if name in taken:
            continue
        away, u = peak.centre_mhz.n - frequency, math.hypot(float(peak.centre_mhz.s), u_line, peak.tolerance_mhz)
        if abs(away) < 6.0 * u:
            place = f"{1e3 * away:.0f} kHz from where line {name} is expected, limit {1e3 * z_limit() * u:.0f}"
            yield normal(away, 0.0, u) + shape, Explanation("line", 0.0, f"{place}; {found}", name=name)
    rate = _UNLISTED if told.told else told.count
    listed = "; no line of the list is expected here" if told.told else ""
    span = sweep_mhz[1] - sweep_mhz[0]
    yield math.log(rate / span) + shape, Explanation("line", 0.0, found + listed)


def _unexplained(sweep_mhz: tuple[float, float]) -> tuple[float, Explanation]:
    weight = math.log(_UNEXPLAINED / (sweep_mhz[1] - sweep_mhz[0])) - math.log(_LOG_HEIGHTS * _LOG_WIDTHS)
    return weight, Explanation("unexplained", 0.0, "neither place nor width is that of anything known")
