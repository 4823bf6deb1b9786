"""What each part of the bench takes at one RF power, against what it may take before it is damaged.

P = U^2 / R across the line; a pad of A dB lets the fraction 10^(-A/20) of the volts through and keeps the share
1 - 10^(-A/10) of the power as heat; behind a pad an open input stands at twice the volts of a terminated one (all
definitions). Where a link is not stated, the least and the most that it can mean are both kept.

A control voltage is a reading with a u. One further beyond its limit than k = 2 damages; one that cannot be told from
the limit is "at the limit": no reason to stay off, as the bench stood there already, but to be set lower. Only what is
stated of the voltmeter counts, so that an unknown meter excuses nothing. RF power is an upper bound as it comes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from aotf_lab.physics.loading import load_share
from aotf_lab.physics.rf import attenuation_factor, rms_to_watt, watt_to_rms
from aotf_lab.reading.scope_facts import Scope
from aotf_lab.reading.session_limits import CounterLimits, DamageLimits, GeneratorFacts, OscillatorFacts, ScopeLimits

__all__ = ["SCOPE_INPUT_VRMS", "BenchLoad", "Strain", "Verdict", "strains"]

Verdict = Literal["within", "at the limit", "beyond", "not stated"]

SCOPE_INPUT_VRMS = 5.0
"""What a 50 ohm input of a scope takes where nothing is stated (common practice, no source)."""

LOWEST_CONTROL_V = 0.0
"""Least control voltage where nothing is stated: below zero a varactor conducts (common practice, no source)."""

_OPEN = 2.0

_K = 2.0
"""Coverage factor within which a reading and its limit are one (about 95 %, GUM, JCGM 100:2008, 6.3.3)."""

_EXCUSED_SHARE, _EXCUSED_BELOW_FLOOR = 0.01, 0.05
"""A poor meter excuses no more than this share of a limit, 50 mV below a floor (common practice, no source)."""


@dataclass(frozen=True)
class Strain:
    """One part, the least and the most that it takes in ``unit``, and its ``limit`` (None: not stated).

    ``key`` is where session.toml states the limit, ``how`` the way from the line to the part; ``assumed`` says that
    the limit is common practice, ``floor`` that it is a least value, ``ohm`` into what the volts go, where they heat,
    ``u`` the standard uncertainty of what it takes, where that was read (0 where it is a bound or a setting).
    """

    part: str
    low: float | None
    high: float | None
    unit: str
    limit: float | None
    key: str
    how: str
    assumed: bool = False
    floor: bool = False
    ohm: float | None = None
    u: float = 0.0

    @property
    def verdict(self) -> Verdict:
        """Beyond when even the least is too much, within when even the most is not, else not stated.

        At the limit when a reading may be above a highest value (by ``spread``), or stands beyond a limit by no more
        than ``excused``. A least value that is read as such is within: a sweep from 0 V begins there.
        """
        if self.limit is None or self.low is None or self.high is None:
            return "not stated"
        if self.floor and self.low < self.limit:
            return "beyond" if self.low + self.excused < self.limit else "at the limit"
        if self.floor:
            return "within"
        if self.low - self.excused > self.limit:
            return "beyond"
        if self.spread and self.high + self.spread > self.limit:
            return "at the limit"
        return "within" if self.high <= self.limit else "not stated"

    @property
    def spread(self) -> float:
        """By how much a reading may be wrong (k = 2)."""
        return _K * self.u

    @property
    def excused(self) -> float:
        """By how much a reading beyond its limit may still be its meter's error: ``spread``, but never much."""
        least = _EXCUSED_BELOW_FLOOR if self.floor else 0.0
        return min(self.spread, max(_EXCUSED_SHARE * abs(self.limit or 0.0), least))

    @property
    def watts(self) -> float | None:
        """The most power (W) that goes into the part where its volts heat it, None where they do not or are unknown."""
        return None if self.ohm is None or self.high is None else float(rms_to_watt(self.high, self.ohm))

    def times(self, factor: float) -> Strain:
        """Return the same part with ``factor`` times as much."""
        low, high = (None if v is None else factor * v for v in (self.low, self.high))
        return replace(self, low=low, high=high, u=factor * self.u)


@dataclass(frozen=True)
class BenchLoad:
    """What the bench has to bear: RF power (W), control volts and light (mW) as read; None where not known.

    ``u_control_v`` is the standard uncertainty of the control volts, least and most.
    """

    rf_power_w: float | None = None
    control_v: tuple[float, float] | None = None
    light_mw: float | None = None
    u_control_v: tuple[float, float] = (0.0, 0.0)


def strains(load: BenchLoad, scope: Scope, limits: DamageLimits) -> tuple[Strain, ...]:
    """Return every part of the bench that something could damage, those beyond their limit first, then those at it.

    >>> first = strains(BenchLoad(0.8), Scope(pad_db=0.0, probe=1.0, input_ohm=50.0), DamageLimits())[0]
    >>> first.part, round(first.high, 3), first.verdict
    ('scope input', 6.325, 'beyond')
    """
    level = _line_v(load.rf_power_w, scope)
    found = [
        _scope_input(level, scope, limits.scope), _counter_input(level, limits.counter),
        *_heated(load.rf_power_w, scope, limits.scope), _power_meter(load.light_mw, limits),
        *_control_input(load, limits.oscillator), *_generator(limits.oscillator, limits.generator),
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda strain: (strain.verdict != "beyond", strain.verdict != "at the limit")))


def _line_v(rf_power_w: float | None, scope: Scope) -> float | None:
    load_ohm = 50.0 if scope.load_ohm is None else scope.load_ohm
    return None if rf_power_w is None else float(watt_to_rms(rf_power_w, load_ohm))


def _through(pad_db: float | None, input_ohm: float | None) -> tuple[float, float]:
    """Return the least and the most volts behind a pad, over those before it."""
    if pad_db == 0:
        return 1.0, 1.0
    least, most = (1.0, 1.0) if input_ohm == 50.0 else (1.0, _OPEN) if input_ohm is None else (_OPEN, _OPEN)
    if pad_db is None:
        return 0.0, most
    factor = float(attenuation_factor(pad_db)) ** -0.5
    return factor * least, factor * most


def _reached(level_v: float | None, shares: tuple[float, float]) -> tuple[float | None, float | None]:
    return (None, None) if level_v is None else (level_v * shares[0], level_v * shares[1])


def _behind(pad_db: float | None, input_ohm: float | None) -> str:
    if pad_db is None:
        return "pad not stated"
    place = "straight on the line" if pad_db == 0 else f"behind {pad_db:g} dB"
    if input_ohm == 50.0:
        return f"{place}, 50 ohm"
    return f"{place}, {'open' if input_ohm is not None else 'perhaps open'}"


def _scope_input(level_v: float | None, scope: Scope, limits: ScopeLimits) -> Strain:
    least, most = _through(scope.pad_db, scope.input_ohm)
    shares = (least / scope.probe, most / scope.probe) if scope.probe else (0.0, most)
    assumed = limits.max_input_vrms is None and scope.input_ohm != 1e6
    how = _behind(scope.pad_db, scope.input_ohm)
    how += ", probe not stated" if scope.probe is None else f", probe x{scope.probe:g}" if scope.probe != 1 else ""
    return Strain(
        "scope input", *_reached(level_v, shares), "Vrms", SCOPE_INPUT_VRMS if assumed else limits.max_input_vrms,
        "[instrument.scope] max_input_vrms", how, assumed,
        ohm=50.0 if scope.input_ohm == 50.0 else None,
    )  # fmt: skip


def _counter_input(level_v: float | None, limits: CounterLimits) -> Strain:
    shares = _through(limits.pad_db, limits.input_ohm)
    return Strain(
        "counter input", *_reached(level_v, shares), "Vrms", limits.max_input_vrms,
        "[instrument.counter] max_input_vrms", _behind(limits.pad_db, limits.input_ohm),
        ohm=50.0 if limits.input_ohm == 50.0 else None,
    )  # fmt: skip


def _heated(rf_power_w: float | None, scope: Scope, limits: ScopeLimits) -> tuple[Strain, ...]:
    """Return the parts that RF power heats: a pad, where there may be one, and the dummy load."""
    load = Strain(
        "dummy load", rf_power_w, rf_power_w, "W", limits.load_rated_w, "[instrument.scope] load_rated_w",
        "if the line ends in it",
    )  # fmt: skip
    if scope.pad_db == 0:
        return (load,)
    kept = 1.0 if scope.pad_db is None else 1.0 - 1.0 / float(attenuation_factor(scope.pad_db))
    least = None if rf_power_w is None else 0.0 if scope.pad_db is None else kept * rf_power_w
    most = None if rf_power_w is None else kept * rf_power_w
    how = "pad not stated" if scope.pad_db is None else f"{scope.pad_db:g} dB, if the line ends in it"
    return Strain("pad", least, most, "W", limits.pad_rated_w, "[instrument.scope] pad_rated_w", how), load


def _power_meter(light_mw: float | None, limits: DamageLimits) -> Strain:
    return Strain(
        "power meter head", light_mw, light_mw, "mW", limits.power_meter.max_power_mw,
        "[instrument.power_meter] max_power_mw", "strongest beam in the readings",
    )  # fmt: skip


def _control_input(load: BenchLoad, facts: OscillatorFacts) -> tuple[Strain, ...]:
    if load.control_v is None:
        return ()
    ends = _between("oscillator input", load.control_v, facts, "as in the readings")
    return tuple(replace(end, u=u) for end, u in zip(ends, load.u_control_v, strict=True))


def _generator(oscillator: OscillatorFacts, generator: GeneratorFacts) -> tuple[Strain, ...]:
    if generator.range_v is None:
        return ()
    ohm = oscillator.input_ohm
    share = load_share(generator.output_ohm, math.inf if ohm is None else ohm)
    low, high = (share * v for v in generator.range_v)
    how = "all that it gives" + ("" if ohm is None else f", into {ohm:g} ohm")
    return _between("oscillator input (generator)", (low, high), oscillator, how)


def _between(part: str, reached_v: tuple[float, float], facts: OscillatorFacts, how: str) -> tuple[Strain, Strain]:
    low, high = reached_v
    lowest = LOWEST_CONTROL_V if facts.input_min_v is None else facts.input_min_v
    return (
        Strain(part, low, low, "V", lowest, "[oscillator] input_min_v", how, facts.input_min_v is None, floor=True),
        Strain(part, high, high, "V", facts.input_max_v, "[oscillator] input_max_v", how),
    )
