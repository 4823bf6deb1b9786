"""The instruments of the bench: what is known of their accuracy, and what is assumed where nothing is.

Every accuracy is a standard uncertainty (k = 1). A maker's limit +-a becomes one by dividing by
sqrt(3) (GUM, JCGM 100:2008, 4.3.7). A field left out never blocks: a wide default takes its place
(all are common practice, no source), or the scatter of the readings does, and ``assumed`` says so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.estimation.causes import new_cause
from aotf_lab.reading.harmonic_content import Excess, HarmonicShare, ReadingKind, harmonic_excess
from aotf_lab.reading.instrument_fields import Instrument, or_default, said, stated
from aotf_lab.reading.optics_tools import Detector, Rotator, Ruler, Stage
from aotf_lab.reading.scope_facts import Scope

__all__ = [
    "POWER_SCALE_UNSTATED", "UNSTATED", "Counter", "Detector", "Instruments", "PowerMeter", "Rotator", "Ruler", "Scope",
    "Stage", "Voltmeter",
]  # fmt: skip

POWER_SCALE_UNSTATED = "pad or probe not stated"
"""The cause that makes every RF power from a level unknown: 100 %, as a lost pad of 30 dB is a factor of 1000."""

_TYPICAL_MHZ = np.array([40.0, 100.0])
"""Over which frequencies the u of the harmonics is taken: those of visible light (common practice, no source)."""


@dataclass(frozen=True)
class Counter(Instrument):
    """Frequency counter: relative error of its time base (ppm) and scatter of one reading (kHz)."""

    time_base_ppm: float | None = stated(at_least=0)
    u_reading_khz: float | None = stated(above=0)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed, in words."""
        return said(
            (self.time_base_ppm, "counter time base not stated: 50 ppm assumed (plain quartz), 3 kHz at 60 MHz"),
            (self.u_reading_khz, "counter scatter not stated: taken from the scatter of the readings, wider intervals"),
        )


@dataclass(frozen=True)
class Voltmeter(Instrument):
    """Voltmeter of the drive: gain error (percent), offset (mV), scatter of one reading (mV)."""

    gain_percent: float | None = stated(at_least=0)
    offset_mv: float | None = stated(at_least=0)
    u_reading_mv: float | None = stated(above=0)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed, in words."""
        return said(
            (self.gain_percent, "voltmeter gain not stated: 0.5 % assumed, which counts when another meter sets it"),
            (self.offset_mv, "voltmeter offset not stated: 5 mV assumed, which counts when another meter sets it"),
            (self.u_reading_mv, "voltmeter scatter not stated: 5 mV assumed in each reading"),
        )

    def stated_u_v(self, volts: float) -> float:
        """Return the standard uncertainty (V) of one reading by what is stated; what is not counts as nothing.

        >>> round(Voltmeter(gain_percent=0.1, u_reading_mv=10.0).stated_u_v(10.0), 4)
        0.0141
        """
        parts = (1e-2 * or_default(self.gain_percent, 0.0) * volts, 1e-3 * or_default(self.offset_mv, 0.0))
        return math.hypot(*parts, 1e-3 * or_default(self.u_reading_mv, 0.0))


@dataclass(frozen=True)
class PowerMeter(Instrument):
    """Optical power meter: scatter (percent of reading, and ``floor_uw``), lag (s), gain error (percent)."""

    u_reading_percent: float | None = stated(above=0)
    floor_uw: float | None = stated(above=0)
    time_constant_s: float | None = stated(at_least=0)
    gain_percent: float | None = stated(at_least=0)

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed, in words."""
        scatter = self.u_reading_percent
        return said(
            (scatter, "power meter scatter not stated: taken from the scatter of the readings, wider intervals"),
            (self.floor_uw if scatter else 0.0, "power meter floor not stated: 0.3 % of the largest reading assumed"),
            (self.time_constant_s, "power meter lag not stated: only scans both up and down show and cancel it"),
            (self.gain_percent, "power meter gain not stated: 5 % assumed; it cancels in efficiency"),
        )


_SCOPE = Scope()
_RULER, _ROTATOR, _STAGE, _DETECTOR = Ruler(), Rotator(), Stage(), Detector()


@dataclass(frozen=True)
class Instruments:
    """The instruments of one bench, with each shared cause of error made once.

    Pass one ``Instruments`` to all readers of a session: what they share then cancels where it
    should. Causes are variables of mean 0: relative for gains, time base, load, mismatch and harmonics, volts for
    offset and noise, dB for the pad, mm for ruler and distance, degrees for the rotator; a cause whose size is
    stated as zero does not exist (None).

    ``harmonics`` are those of a saved trace, each with an ``order`` and its ``share`` of the fundamental's power:
    every level is then corrected for them. An empty tuple states a pure sine, None that no trace was saved.

    >>> Instruments(Counter(time_base_ppm=2)).causes["counter time base"].s
    2e-06
    """

    counter: Counter = Counter()
    voltmeter: Voltmeter = Voltmeter()
    scope: Scope = _SCOPE
    power_meter: PowerMeter = PowerMeter()
    ruler: Ruler = _RULER
    rotator: Rotator = _ROTATOR
    stage: Stage = _STAGE
    detector: Detector = _DETECTOR
    harmonics: tuple[HarmonicShare, ...] | None = None

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was assumed because nothing is stated, and what each assumption costs, in words."""
        electric = self.counter.assumed + self.voltmeter.assumed + self.scope.assumed + self.power_meter.assumed
        return electric + self.ruler.assumed + self.rotator.assumed + self.stage.assumed + self.detector.assumed

    @property
    def power_scale_stated(self) -> bool:
        """Whether pad and probe are both stated; where not, RF power from a level may be wrong by any factor."""
        return self.scope.power_scale_stated

    @cached_property
    def causes(self) -> dict[str, UFloat | None]:
        """The shared variables by name."""
        scope, pad = self.scope, or_default(self.scope.pad_db, 0.0)
        sizes = {
            "counter time base": 1e-6 * or_default(self.counter.time_base_ppm, 50.0),
            "voltmeter gain": 1e-2 * or_default(self.voltmeter.gain_percent, 0.5),
            "voltmeter offset": 1e-3 * or_default(self.voltmeter.offset_mv, 5.0),
            "scope gain": 1e-2 * or_default(scope.gain_percent, 3.0),
            "scope bandwidth": scope.u_roll_off if scope.bandwidth_mhz else 0.10,
            "scope time base": 1e-6 * or_default(scope.time_base_ppm, 100.0),
            "pad": or_default(scope.u_pad_db, 0.5 if pad else 0.0),
            POWER_SCALE_UNSTATED: 0.0 if self.power_scale_stated else 1.0,
            "load": or_default(scope.u_load_ohm, 2.5) / self.load_ohm,
            "mismatch": scope.u_mismatch,
            "noise and DC in volts rms": scope.u_added_v,
            "harmonics (rms)": self.harmonic_excess("rms", _TYPICAL_MHZ).u,
            "harmonics (peak to peak)": self.harmonic_excess("peak to peak", _TYPICAL_MHZ).u,
            "power meter gain": 1e-2 * or_default(self.power_meter.gain_percent, 5.0),
            **self.ruler.causes,
            **self.rotator.causes,
            **self.stage.causes,
        }
        return {name: new_cause(name, u) if u > 0 else None for name, u in sizes.items()}

    def with_harmonics(self, harmonics: Iterable[HarmonicShare] | None) -> Instruments:
        """Return the same bench, its shared causes kept, with the harmonics that a saved trace showed."""
        other = replace(self, harmonics=None if harmonics is None else tuple(harmonics))
        kept = {name: cause for name, cause in self.causes.items() if not name.startswith("harmonics")}
        other.__dict__["causes"] = {**other.causes, **kept}
        return other

    def harmonic_excess(self, kind: ReadingKind, frequency_mhz: NDArray[np.float64]) -> Excess:
        """Return by what factors (n,) volts squared of this kind exceed the fundamental's at ``frequency_mhz`` (n,)."""
        return harmonic_excess(self.harmonics, kind, frequency_mhz, self.scope.bandwidth_mhz)

    @property
    def load_ohm(self) -> float:
        """Resistance into which the RF power goes."""
        return or_default(self.scope.load_ohm, 50.0)

    @property
    def u_drive_v(self) -> float:
        """Random standard uncertainty of one reading of the voltmeter (V)."""
        return 1e-3 * or_default(self.voltmeter.u_reading_mv, 5.0)

    @property
    def u_frequency_mhz(self) -> float:
        """Random standard uncertainty of one reading of the counter (MHz), NaN where not stated."""
        return 1e-3 * or_default(self.counter.u_reading_khz, math.nan)

    @property
    def u_level_relative(self) -> float:
        """Random relative standard uncertainty of one reading of volts on the scope."""
        return 1e-2 * or_default(self.scope.u_reading_percent, 2.0)


UNSTATED = Instruments()
"""The bench of which nothing is stated; readers use it when no instruments are given, so that two
files read that way still share their meters."""
