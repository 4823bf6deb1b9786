"""The instruments of the bench: what is known of their accuracy, and what is assumed where nothing is.

Every accuracy is a standard uncertainty (k = 1). A maker's limit +-a becomes one by dividing by
sqrt(3) (GUM, JCGM 100:2008, 4.3.7). A field left out never blocks: a wide default takes its place
(all are common practice, no source), or the scatter of the readings does, and ``assumed`` says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from functools import cached_property

from uncertainties import UFloat

from aotf_lab.errors import SessionError
from aotf_lab.estimation.causes import new_cause

__all__ = ["POWER_SCALE_UNSTATED", "UNSTATED", "Counter", "Instruments", "PowerMeter", "Scope", "Voltmeter"]

POWER_SCALE_UNSTATED = "pad or probe not stated"
"""The cause that makes every RF power from a level unknown: 100 %, as a lost pad of 30 dB is a factor of 1000."""

_ANY_FACTOR = "RF power may be wrong by any factor"


def _stated(
    *, above: float | None = None, at_least: float | None = None, one_of: tuple[float, ...] | None = None
) -> float | None:
    """Return a field that may be left out, with the bound that its value must keep, or the few that it may have."""
    bound: float | None = field(default=None, metadata={"above": above, "at_least": at_least, "one_of": one_of})
    return bound


@dataclass(frozen=True)
class _Instrument:
    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            above, least, few = (item.metadata[bound] for bound in ("above", "at_least", "one_of"))
            good = value is None or (
                math.isfinite(value) and (above is None or value > above) and (least is None or value >= least)
            )
            if value is not None and few is not None and value not in few:
                raise SessionError(
                    f"{type(self).__name__} {item.name}", found=value, allowed=" or ".join(f"{n:g}" for n in few),
                    cure="correct it, or leave it out",
                )  # fmt: skip
            if not good:
                raise SessionError(
                    f"{type(self).__name__} {item.name}",
                    found=value,
                    allowed=f"a number above {above:g}" if above is not None else f"a number of {least:g} or more",
                    cure="correct it, or leave it out to have a wide default",
                )


@dataclass(frozen=True)
class Counter(_Instrument):
    """Frequency counter: relative error of its time base (ppm) and scatter of one reading (kHz)."""

    time_base_ppm: float | None = _stated(at_least=0)
    u_reading_khz: float | None = _stated(above=0)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed, in words."""
        return _said(
            (self.time_base_ppm, "counter time base not stated: 50 ppm assumed (plain quartz), 3 kHz at 60 MHz"),
            (self.u_reading_khz, "counter scatter not stated: taken from the scatter of the readings, wider intervals"),
        )


@dataclass(frozen=True)
class Voltmeter(_Instrument):
    """Voltmeter of the drive: gain error (percent), offset (mV), scatter of one reading (mV)."""

    gain_percent: float | None = _stated(at_least=0)
    offset_mv: float | None = _stated(at_least=0)
    u_reading_mv: float | None = _stated(above=0)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed, in words."""
        return _said(
            (self.gain_percent, "voltmeter gain not stated: 0.5 % assumed, which counts when another meter sets it"),
            (self.offset_mv, "voltmeter offset not stated: 5 mV assumed, which counts when another meter sets it"),
            (self.u_reading_mv, "voltmeter scatter not stated: 5 mV assumed in each reading"),
        )


@dataclass(frozen=True)
class Scope(_Instrument):
    """Oscilloscope at the drive: everything between its screen and the power in the load.

    ``gain_percent`` error of its vertical gain; ``probe`` factor by which the volts shown are to be
    multiplied (10 for a x10 probe that the scope does not know of); ``pad_db`` attenuation before
    it and its ``u_pad_db``; ``load_ohm`` and its ``u_load_ohm``; ``bandwidth_mhz`` at -3 dB, taken
    as a single pole; ``u_reading_percent`` scatter of one reading of volts; ``input_ohm`` of its input, 50
    (terminated) or 1e6 (open); ``time_base_ppm`` relative error of its time base.
    """

    gain_percent: float | None = _stated(at_least=0)
    probe: float | None = _stated(above=0)
    pad_db: float | None = _stated(at_least=0)
    u_pad_db: float | None = _stated(at_least=0)
    load_ohm: float | None = _stated(above=0)
    u_load_ohm: float | None = _stated(at_least=0)
    bandwidth_mhz: float | None = _stated(above=0)
    u_reading_percent: float | None = _stated(above=0)
    input_ohm: float | None = _stated(one_of=(50.0, 1e6))
    time_base_ppm: float | None = _stated(at_least=0)

    @property
    def power_scale_stated(self) -> bool:
        """Whether pad and probe are both stated, so that a level says how much power it means."""
        return self.pad_db is not None and self.probe is not None

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed, in words."""
        pad = None if self.pad_db else 0.0  # without a pad its uncertainty costs nothing
        return _said(
            (self.gain_percent, "scope gain not stated: 3 % assumed, 6 % of RF power"),
            (self.probe, f"probe factor not stated: 1 assumed, {_ANY_FACTOR}: state probe (1 when there is none)"),
            (self.pad_db, f"pad not stated: 0 dB assumed, {_ANY_FACTOR}: state pad_db (0 when there is none)"),
            (pad if self.u_pad_db is None else 0.0, "u of the pad not stated: 0.5 dB assumed, 12 % of RF power"),
            (self.load_ohm, "load not stated: 50 ohm assumed"),
            (self.u_load_ohm, "u of the load not stated: 2.5 ohm assumed, 5 % of RF power in 50 ohm"),
            (self.bandwidth_mhz, "scope bandwidth not stated: no correction, 10 % of RF power assumed instead"),
            (self.u_reading_percent, "scope scatter not stated: 2 % of each reading assumed, 4 % of RF power"),
        )


@dataclass(frozen=True)
class PowerMeter(_Instrument):
    """Optical power meter: scatter (percent of reading, and ``floor_uw``), lag (s), gain error (percent)."""

    u_reading_percent: float | None = _stated(above=0)
    floor_uw: float | None = _stated(above=0)
    time_constant_s: float | None = _stated(at_least=0)
    gain_percent: float | None = _stated(at_least=0)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed, in words."""
        scatter = self.u_reading_percent
        return _said(
            (scatter, "power meter scatter not stated: taken from the scatter of the readings, wider intervals"),
            (self.floor_uw if scatter else 0.0, "power meter floor not stated: 0.3 % of the largest reading assumed"),
            (self.time_constant_s, "power meter lag not stated: only scans both up and down show and cancel it"),
            (self.gain_percent, "power meter gain not stated: 5 % assumed; it cancels in efficiency"),
        )


def _said(*pairs: tuple[float | None, str]) -> tuple[str, ...]:
    return tuple(words for value, words in pairs if value is None)


def _or(value: float | None, default: float) -> float:
    return default if value is None else value


@dataclass(frozen=True)
class Instruments:
    """The instruments of one bench, with each shared cause of error made once.

    Pass one ``Instruments`` to all readers of a session: what they share then cancels where it
    should. Causes are variables of mean 0: relative for gains, time base and load, volts for the
    offset, dB for the pad; a cause whose size is stated as zero does not exist (None).

    >>> Instruments(Counter(time_base_ppm=2)).causes["counter time base"].s
    2e-06
    """

    counter: Counter = Counter()
    voltmeter: Voltmeter = Voltmeter()
    scope: Scope = Scope()
    power_meter: PowerMeter = PowerMeter()

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed because nothing is stated, and what each assumption costs, in words."""
        return self.counter.assumed + self.voltmeter.assumed + self.scope.assumed + self.power_meter.assumed

    @property
    def power_scale_stated(self) -> bool:
        """Whether pad and probe are both stated; where not, RF power from a level may be wrong by any factor."""
        return self.scope.power_scale_stated

    @cached_property
    def causes(self) -> dict[str, UFloat | None]:
        """The shared variables by name."""
        scope, pad = self.scope, _or(self.scope.pad_db, 0.0)
        sizes = {
            "counter time base": 1e-6 * _or(self.counter.time_base_ppm, 50.0),
            "voltmeter gain": 1e-2 * _or(self.voltmeter.gain_percent, 0.5),
            "voltmeter offset": 1e-3 * _or(self.voltmeter.offset_mv, 5.0),
            "scope gain": 1e-2 * _or(scope.gain_percent, 3.0),
            "scope bandwidth": 0.10,
            "scope time base": 1e-6 * _or(scope.time_base_ppm, 100.0),
            "pad": _or(scope.u_pad_db, 0.5 if pad else 0.0),
            POWER_SCALE_UNSTATED: 0.0 if self.power_scale_stated else 1.0,
            "load": _or(scope.u_load_ohm, 2.5) / self.load_ohm,
            "power meter gain": 1e-2 * _or(self.power_meter.gain_percent, 5.0),
        }
        return {name: new_cause(name, u) if u > 0 else None for name, u in sizes.items()}

    @property
    def load_ohm(self) -> float:
        """Resistance into which the RF power goes."""
        return _or(self.scope.load_ohm, 50.0)

    @property
    def u_drive_v(self) -> float:
        """Random standard uncertainty of one reading of the voltmeter (V)."""
        return 1e-3 * _or(self.voltmeter.u_reading_mv, 5.0)

    @property
    def u_frequency_mhz(self) -> float:
        """Random standard uncertainty of one reading of the counter (MHz), NaN where not stated."""
        return 1e-3 * _or(self.counter.u_reading_khz, math.nan)

    @property
    def u_level_relative(self) -> float:
        """Random relative standard uncertainty of one reading of volts on the scope."""
        return 1e-2 * _or(self.scope.u_reading_percent, 2.0)


UNSTATED = Instruments()
"""The bench of which nothing is stated; readers use it when no instruments are given, so that two
files read that way still share their meters."""
