"""Is the RF power more than the amplifier takes from its DC supply?"""

from __future__ import annotations

import math

import numpy as np

from aotf_lab.physics.rf import dbm_to_watt
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.scatter import Floats, numbers
from aotf_lab.reading.sanity.suspicion import Suspicion, lines_of

__all__ = ["FALSE_POWERS", "rf_above_dc"]

FALSE_POWERS: tuple[tuple[float, str], ...] = (
    (2.0, "peak read as rms"),
    (4.0, "scope input not terminated: twice the voltage"),
    (8.0, "peak-to-peak read as rms"),
    (100.0, "x10 probe counted twice"),
    (1000.0, "mW read as W"),
)
"""By what RF power comes out too high, and why. A sine of rms value U is sqrt(2) U high and 2 sqrt(2) U from
peak to peak; an open input shows twice the voltage of a matched one; power goes with the square."""

_CLASS_B = math.pi / 4
"""Largest share of the DC input that a linear (class B) amplifier can give as RF (textbook result for a sine)."""

_TOLERANCE = 1.05
"""Both meters together may be 5 % off (common practice, no source)."""


def rf_above_dc(readings: Readings, *, supply_a: float | None = None) -> tuple[Suspicion, ...]:
    """Return the rows whose ``rf_power_w`` is above ``supply_v`` times the current, with what would bring it below.

    The current is that of a column ``supply_a``, else the stated largest DC current of the amplifier (A); without
    either, or without the columns, nothing is asked. Causes are named in the order in which they bring the power
    below the DC input: those that leave what an amplifier can do (pi/4 of it) first, the smallest first.
    """
    table = readings.table
    if not {"rf_power_w", "supply_v"} <= set(table.columns):
        return ()
    power, volts = numbers(table["rf_power_w"]), numbers(table["supply_v"])
    current = numbers(table["supply_a"]) if "supply_a" in table.columns else np.full(power.size, np.nan)
    current = np.where(np.isfinite(current), current, np.nan if supply_a is None else supply_a)
    dc = volts * current
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where((dc > 0) & (power > 0), power / dc, 0.0)
    rows = np.flatnonzero(share > _TOLERANCE)
    if not rows.size:
        return ()
    worst = int(np.argmax(share))
    return (
        Suspicion(
            "RF power above the amplifier's DC input", lines_of(readings, rows.tolist()),
            f"{power[worst]:.4g} W of RF from {volts[worst]:.4g} V x {current[worst]:.3g} A = {dc[worst]:.3g} W"
            f" of DC, {share[worst]:.3g} times as much",
            "; ".join(_causes(float(share[worst]), power, dc)), "correct how the level is read: unit, termination, "
            "probe and pad under [instrument.scope] in session.toml", tuple(rows.tolist()), unusable=True,
        ),
    )  # fmt: skip


def _causes(share: float, power: Floats, dc: Floats) -> list[str]:
    below = [
        (share / factor, f"{words} (power / {factor:g}") for factor, words in FALSE_POWERS if share / factor <= 1.0
    ]
    known = np.isfinite(power) & np.isfinite(dc) & (dc > 0)
    if np.all((power[known] >= -40) & (power[known] <= 50)):
        as_dbm = float(np.max(dbm_to_watt(power[known]) / dc[known]))
        below += [(as_dbm, "dBm taken for W (the numbers read in dBm")] if as_dbm <= 1.0 else []
    below.sort(key=lambda pair: (pair[0] > _CLASS_B, -pair[0]))
    if not below:
        return [
            f"no single slip explains a factor of {share:.3g}: a pad counted that is not there, or the wrong current"
        ]
    return [f"{words}: {100 * efficiency:.2g} % of the DC input)" for efficiency, words in below]
