"""How far the generator reaches at the port, and the bias that would bring a level in reach.

A battery b in series makes (E + b) R / (R + Rs) at the port. A summing amplifier of low output resistance between
generator and port makes E + b there, and the port's resistance takes nothing off (circuit theory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from uncertainties import UFloat, nominal_value

from aotf_lab.driver import Vco
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.planning.generator.output import Output
from aotf_lab.planning.generator.wanted import Wanted

__all__ = ["Bias", "Reach", "bias_of", "reach_of"]


@dataclass(frozen=True)
class Reach:
    """The volts at the port that can be set, from ``low_v`` to ``high_v``, and what ends them."""

    low_v: float
    high_v: float
    why_low: str
    why_high: str

    def holds(self, port_v: float) -> bool:
        """Return whether a level can be set."""
        return self.low_v - 1e-9 <= port_v <= self.high_v + 1e-9

    def nearest(self, port_v: float) -> float:
        """Return the level that can be set nearest to ``port_v``."""
        return min(max(port_v, self.low_v), self.high_v)

    def why(self, port_v: float) -> str:
        """Return what keeps ``port_v`` out of reach."""
        return self.why_low if port_v < self.low_v else self.why_high


@dataclass(frozen=True)
class Bias:
    """The bias that brings all levels in reach: ``least_v`` to ``most_v`` in series, on top of one that is there.

    ``summing_v`` is the least that a summing amplifier at the port would have to add.
    """

    least_v: UFloat
    most_v: UFloat | float
    summing_v: UFloat

    def __str__(self) -> str:
        sign = "at least" if self.least_v.n > 0 else "at most"
        to = "" if math.isinf(nominal_value(self.most_v)) else f" (up to {nominal_value(self.most_v):.2f} V will do)"
        return (
            f"a battery in series of {sign} {_outwards(self.least_v)} V{to}, or a summing amplifier of low output "
            f"resistance at the port that adds {sign} {_outwards(self.summing_v)} V"
        )


def _outwards(value: UFloat) -> str:
    """Return the volts, two standard uncertainties further from zero, rounded away from zero."""
    far = abs(value.n) + 2 * value.s
    return f"{math.copysign(math.ceil(100 * far - 1e-9) / 100, value.n):.2f}"


def reach_of(output: Output, vco: Vco) -> Reach:
    """Return what can be set; raises ``AotfLabError`` where generator, port and curve have no volts in common."""
    limits = [(*output.input_range_v, "what the port may take")]
    if output.generator.range_v is not None:
        low, high = (output.port_n(v) for v in output.generator.range_v)
        limits.append((low, high, "what the generator gives"))
    limits.append((*vco.range_v, "where the oscillator was measured"))
    low, why_low = max(((a, why) for a, _, why in limits), key=lambda item: item[0])
    high, why_high = min(((b, why) for _, b, why in limits), key=lambda item: item[0])
    if not low < high:
        raise AotfLabError(
            "no volts that generator, port and curve have in common", found=Said(f"{low:.4g} V ({why_low})"),
            allowed=f"less than {high:.4g} V ({why_high})", cure="correct the limits, or add a bias_v",
        )  # fmt: skip
    return Reach(low, high, why_low, why_high)


def bias_of(wanted: Sequence[Wanted], output: Output, given: tuple[float, float] | None) -> Bias | None:
    """Return the bias that brings all levels within ``given`` (open circuit); None where none is needed or would do."""
    if given is None:
        return None
    low_port, high_port = output.input_range_v
    if any(not low_port <= w.port_v.n <= high_port for w in wanted):
        return None
    lowest, highest = (f(wanted, key=lambda w: w.port_v.n).port_v for f in (min, max))
    above = output.open_circuit_v(highest) - given[1]
    below = output.open_circuit_v(lowest) - given[0]
    if above.n > below.n or (above.n <= 0 <= below.n):
        return None
    if above.n > 0:
        return Bias(above, below, highest - given[1])
    return Bias(below, above, lowest - given[0])
