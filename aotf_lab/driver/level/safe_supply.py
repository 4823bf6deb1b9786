"""The highest supply at which the RF power stays below a limit, at every frequency of the band, for sure."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from html import escape

import numpy as np
from scipy.optimize import brentq
from uncertainties import UFloat

from aotf_lab.driver.level.level import WAY, Level
from aotf_lab.driver.level.limits import DriveLimits
from aotf_lab.driver.level.scale import PER_NEPER
from aotf_lab.errors import AotfLabError, Said, UnsafeDriveError
from aotf_lab.estimation.budget import variance_shares
from aotf_lab.estimation.evaluate import require_inside
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.physics.rf import reflection_from_return_loss

__all__ = ["ASSUMED_RETURN_LOSS_DB", "SafeSupply", "SafeTerm", "safe_supply", "supply_for"]

ASSUMED_RETURN_LOSS_DB = 10.0
"""Of amplifier and crystal where nothing is stated (common practice, no source)."""

SETTING_V = 0.01
"""A safe supply is rounded down to whole steps of this: it is what one sets and reads."""

_DRAWS = 8000
_PLACES = 81
_AT_WORST = ("mismatch", WAY)
"""Causes that the bound takes at their end instead of drawing them: nothing says how likely their middle is."""


@dataclass(frozen=True)
class SafeTerm:
    """One step from the power as fitted to its bound: the ``factor`` on power, in words."""

    name: str
    factor: float
    words: str


@dataclass(frozen=True)
class SafeSupply:
    """The highest safe supply: ``bound_w`` is the upper bound of the power at ``at_mhz``, the hottest frequency.

    ``held_by`` says what stopped it: the limit, or the highest supply that was measured.
    """

    supply_v: float
    at_mhz: float
    bound_w: float
    limit_w: float
    confidence: float
    band_mhz: tuple[float, float]
    rf_power_w: UFloat
    terms: tuple[SafeTerm, ...] = field(repr=False)
    held_by: str

    @property
    def budget(self) -> dict[str, float]:
        """The share of the variance of the power at the hottest frequency by cause, largest first."""
        return variance_shares(self.rf_power_w)

    def __str__(self) -> str:
        low, high = self.band_mhz
        head = (
            f"highest safe supply {self.supply_v:.2f} V, held by {self.held_by}: from {low:.4g} to {high:.4g} MHz the "
            f"RF power stays below {self.limit_w:g} W with {100 * self.confidence:g} % confidence"
        )
        lines = [f"  {self.rf_power_w:.2uS} W at {self.at_mhz:.1f} MHz, the hottest frequency"]
        lines += [f"  x {t.factor:.3f}  {t.name}: {t.words}" for t in self.terms]
        return text_lines([head, *lines, f"  = {self.bound_w:.3g} W"])

    def _repr_html_(self) -> str:
        return f"<pre>{escape(str(self))}</pre>"


def safe_supply(
    level: Level,
    limit_w: float | DriveLimits,
    confidence: float = 0.975,
    *,
    crystal_return_loss_db: float | None = None,
    source_return_loss_db: float | None = None,
    band_mhz: tuple[float, float] | None = None,
    duty: float = 1.0,
) -> SafeSupply:
    """Return the highest supply, in steps of 10 mV, whose upper bound of RF power stays below the limit in the band.

    The bound is simultaneous over frequency: it is the ``confidence`` point of the *largest* power in the band, over
    8000 draws of every cause (fixed seed): scale, scatter, form of both curves. Above the knee it takes the worse of an
    amplifier that gives way at one output and one that does so at one drive. A phase of mismatch turns with frequency
    and is taken at its worst at every one of them: that of the readings' load by its own reflections, that of the
    crystal by the least ``crystal_return_loss_db`` in the band and the amplifier's ``source_return_loss_db`` (10 dB
    each where not stated).

    ``limit_w`` is the limit of a continuous drive; with ``DriveLimits`` and a ``duty`` below 1 both average and peak
    hold. ``band_mhz`` is the band in use (all that was measured).

    Raises ``UnsafeDriveError`` when even the lowest measured supply is too much or the scale of power is not stated,
    ``OutOfRangeError`` for a band beyond the readings, ``AotfLabError`` for a confidence outside 0.5 to 1.
    """
    limit = (
        limit_w.highest_peak_w(duty) if isinstance(limit_w, DriveLimits) else DriveLimits(limit_w).highest_peak_w(duty)
    )
    if not 0.5 <= confidence < 1:
        raise AotfLabError(
            "confidence of a safe drive", found=confidence, allowed="0.5 to below 1", cure="ask for 0.975"
        )
    if not level.power_scale_known:
        raise UnsafeDriveError(
            "no supply can be called safe: RF power may be wrong by any factor", found=Said("pad or probe not stated"),
            allowed="a scope whose pad and probe are stated", cure="state [instrument.scope] pad_db and probe",
        )  # fmt: skip
    band = level.range_mhz if band_mhz is None else band_mhz
    require_inside("frequency", np.array(band), *level.range_mhz, "MHz")
    mismatch = _mismatch_terms(level, crystal_return_loss_db, source_return_loss_db)
    bound = _Bound(level, confidence, band, float(np.prod([t.factor for t in mismatch])))
    low, high = level.range_v
    if bound.largest_w(low) > limit:
        raise UnsafeDriveError(
            "no measured supply keeps the RF power below the limit",
            found=Said(f"up to {bound.largest_w(low):.3g} W at {low:.4g} V, the lowest measured"),
            allowed=f"at most {limit:g} W", cure="put a pad before the crystal, or measure at lower supplies",
        )  # fmt: skip
    held = "the limit"
    if bound.largest_w(high) <= limit:
        supply, held = high, "the highest supply measured"
    else:
        found = float(brentq(lambda v: bound.largest_w(v) - limit, low, high, xtol=1e-5)) - 1e-5
        supply = max(low, round(math.floor(found / SETTING_V) * SETTING_V, 9))
    at = level.hottest_mhz(supply, band)
    power, largest = level.rf_power(supply, at), bound.largest_w(supply)
    spread = largest / power.n / bound.mismatch
    words = f"{100 * confidence:g} % point of the largest power in the band, by scale, scatter and form of the curve"
    terms = (SafeTerm("readings", spread, words), *mismatch)
    return SafeSupply(supply, at, largest, limit, confidence, band, power, terms, held)


def supply_for(level: Level, rf_power_w: float, frequency_mhz: float, safe: SafeSupply) -> UFloat:
    """Return the supply (V) for ``rf_power_w`` (W) at ``frequency_mhz``, never above the safe one.

    Raises ``UnsafeDriveError`` above it, ``OutOfRangeError`` beyond the amplifier's reach or the measured band.
    """
    supply = level.supply(rf_power_w, frequency_mhz)
    if supply.n > safe.supply_v:
        there = level.rf_power(safe.supply_v, frequency_mhz)
        raise UnsafeDriveError(
            f"{rf_power_w:.3g} W at {frequency_mhz:.4g} MHz needs a supply above the safe one",
            found=Said(f"{supply.n:.3f} V"), allowed=f"at most {safe.supply_v:.2f} V, {there.n:.3g} W there",
            cure="ask for less power, or calibrate the scale of power better",
        )  # fmt: skip
    return supply


def _mismatch_terms(level: Level, crystal_db: float | None, source_db: float | None) -> tuple[SafeTerm, ...]:
    """Return the two factors by which the forward power at the crystal may exceed that measured in the load.

    |1 - source x load|^2 / |1 - source x crystal|^2 at the worst phases; the readings' error "mismatch" is
    sqrt 2 times its product of reflections.
    """
    size = max(
        (
            abs(e.sensitivity) * e.variable.s
            for e, _ in (*level.band_run.errors, *level.supply_run.errors)
            if e.name == "mismatch"
        ),
        default=0.0,
    )
    load = SafeTerm(
        "mismatch of the load", (1.0 + size / 2**0.5) ** 2, "worst phase between amplifier and the load of the readings"
    )
    stated = [("crystal", crystal_db), ("amplifier", source_db)]
    losses = [ASSUMED_RETURN_LOSS_DB if loss is None else loss for _, loss in stated]
    product = float(np.prod([float(reflection_from_return_loss(loss)) for loss in losses]))
    said = " and ".join(
        f"{loss:.3g} dB at the {name}" + (" (assumed)" if given is None else "")
        for (name, given), loss in zip(stated, losses, strict=True)
    )
    return load, SafeTerm("mismatch of the crystal", (1.0 - product) ** -2.0, f"worst phase, return loss {said}")


class _Bound:
    """The upper bound of the largest power in a band, as a function of supply."""

    def __init__(self, level: Level, confidence: float, band_mhz: tuple[float, float], mismatch: float) -> None:
        self.level, self.confidence, self.mismatch = level, confidence, mismatch
        self._grid = np.linspace(*band_mhz, _PLACES)
        factor = np.where(level.numbers.tagged(_AT_WORST), 0.0, level.numbers.factor)
        self._factor = factor * level.fit.coverage_factor() / 1.959964
        self._draws = np.random.default_rng(0).standard_normal((factor.shape[1], _DRAWS))

    def largest_w(self, supply_v: float) -> float:
        """Return the bound (W) at ``supply_v``."""
        at = np.full(_PLACES, supply_v)
        power = self.level.hotter_w(at, self._grid)
        moves = self.level.db_rows(at, self._grid) @ self._factor / PER_NEPER
        largest: FloatArray = np.max(power[:, None] * (1.0 + moves @ self._draws), axis=0)
        return float(np.quantile(largest, self.confidence)) * self.mismatch
