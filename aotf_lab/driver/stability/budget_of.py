"""From what was measured of the oscillator in time to its budget at a set-point."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from uncertainties import UFloat

from aotf_lab.driver.stability.budget import StabilityBudget, StabilityTerm
from aotf_lab.driver.stability.hum import Hum
from aotf_lab.driver.stability.pulling import Pulling
from aotf_lab.driver.stability.pushing import Pushing
from aotf_lab.driver.stability.stability import Stability
from aotf_lab.driver.stability.warm_up import WarmUp
from aotf_lab.driver.vco import Vco
from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.causes import new_cause

__all__ = ["stability_budget"]

_LIMIT = 3.0**-0.5
"""A limit +-a as a standard uncertainty (GUM, JCGM 100:2008, 4.3.7)."""
_SINE = 2.0**-0.5


@dataclass(frozen=True)
class _Measured:
    """What was measured, and how the bench is used; see ``stability_budget``."""

    fwhm_mhz: float
    warm_up: WarmUp | None
    stability: Stability | None
    pushing: Pushing | None
    pulling: Pulling | None
    hum: Hum | None
    vco: Vco | None
    drive_v: float | None
    used_after_s: float | None
    elapsed_s: float | None
    temperature_swing_k: float | None
    supply_swing_v: float | None


_Found = StabilityTerm | str
"""A term, or why it cannot be stated."""


def stability_budget(
    fwhm_mhz: float,
    *,
    warm_up: WarmUp | None = None,
    stability: Stability | None = None,
    pushing: Pushing | None = None,
    pulling: Pulling | None = None,
    hum: Hum | None = None,
    vco: Vco | None = None,
    drive_v: float | None = None,
    used_after_s: float | None = None,
    elapsed_s: float | None = None,
    temperature_swing_k: float | None = None,
    supply_swing_v: float | None = None,
) -> StabilityBudget:
    """Return what the oscillator's behaviour in time adds to the frequency of one set-point.

    ``fwhm_mhz`` is the width of the passband there and ``drive_v`` the drive, ``used_after_s`` the time of use since
    power-on (as ``warm_up`` counts it), ``elapsed_s`` the time since the calibration. ``temperature_swing_k`` and
    ``supply_swing_v`` are limits: box and supply stay within +- that of where they were at the calibration. Nothing is
    corrected for: a known shift counts with its size beside its u. What was not measured or stated is in ``missing``,
    with the reason.

    Raises ``AotfLabError`` for a width, swing or time below zero, and ``OutOfRangeError`` for times beyond the logs.
    """
    for name, value in (
        ("width of the passband (MHz)", fwhm_mhz), ("time since the calibration (s)", elapsed_s),
        ("swing of the temperature (K)", temperature_swing_k), ("swing of the supply (V)", supply_swing_v),
    ):  # fmt: skip
        if value is not None and not (math.isfinite(value) and value >= 0 and (value > 0 or "width" not in name)):
            allowed = "above zero" if "width" in name else "zero or more"
            raise AotfLabError(name, found=value, allowed=allowed, cure="state its size without a sign")
    have = _Measured(
        fwhm_mhz, warm_up, stability, pushing, pulling, hum, vco, drive_v, used_after_s, elapsed_s,
        temperature_swing_k, supply_swing_v,
    )  # fmt: skip
    found = list(_found(have))
    terms = sorted((t for t in found if isinstance(t, StabilityTerm)), key=lambda t: -t.u_mhz)
    return StabilityBudget(tuple(terms), fwhm_mhz, tuple(m for m in found if isinstance(m, str)))


def _found(have: _Measured) -> Iterator[_Found]:
    yield _warm_up(have)
    yield _slow_drift(have)
    yield _temperature(have)
    yield _supply(have)
    yield _load(have)
    yield _hum(have)
    yield _backlash(have)
    yield _jitter(have)
    yield _wander(have)


def _term(have: _Measured, name: str, u_mhz: float, why: str) -> StabilityTerm:
    return StabilityTerm.of(name, new_cause(name, u_mhz), have.fwhm_mhz, why)


def _size(value: UFloat) -> float:
    """Return the u of an error that is not corrected for: its size and its own u together."""
    return math.hypot(value.n, value.s)


def _warm_up(have: _Measured) -> _Found:
    if have.warm_up is None or have.used_after_s is None:
        return "warm-up left: a log of the warm-up, and used_after_s"
    left = have.warm_up.remaining_mhz(have.used_after_s)
    why = f"{1e3 * left:.2uS} kHz left {have.used_after_s / 60:.3g} min after time zero of the log"
    return _term(have, "warm-up left", _size(left), why)


def _slow_drift(have: _Measured) -> _Found:
    if have.warm_up is None or have.elapsed_s is None:
        return "slow drift: a log of the warm-up, and elapsed_s"
    rate = have.warm_up.slow_drift_mhz_per_h
    why = f"{1e3 * rate:.2uS} kHz/h over {have.elapsed_s / 3600:.3g} h"
    return _term(have, "slow drift", _size(rate) * have.elapsed_s / 3600, why)


def _temperature(have: _Measured) -> _Found:
    per_k = have.warm_up.temperature_mhz_per_k if have.warm_up is not None else None
    if per_k is None or have.temperature_swing_k is None:
        return "temperature of the box: kHz/K from a log with temperature, and temperature_swing_k"
    why = f"{1e3 * per_k:.2uS} kHz/K, +-{have.temperature_swing_k:g} K"
    return _term(have, "temperature of the box", _LIMIT * have.temperature_swing_k * _size(per_k), why)


def _supply(have: _Measured) -> _Found:
    if have.pushing is None or have.supply_swing_v is None:
        return "supply: the pushing, and supply_swing_v"
    slope = have.pushing.mhz_per_v
    why = f"{1e3 * slope:.2uS} kHz/V, +-{1e3 * have.supply_swing_v:g} mV"
    return _term(have, "supply", _LIMIT * have.supply_swing_v * _size(slope), why)


def _load(have: _Measured) -> _Found:
    if have.pulling is None:
        return "load: the pulling"
    load, reference = have.pulling.largest, have.pulling.reference
    shift = have.pulling.shift_mhz[load]
    why = f"{1e3 * shift:+.2uS} kHz between {load} and {reference}, as a limit"
    return _term(have, "load", _LIMIT * _size(shift), why)


def _hum(have: _Measured) -> _Found:
    if have.hum is None or not have.hum.visible:
        return f"hum: {have.hum.note}" if have.hum is not None else "hum: a fast log"
    lines = have.hum.amplitude_mhz
    why = ", ".join(f"{1e3 * a.n:.2g} kHz at {line:g} Hz" for line, a in lines.items())
    u = _SINE * math.hypot(*(_size(a) for a in lines.values()))
    return _term(have, "hum", u, f"amplitude {why}" + (f"; {have.hum.note}" if have.hum.note else ""))


def _backlash(have: _Measured) -> _Found:
    """Return the half of the up/down difference that the curve carries as its own cause."""
    if have.vco is None or have.drive_v is None:
        return "backlash of the pot: the oscillator's curve, and drive_v"
    back, half = have.vco.backlash_v, have.vco.reversal_v
    if back is None or half is None or half.s == 0:
        return "backlash of the pot: no difference between up and down was found, or the sweep went one way"
    slope = float(have.vco.sensitivity(have.drive_v).n)
    why = f"{1e3 * back:.2uS} mV between up and down, half of it at {slope:.3g} MHz/V; the curve has it already"
    return StabilityTerm.of("backlash of the pot", slope * half, have.fwhm_mhz, why, in_curve=True)


def _jitter(have: _Measured) -> _Found:
    if have.warm_up is not None:
        return _term(have, "jitter", have.warm_up.jitter_mhz, "white noise of one reading")
    if have.stability is not None:
        tau = float(have.stability.tau_s[0])
        return _term(have, "jitter", float(have.stability.deviation_mhz[0]), f"Allan deviation at {tau:.3g} s")
    return "jitter: a log"


def _wander(have: _Measured) -> _Found:
    if have.elapsed_s is None or (have.warm_up is None and have.stability is None):
        return "wander: a log, and elapsed_s"
    if have.warm_up is not None:
        why = f"random walk over {have.elapsed_s / 60:.3g} min"
        return _term(have, "wander", have.warm_up.wander_mhz(have.elapsed_s), why)
    assert have.stability is not None
    why = f"root 2 times the Allan deviation at {have.elapsed_s / 60:.3g} min"
    return _term(have, "wander", have.stability.change_mhz(have.elapsed_s), why)
