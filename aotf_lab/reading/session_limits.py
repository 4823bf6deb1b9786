"""What each part of the bench may take before it is damaged, as session.toml states it.

Every limit may be left out: what it guards is then said to be unknown. Nothing here changes a reading.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any, TypeVar

from uncertainties import UFloat

from aotf_lab.estimation.causes import new_cause
from aotf_lab.reading.instrument_fields import Instrument, stated
from aotf_lab.reading.toml_section import Section

__all__ = [
    "DEFAULT_SOURCE_OHM",
    "MOST_BITS",
    "NO_LIMITS",
    "U_PORT",
    "CounterLimits",
    "DamageLimits",
    "GeneratorFacts",
    "OscillatorFacts",
    "PowerMeterLimits",
    "ScopeLimits",
    "generator_facts",
    "limits_of",
    "oscillator_facts",
]

DEFAULT_SOURCE_OHM = 50.0
"""Output resistance of a function generator where nothing is stated (common practice, no source)."""

MOST_BITS = 24

U_PORT = 0.05
"""How well a port's bandwidth is known, where nobody says (common practice, no source)."""

_Kind = TypeVar("_Kind", bound=Instrument)


@dataclass(frozen=True)
class ScopeLimits(Instrument):
    """Of [instrument.scope]: volts (rms) that its input takes, watts that the pad and the dummy load take."""

    max_input_vrms: float | None = stated(above=0)
    pad_rated_w: float | None = stated(above=0)
    load_rated_w: float | None = stated(above=0)


@dataclass(frozen=True)
class CounterLimits(Instrument):
    """Of [instrument.counter]: attenuation between the RF line and its input, that input's ohms, volts it takes."""

    pad_db: float | None = stated(at_least=0)
    input_ohm: float | None = stated(one_of=(50.0, 1e6))
    max_input_vrms: float | None = stated(above=0)


@dataclass(frozen=True)
class PowerMeterLimits(Instrument):
    """Of [instrument.power_meter]: the light (mW) that its head takes."""

    max_power_mw: float | None = stated(above=0)


@dataclass(frozen=True)
class OscillatorFacts(Instrument):
    """Of [oscillator]: volts between which its control input must stay, that input's ohms and -3 dB bandwidth, supply.

    The bandwidth (kHz) is that of a single pole.
    """

    input_min_v: float | None = stated()
    input_max_v: float | None = stated()
    input_ohm: float | None = stated(above=0)
    supply_v: float | None = stated(above=0)
    u_input_ohm: float | None = stated(at_least=0)
    port_bandwidth_khz: float | None = stated(above=0)

    @cached_property
    def known_port_bandwidth_khz(self) -> UFloat | None:
        """The bandwidth with its uncertainty, one cause for all that the port slows; None where nothing is stated."""
        stated_khz = self.port_bandwidth_khz
        return None if stated_khz is None else new_cause("port's bandwidth", U_PORT * stated_khz, stated_khz)


@dataclass(frozen=True)
class GeneratorFacts(Instrument):
    """Of [generator]: the volts of either sign that it can give into an open circuit, limits set in its menu, accuracy.

    ``source_ohm`` is its output resistance. ``amplitude_step_v`` (peak to peak) and ``offset_step_v`` are steps of what
    is typed, ``bits`` of its converter over all that it gives, or over the amplitude of a list of levels.
    ``gain_percent`` is the standard uncertainty of the amplitude, ``offset_percent`` and ``u_offset_mv`` (into an open
    circuit) that of the offset.
    """

    max_output_v: float | None = stated(above=0)
    low_limit_v: float | None = stated()
    high_limit_v: float | None = stated()
    source_ohm: float | None = stated(above=0)
    u_source_ohm: float | None = stated(at_least=0)
    bits: float | None = stated(above=0)
    amplitude_step_v: float | None = stated(above=0)
    offset_step_v: float | None = stated(above=0)
    gain_percent: float | None = stated(at_least=0)
    offset_percent: float | None = stated(at_least=0)
    u_offset_mv: float | None = stated(at_least=0)

    @property
    def output_ohm(self) -> float:
        """Its output resistance (ohm): as stated, or ``DEFAULT_SOURCE_OHM``."""
        return DEFAULT_SOURCE_OHM if self.source_ohm is None else self.source_ohm

    @property
    def range_v(self) -> tuple[float, float] | None:
        """The lowest and the highest volts (open circuit) that it can give, None where not known."""
        low, high, most = self.low_limit_v, self.high_limit_v, self.max_output_v
        if most is None:
            return None if low is None or high is None else (low, high)
        return (-most if low is None else max(low, -most), most if high is None else min(high, most))


@dataclass(frozen=True)
class DamageLimits:
    """All of them, part by part."""

    scope: ScopeLimits = ScopeLimits()
    counter: CounterLimits = CounterLimits()
    power_meter: PowerMeterLimits = PowerMeterLimits()
    oscillator: OscillatorFacts = OscillatorFacts()
    generator: GeneratorFacts = GeneratorFacts()


NO_LIMITS = DamageLimits()
"""The bench of which no limit is stated."""


def limits_of(section: Section, kind: type[_Kind]) -> _Kind:
    """Return the fields of ``kind`` that the section states; the section is left open for its other keys.

    Raises ``SessionError`` for a value out of its bounds.
    """
    values: dict[str, Any] = {f.name: section.number(f.name, None, **f.metadata) for f in fields(kind)}
    return kind(**values)


def oscillator_facts(section: Section) -> OscillatorFacts:
    """Return what [oscillator] says; raises ``SessionError`` also where its lowest input is not below its highest."""
    facts = limits_of(section, OscillatorFacts)
    section.close()
    _refuse_crossed(section, "input_min_v", facts.input_min_v, "input_max_v", facts.input_max_v)
    if facts.input_min_v is None and facts.input_max_v is not None and facts.input_max_v <= 0:
        raise section.refuse("input_max_v", "not above 0 V, with no input_min_v", "a number above 0, or both",
                             "state input_min_v too, or correct the sign")  # fmt: skip
    return facts


def generator_facts(section: Section) -> GeneratorFacts:
    """Return what [generator] says; raises ``SessionError`` also for limits that cross, or lie outside its output."""
    facts = limits_of(section, GeneratorFacts)
    section.close()
    _refuse_crossed(section, "low_limit_v", facts.low_limit_v, "high_limit_v", facts.high_limit_v)
    most = facts.max_output_v
    for key, value in (("low_limit_v", facts.low_limit_v), ("high_limit_v", facts.high_limit_v)):
        if most is not None and value is not None and abs(value) > most:
            raise section.refuse(key, "beyond what the generator gives", f"{-most:g} to {most:g} V (max_output_v)",
                                 "correct one of the two; both are volts into an open circuit")  # fmt: skip
    if facts.bits is not None and not (facts.bits.is_integer() and facts.bits <= MOST_BITS):
        raise section.refuse("bits", "no number of bits", f"a whole number, {MOST_BITS} at the most",
                             "state those of its converter, or leave it out")  # fmt: skip
    return facts


def _refuse_crossed(section: Section, low_key: str, low: float | None, high_key: str, high: float | None) -> None:
    if low is not None and high is not None and low >= high:
        raise section.refuse(low_key, f"not below {high_key}", f"a number below {high:g}", "exchange or correct them")
