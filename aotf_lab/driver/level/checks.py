"""What is asked of the readings of level, and the answers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from aotf_lab.driver.level.scale import PER_NEPER, scale_u
from aotf_lab.estimation.checks import Check, chi2_check, chi2_limit, z_check, z_limit

if TYPE_CHECKING:
    from aotf_lab.driver.level.level import Level

__all__ = ["level_checks"]

_LEAST_DB = 0.02
"""Two runs of one bench agree no better than this (common practice, no source)."""


def level_checks(level: Level) -> Iterator[Check]:
    """Yield the checks of the two runs together."""
    if level.over_band.u_known:
        yield chi2_check(level.over_band.chi2, level.over_band.dof, "power over the band")
    yield _single_readings(level)
    yield _agreement(level)
    yield _other_rows(level)
    if not level.power_scale_known:
        yield Check(
            "power scale", False, "pad or probe not stated: every watt here may be wrong by any factor; "
            "state [instrument.scope] pad_db and probe",
        )  # fmt: skip


def _single_readings(level: Level) -> Check:
    """Return the check that no reading of the band's run stands far out."""
    shape = level.over_band
    sizes = np.abs(shape.residuals / np.sqrt(np.clip(1 - shape.leverage, 1e-12, None))) / shape.birge
    worst, limit = int(np.argmax(sizes)), z_limit(len(sizes))
    place = level.rows.places[int(level.band_run.rows[worst])]
    detail = f"largest residual over the band {sizes[worst]:.1f} standard deviations at {place}, limit {limit:.1f}"
    passed = bool(sizes[worst] <= limit)
    return Check("single readings over the band", passed, detail if passed else f"{detail}; look at that reading")


def _agreement(level: Level) -> Check:
    """Return the check that both runs say the same where they meet: all but their scatter and scales is in common."""
    f, v = level.supply_run.setting, level.band_run.setting
    shape = level.over_band
    if not (shape.low <= f <= shape.high and level.along_supply.low <= v <= level.along_supply.high):
        return Check("both runs agree", False, f"they do not meet: {f:.4g} MHz or {v:.4g} V lies outside the other run")
    rows = np.zeros((1, len(level.numbers.factor)))
    p = len(level.along_supply.numbers)
    rows[:, :p] = -level.along_supply.db_rows(np.array([v]))
    rows[:, p : p + len(shape.nodes)] = shape.rows(np.array([f]))
    apart = float(shape.curve(np.array([f]))[0])
    u = float(np.sqrt(level.numbers.u(rows)[0] ** 2 + _scales_apart_db(level) ** 2 + _LEAST_DB**2))
    what = f"power of the run over the band less that over the supply, at {v:.4g} V and {f:.4g} MHz,"
    return z_check("both runs agree", apart, u, what, "dB", "the setting or the bench changed between the two runs")


def _scales_apart_db(level: Level) -> float:
    """Return the standard uncertainty (dB) of the ratio of the two runs' scales of power."""
    runs = ((level.band_run, 1.0), (level.supply_run, -1.0))
    weighted = tuple((run, float(np.mean(level.rows.power_w[run.rows])), sign) for run, sign in runs)
    return PER_NEPER * scale_u(weighted, level.supply_run.setting)


def _other_rows(level: Level) -> Check:
    """Return the check that readings at other settings lie on the curve; without any it was not tested there."""
    rows, chosen = level.rows, level.neither
    (low_v, high_v), (low, high) = level.range_v, level.range_mhz
    inside = chosen[
        (rows.supply_v[chosen] >= low_v) & (rows.supply_v[chosen] <= high_v)
        & (rows.frequency_mhz[chosen] >= low) & (rows.frequency_mhz[chosen] <= high)
    ]  # fmt: skip
    name, left = "readings at other settings", len(chosen) - len(inside)
    beyond = f"; {left} more lie beyond both runs and were not used" if left else ""
    if not len(inside) or rows.u_power_w is None:
        detail = f"{len(inside)} with stated uncertainty: that both runs combine as they should was not tested"
        return Check(name, True, detail + beyond)
    v, f, power = rows.supply_v[inside], rows.frequency_mhz[inside], rows.power_w[inside]
    own = PER_NEPER * rows.u_power_w[inside] / power
    gap = 10 * np.log10(power) - level.nominal_db(v, f)
    weights = level.db_rows(v, f)
    shared = len(level.along_supply.numbers) + len(level.over_band.nodes) + 1
    weights[:, shared:] = 0.0  # the scale is the same in these readings
    factor = weights @ level.numbers.factor
    covariance = factor @ factor.T + np.diag(np.hypot(own, _LEAST_DB) ** 2)
    chi2, limit = float(gap @ np.linalg.solve(covariance, gap)), chi2_limit(len(gap))
    detail = f"chi2 = {chi2:.1f} on {len(gap)} readings that neither run used, limit {limit:.1f}{beyond}"
    cure = "supply and frequency do not act apart from each other: measure the band at the supply in use"
    return Check(name, chi2 <= limit, detail if chi2 <= limit else f"{detail}; {cure}")
