"""The leak at one frequency, as estimated and at the most: what bounds it, and by which line and order it comes.

``upper`` of the passbands has their own doubts at their worse end. What comes on top, RF power (beside the saturation
power, with which it shares the scale) and the harmonics' levels, is drawn: each term's logarithm is taken to first
order in the causes, since a level known to +-6 dB has no symmetric uncertainty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from uncertainties import UFloat

from aotf_lab.driver.level.numbers import shared_numbers
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.planning.park.leak import LeakModel, decibel

__all__ = ["CONFIDENCE", "BoundedLeak", "bounded_leak", "full_light_doubts"]

CONFIDENCE = 0.95
"""One-sided: the true leak stays below the bound with this confidence."""

_DRAWS = 4000
_PLACES = 121
_SMALL = 0.02
_NOTHING = 1e-30


@dataclass(frozen=True)
class BoundedLeak:
    """Largest leak (dB) within a window: as estimated, its bound (95 %), and which line and order make most of it."""

    leak_db: float
    bound_db: float
    line: str
    order: int
    share: float


def bounded_leak(
    model: LeakModel, frequency_mhz: float, half_mhz: float, full: Sequence[UFloat | float] | None = None
) -> BoundedLeak:
    """Return the largest leak within ``half_mhz`` of ``frequency_mhz``, with its bound.

    ``full`` is ``full_light_doubts(model)``, where many places are asked for.
    """
    window = frequency_mhz + half_mhz * np.linspace(-1.0, 1.0, _PLACES)
    likely, sure = model.terms(window), model.terms(window, sure=True)
    worst = int(np.argmax(np.nan_to_num(model.total(sure), nan=-1.0)))
    shared = model.shared(sure)[:, :, worst]
    k, h = np.unravel_index(int(np.argmax(shared)), shared.shape)
    at, levels = float(window[worst]), np.array([x.upper_share / x.share for x in model.levels])
    here = model.drive.power_w(at)
    known = full_light_doubts(model) if full is None else full
    saturation = [model.passbands.saturation_power_w(line) for line in model.lines]
    errors = [_relative(here / w) - error for w, error in zip(saturation, known, strict=True)]
    numbers = shared_numbers([error + level.doubt for error in errors for level in model.levels])
    normal = _normal(numbers.factor.shape[1])
    middle = sure[:, :, worst] / levels  # in weak drive light goes with power
    drawn = middle[:, :, None] * np.exp(numbers.factor @ normal).reshape(*middle.shape, _DRAWS)
    most = float(np.quantile(model.total(drawn), CONFIDENCE))
    return BoundedLeak(
        float(decibel(float(np.nanmax(model.total(likely))))), float(decibel(most)), model.lines[int(k)],
        model.levels[int(h)].order, float(shared[k, h] / shared.sum()),
    )  # fmt: skip


@lru_cache(maxsize=4)
def _normal(causes: int) -> FloatArray:
    """Return standard normal draws (causes, draws), the same for every place: they take longer than their use."""
    return np.random.default_rng(0).standard_normal((causes, _DRAWS))


def full_light_doubts(model: LeakModel) -> tuple[UFloat | float, ...]:
    """Return the error (mean 0) of the logarithm of each line's full light, which leaks are measured by.

    The leak itself is weak drive: it goes with power over saturation power.
    """
    found: list[UFloat | float] = []
    for k, line in enumerate(model.lines):
        at_line = model.drive.power_at_line_w(float(model.passbands.peak_mhz(line).n))
        ratio = None if at_line is None else at_line / model.passbands.saturation_power_w(line)
        found.append(0.0 if at_line is None or ratio is None else _full_slope(model, k, at_line) * _relative(ratio))
    return tuple(found)


def _full_slope(model: LeakModel, k: int, power: UFloat) -> float:
    """Return d ln(full efficiency) / d ln(power) of line k."""
    line, peak = model.lines[k], float(model.passbands.peak_mhz(model.lines[k]).n)
    powers = float(power.n) * np.array([1 - _SMALL, 1 + _SMALL])
    low, high = np.maximum(np.asarray(model.passbands.nominal(line, np.full(2, peak), powers), dtype=float), _NOTHING)
    return float(np.log(high / low)) / (2 * _SMALL)


def _relative(value: UFloat) -> UFloat:
    return (value - value.n) / value.n
