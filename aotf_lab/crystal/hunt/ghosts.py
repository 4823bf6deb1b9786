"""Ghosts: light of a line that a harmonic of the oscillator drives, at half or a third of the line's own frequency.

With the oscillator at f the harmonic of order n runs at n f and sweeps n times faster: the ghost of a line at F lies
at F/n and is n times narrower. It carries the RF power that the harmonic has, so
height/height of the line = sin^2((pi/2) sqrt(r a)) / sin^2((pi/2) sqrt(r)), r the drive ratio of the line and a the
harmonic's share of the power (coupled waves in tune, ``physics.coupled_waves``).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from aotf_lab.crystal.hunt.expected import STRONGEST_DBC, WEAKEST_DBC, Expected, Harmonic
from aotf_lab.crystal.hunt.features import Features, WidthOfLines, normal
from aotf_lab.crystal.hunt.peak import Explanation
from aotf_lab.estimation.checks import z_limit
from aotf_lab.physics.coupled_waves import peak_efficiency

__all__ = ["GHOST_WIDTH_SPREAD", "LEVEL_SPREAD", "ghosts_of_lines", "ghosts_of_peaks", "light_ratio"]

GHOST_WIDTH_SPREAD = 0.06
LEVEL_SPREAD = 0.5
"""Scatter of the logarithm of a ghost's height: amplifier and match differ by some 2 dB between F/n and F."""

_RATE, _RATE_UNSEEN = 0.5, 0.05


def light_ratio(drive: float, level_dbc: float) -> float:
    """Return the height of a ghost over that of its line, for the line's drive ratio and the harmonic's level.

    >>> round(light_ratio(0.01, -20.0), 4), round(light_ratio(1.0, -20.0), 4)
    (0.0101, 0.0245)
    """
    drive = float(np.clip(drive, 0.01, 2.4))
    return float(peak_efficiency(drive * 10.0 ** (level_dbc / 10.0)) / peak_efficiency(drive))


def ghosts_of_peaks(peak: Features, partners: list[Features], told: Expected) -> Iterator[tuple[float, Explanation]]:
    """Yield (log weight, explanation) for each partner and order whose frequency is near."""
    for partner in partners:
        for harmonic in told.harmonics:
            n = harmonic.order
            away = peak.centre_mhz - partner.centre_mhz / n
            u = float(np.hypot(away.s, np.hypot(peak.tolerance_mhz, partner.tolerance_mhz / n)))
            if abs(away.n) > 6.0 * u or peak.height_mw.n >= partner.height_mw.n:
                continue
            width = partner.log_width - math.log(n)
            u_width = float(np.hypot((peak.log_width - width).s, GHOST_WIDTH_SPREAD))
            level, found = _height(peak, partner, harmonic)
            weight = math.log(_RATE) + normal(away.n, 0.0, u) + level
            weight += normal(peak.log_width.n, width.n, u_width)
            z = (peak.log_width.n - width.n) / u_width
            statement = (
                f"{1e3 * away.n:.1f} kHz from 1/{n} of peak {partner.index + 1}, limit {1e3 * z_limit() * u:.1f}; "
                f"width {math.exp((peak.log_width - partner.log_width).n):.2f} of its, a ghost's is {1 / n:.2f}, "
                f"{abs(z):.1f} u off, limit {z_limit():.1f}; {found}"
            )
            yield weight, Explanation("ghost", 0.0, statement, partner.index + 1, n)


def _height(peak: Features, partner: Features, harmonic: Harmonic) -> tuple[float, str]:
    """Return the log density of a ghost's logarithmic height, and the numbers in words."""
    ratio = float(peak.height_mw.n / partner.height_mw.n)
    u = float(np.hypot(peak.height_mw.s / peak.height_mw.n, partner.height_mw.s / partner.height_mw.n))
    shown = f"height {10 * math.log10(max(ratio, 1e-9)):.1f} dB of its"
    if harmonic.told:
        mean = light_ratio(partner.drive, harmonic.level_dbc)
        spread = math.hypot(math.hypot(u, LEVEL_SPREAD), 0.23 * harmonic.u_db)
        allowed = f"{10 * math.log10(mean):.1f} +- {4.34 * spread:.1f} dB by a harmonic of {harmonic.level_dbc:g} dBc"
        return normal(math.log(max(ratio, 1e-9)), math.log(mean), spread), f"{shown}, expected {allowed}"
    low, high = math.log(light_ratio(0.3, WEAKEST_DBC)), math.log(light_ratio(1.0, STRONGEST_DBC))
    value = math.log(max(ratio, 1e-9))
    beyond = max(low - value, value - high, 0.0) / math.hypot(u, LEVEL_SPREAD)
    limit = f"at most {4.34 * high:.1f} dB by a harmonic of {STRONGEST_DBC:g} dBc"
    return -math.log(high - low) - 0.5 * beyond**2, f"{shown}, {limit} (no level told)"


def ghosts_of_lines(
    peak: Features, told: Expected, width: WidthOfLines, sweep_mhz: tuple[float, float]
) -> Iterator[tuple[float, Explanation]]:
    """Yield (log weight, explanation) for ghosts of lines that lie beyond the sweep, told or not."""
    low, high = sweep_mhz
    unseen = {k: v for k, v in told.lines.items() if not low <= v[0] <= high}
    for harmonic in told.harmonics:
        n = harmonic.order
        u_width = float(np.hypot(peak.log_width.s, np.hypot(width.spread, GHOST_WIDTH_SPREAD)))
        shape = normal(peak.log_width.n, width.log_width - math.log(n), u_width) - math.log(9.2)
        found = f"width {math.exp(peak.log_width.n - width.log_width):.2f} of a line's, a ghost's is {1 / n:.2f}"
        for name, (frequency, u_line) in unseen.items():
            away = float(peak.centre_mhz.n) - frequency / n
            u = math.hypot(float(peak.centre_mhz.s), u_line / n, peak.tolerance_mhz)
            if abs(away) < 6.0 * u:
                weight = math.log(_RATE) + normal(away, 0.0, u) + shape
                place = f"{1e3 * away:.0f} kHz from 1/{n} of line {name}, limit {1e3 * z_limit() * u:.0f}"
                yield weight, Explanation("ghost", 0.0, f"{place}; {found}", None, n, name)
        if n * float(peak.centre_mhz.n) > high and not told.told:
            weight = math.log(_RATE_UNSEEN / (high - low)) + shape
            place = f"its line would lie at {n * float(peak.centre_mhz.n):.2f} MHz, beyond the sweep"
            yield weight, Explanation("ghost", 0.0, f"{place}; {found}", None, n)
