"""With which supply to start, and how far to raise it: both below the crystal's limit for sure."""

from __future__ import annotations

from dataclasses import dataclass

from aotf_lab.driver.level import Level, SafeSupply
from aotf_lab.errors import OutOfRangeError

__all__ = ["FIRST_SHARE", "SafeStart", "safe_start"]

FIRST_SHARE = 0.1
"""Share of the limit that the first supply makes at the hottest frequency (common practice, no source)."""


@dataclass(frozen=True)
class SafeStart:
    """The first supply ``first_v`` (V), the RF power that it makes at ``first_mhz``, the hottest frequency there.

    ``safe`` is the highest safe supply, ``heat_w`` (None: not known) what stays in the amplifier there, and
    ``heat_bound`` whether that is only an upper bound. ``lowest``: no lower supply than the first was measured.
    """

    safe: SafeSupply
    first_v: float
    first_w: float
    first_mhz: float
    heat_w: float | None
    heat_bound: bool
    lowest: bool


def safe_start(level: Level, safe: SafeSupply, supply_a: float | None = None) -> SafeStart:
    """Return where to start below the safe supply; ``supply_a`` is the most that the amplifier draws (A)."""
    first_v = _first_supply(level, FIRST_SHARE * safe.limit_w, safe)
    first_mhz = level.hottest_mhz(first_v)
    heat_w, heat_bound = _heat(level, safe, supply_a)
    return SafeStart(
        safe, first_v, float(level.rf_power(first_v, first_mhz).n), first_mhz, heat_w, heat_bound,
        first_v <= level.range_v[0],
    )  # fmt: skip


def _first_supply(level: Level, wanted_w: float, safe: SafeSupply) -> float:
    """Return the supply (V) that makes ``wanted_w`` where it is hottest, within what was measured and is safe."""
    low = level.range_v[0]
    hottest = level.hottest_mhz(low)
    try:
        for _ in range(3):  # where it is hottest depends weakly on the supply
            supply = min(float(level.supply(wanted_w, hottest).n), safe.supply_v)
            hottest = level.hottest_mhz(supply)
    except OutOfRangeError as error:
        return low if wanted_w <= error.low else safe.supply_v
    return supply


def _heat(level: Level, safe: SafeSupply, supply_a: float | None) -> tuple[float | None, bool]:
    if level.current is not None:
        return float(level.heat_w(safe.supply_v, safe.at_mhz).n), False
    return (None, False) if supply_a is None else (safe.supply_v * supply_a, True)
