"""A generator's output and what stands behind it: what it makes at the oscillator's port, and how surely.

What is typed is an offset and an amplitude (peak to peak, a convention of the trade). A level of E volts into an open
circuit is made as offset (1 + e) + z + (E - offset) (1 + g): g the error of the amplitude, e that of the offset and z
the part of it that does not grow. All levels share g, e and z, so their differences keep their correlation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from uncertainties import UFloat, nominal_value

from aotf_lab.estimation import new_cause
from aotf_lab.given import given, given_number
from aotf_lab.physics.loading import load_share
from aotf_lab.planning.damage import LOWEST_CONTROL_V
from aotf_lab.reading.session_limits import GeneratorFacts, OscillatorFacts

__all__ = ["GENERATOR_CAUSES", "Output", "generator_output", "given_output"]

_U_OHM = 0.02
"""Relative standard uncertainty of a resistance where nothing is stated (common practice, no source)."""

_GAIN, _OFFSET, _ZERO = "generator's amplitude", "generator's offset", "generator's zero"
_SOURCE, _INPUT = "generator's output resistance", "port's input resistance"

GENERATOR_CAUSES = (_GAIN, _OFFSET, _ZERO, _SOURCE, _INPUT)
"""The causes of error that a calibration at the port takes away."""


@dataclass(frozen=True)
class Output:
    """A generator at an oscillator's port, made by ``generator_output``; its errors are shared by all that it makes.

    ``share`` is what of the open-circuit volts stands at the port, ``bias_v`` a battery in series.
    """

    generator: GeneratorFacts
    oscillator: OscillatorFacts
    share: UFloat | float
    gain: UFloat
    offset: UFloat
    zero_v: UFloat
    bias_v: UFloat | float
    assumed: tuple[str, ...] = field(default=())

    @property
    def share_n(self) -> float:
        """The share as a plain number."""
        return float(nominal_value(self.share))

    @property
    def accuracy_stated(self) -> bool:
        """Whether every part of the generator's own accuracy is stated."""
        g = self.generator
        return None not in (g.gain_percent, g.offset_percent, g.u_offset_mv)

    @property
    def input_range_v(self) -> tuple[float, float]:
        """The volts between which the port must stay; never below zero where nothing is stated."""
        low, high = self.oscillator.input_min_v, self.oscillator.input_max_v
        return (LOWEST_CONTROL_V if low is None else low, math.inf if high is None else high)

    def open_circuit_v(self, port_v: Any) -> Any:
        """Return the open-circuit volts that make ``port_v`` at the port."""
        return port_v / self.share - self.bias_v

    def port_n(self, open_circuit_v: float) -> float:
        """Return the volts at the port, as a plain number, by an exact generator."""
        return float((open_circuit_v + nominal_value(self.bias_v)) * self.share_n)

    def made_v(self, open_circuit_v: float, offset_v: float) -> UFloat:
        """Return the volts at the port, with the generator's errors, for a level and an offset (open-circuit volts)."""
        made = offset_v * (1 + self.offset) + self.zero_v + (open_circuit_v - offset_v) * (1 + self.gain)
        return (made + self.bias_v) * self.share


def given_output(value: object) -> Output:
    """Return ``value``. Raises ``AotfLabError`` when it is no generator at a port."""
    cure = "make it with generator_output(generator, oscillator), or take session.generator"
    return given(value, Output, "output", "the generator at the port", cure)


def generator_output(generator: GeneratorFacts, oscillator: OscillatorFacts, *, bias_v: UFloat | float = 0.0) -> Output:
    """Return the generator at the port.

    Where [oscillator] input_ohm is not stated the port is taken as open; a resistance without its u has one of 2 %.
    An accuracy that is not stated adds nothing, and every result says so. ``bias_v`` (V) is a battery in series. Raises
    ``AotfLabError`` for an accuracy or a resistance whose u is below zero.
    """
    facts = "the facts that session.toml states of it"
    given(generator, GeneratorFacts, "generator", facts, "take session.facts.limits.generator")
    given(oscillator, OscillatorFacts, "oscillator", facts, "take session.facts.limits.oscillator")
    bias_v = given_number(bias_v, "bias_v", "V", with_u=True)
    assumed = []
    if generator.source_ohm is None:
        assumed.append(f"[generator] source_ohm taken as {generator.output_ohm:g} ohm")
    if oscillator.input_ohm is None:
        share: UFloat | float = 1.0
        assumed.append(
            "[oscillator] input_ohm not stated: the port is taken as open, and takes nothing off the volts; "
            "read its resistance with everything off, or its papers"
        )
    else:
        u_source = _U_OHM * generator.output_ohm if generator.u_source_ohm is None else generator.u_source_ohm
        u_input = _U_OHM * oscillator.input_ohm if oscillator.u_input_ohm is None else oscillator.u_input_ohm
        for key, stated in (("[generator] u_source_ohm", generator.u_source_ohm),
                            ("[oscillator] u_input_ohm", oscillator.u_input_ohm)):  # fmt: skip
            if stated is None:
                assumed.append(f"{key} taken as {100 * _U_OHM:g} %")
        share = load_share(
            new_cause(_SOURCE, u_source, generator.output_ohm), new_cause(_INPUT, u_input, oscillator.input_ohm)
        )
    return Output(
        generator, oscillator, share, new_cause(_GAIN, (generator.gain_percent or 0.0) / 100),
        new_cause(_OFFSET, (generator.offset_percent or 0.0) / 100),
        new_cause(_ZERO, (generator.u_offset_mv or 0.0) / 1000), bias_v, tuple(assumed),
    )  # fmt: skip
