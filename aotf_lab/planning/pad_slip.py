"""Could the pad, the probe or the termination be another than stated? What the amplifier itself says of the RF power.

A pad of 40 dB that is stated as one of 30 dB makes every RF power ten times too small, and a safe supply too high.
Repeats, curves and checks of the level all agree then. Only what does not come through the pad can tell:

the DC      RF power is part of what the amplifier takes: ten times the power cannot be more than all of it (energy).
            All of it: the current of every supply that feeds the amplifier, driver stages too.
the papers  An amplifier gives its rated output at its rated supply, within a factor: seldom more than twice it, in
            deep saturation, and seldom less than a fifth (-7 dB), at a weak drive or an end of its band (common
            practice, no source). The two are a factor of ten apart: at the rated supply a slip of 10 dB always shows.

Below its rated supply V_r the RF voltage falls with V - V_0, V_0 the volts that the stage itself needs (the same law
as ``driver.level``). With V_0 not above half of V the power at V is at least rated (V / (2 V_r - V))^2. Above V_r it
rises by the same law: with V_0 not above half of V_r it is at most twice rated (2 V / V_r - 1)^2.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.session_file import AmplifierFacts

__all__ = ["SLIP", "PadSlip", "pad_slip", "pad_slip_of"]

SLIP = 10.0
"""The factor on power that is asked about: 10 dB, the step of pads of 10, 20 and 30 dB (common practice, no source).

Less is not told: a pad of 3 or 6 dB, or 50 ohm at a scope that is stated to be open (4 times the power)."""

MOST_OF_RATED, LEAST_OF_RATED = 2.0, 0.2
"""Between these lies the output of an amplifier over its rating, at its rated supply (see above)."""

LEAST_UNTURNED = 0.1
"""Below this share of its rating at the highest supply, where nothing says at which supply that rating holds."""

LEAST_EFFICIENCY, LEAST_OF_LIMIT = 0.05, 0.005
"""Least RF over DC at the highest power: class A turns 7 to 25 % into RF, class AB 40 to 60 % (common practice, no
source). Where only the largest current is stated the DC is an upper bound, and a tenth of it nothing unusual."""


@dataclass(frozen=True)
class PadSlip:
    """Whether ``SLIP`` times the power measured is "excluded", "likely" or "open", and ``why`` in words.

    ``power_w`` is the RF power asked about, ``place`` where it was measured.
    """

    verdict: Literal["excluded", "likely", "open"]
    why: str
    power_w: float
    place: str = ""


def pad_slip(power_w: float, supply_v: float, supply_a: float | None, amplifier: AmplifierFacts) -> PadSlip:
    """Return what the amplifier says of the highest RF power measured ``power_w`` (W), at ``supply_v`` (V).

    ``supply_a`` is the DC current read there (A), None where nobody read it. What excludes a slip comes first: energy
    cannot be wrong by habit of the trade. A current that is stated, not read, bounds nothing above the rated supply.
    A slip of less than 10 dB is not told.

    >>> pad_slip(0.9, 11.0, 0.16, AmplifierFacts()).verdict, pad_slip(0.09, 11.0, None, AmplifierFacts()).verdict
    ('excluded', 'open')
    >>> pad_slip(0.09, 11.0, None, AmplifierFacts(rated_output_w=2.0, rated_supply_v=15.0)).verdict
    'likely'
    """
    current = amplifier.supply_a if supply_a is None else supply_a
    dc_w = None if current is None else supply_v * current
    rated, least, share = amplifier.rated_output_w, _least_w(supply_v, amplifier), LEAST_OF_RATED
    if least is None and rated is not None:
        least, share = rated, LEAST_UNTURNED
    bounds = supply_a is not None or amplifier.rated_supply_v is None or supply_v <= amplifier.rated_supply_v
    if dc_w is not None and bounds and SLIP * power_w > dc_w:
        return PadSlip("excluded", f"{SLIP:g} times as much would be more than the {dc_w:.2g} W of DC", power_w)
    least_share = LEAST_OF_LIMIT if supply_a is None else LEAST_EFFICIENCY
    if dc_w is not None and power_w < least_share * dc_w and not _as_rated(power_w, least, amplifier):
        return PadSlip("likely", f"the amplifier turns only {100 * power_w / dc_w:.2g} % of its DC into RF", power_w)
    if least is not None and power_w < share * least:
        return PadSlip("likely", _too_little(power_w, supply_v, least, amplifier), power_w)
    if rated is not None and SLIP * power_w > MOST_OF_RATED * rated * _more_above_rated(supply_v, amplifier):
        return PadSlip("excluded", f"{SLIP:g} times as much would be far more than its rated {rated:g} W", power_w)
    return PadSlip("open", "neither its DC nor its rated output tells", power_w)


def _least_w(supply_v: float, amplifier: AmplifierFacts) -> float | None:
    """Return the least (W) that the rating lets one expect at ``supply_v``, None where its supply is not stated."""
    rated, rated_v = amplifier.rated_output_w, amplifier.rated_supply_v
    if rated is None or rated_v is None:
        return None
    return rated * min(1.0, supply_v / max(2.0 * rated_v - supply_v, supply_v)) ** 2


def _more_above_rated(supply_v: float, amplifier: AmplifierFacts) -> float:
    """Return by what factor the most may grow above the rated supply, 1 below it or where that is not stated."""
    rated_v = amplifier.rated_supply_v
    return 1.0 if rated_v is None else max(1.0, 2.0 * supply_v / rated_v - 1.0) ** 2


def _as_rated(power_w: float, least_w: float | None, amplifier: AmplifierFacts) -> bool:
    """Return whether the power is what the rating lets one expect at this very supply."""
    return amplifier.rated_supply_v is not None and least_w is not None and power_w >= LEAST_OF_RATED * least_w


def _too_little(power_w: float, supply_v: float, least_w: float, amplifier: AmplifierFacts) -> str:
    share = f"the amplifier gives only {100 * power_w / (amplifier.rated_output_w or 1.0):.2g} % of its rated output"
    if amplifier.rated_supply_v is None:
        return f"{share} at {supply_v:.4g} V"
    return f"{share}, and at {supply_v:.4g} V {least_w:.2g} W or more are to be expected"


def pad_slip_of(levels: Iterable[Readings], amplifier: AmplifierFacts) -> PadSlip | None:
    """Return what the amplifier says of readings of its level, None where no row has both RF power and supply.

    Asked is the row of the highest power, or one of half of it and more where the current was read.
    """
    tables = [r.table.assign(place=r.places) for r in levels if {"rf_power_w", "supply_v"} <= set(r.table.columns)]
    if not tables:
        return None
    rows = pd.concat([pd.DataFrame(columns=["supply_a"], dtype=float), *tables], ignore_index=True)
    numbers = {c: rows[c].to_numpy(dtype=float) for c in ("rf_power_w", "supply_v", "supply_a")}
    power = np.where(numbers["supply_v"] > 0, np.nan_to_num(numbers["rf_power_w"]), 0.0)
    if not power.any():
        return None
    read = np.where(np.isfinite(numbers["supply_a"]) & (power >= 0.5 * power.max()), power, 0.0)
    row = int(np.argmax(read if read.any() else power))
    current = float(numbers["supply_a"][row])
    found = pad_slip(float(power[row]), float(numbers["supply_v"][row]), current if current > 0 else None, amplifier)
    return replace(found, place=str(rows["place"].iloc[row]))
