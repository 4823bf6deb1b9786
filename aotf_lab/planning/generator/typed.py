"""What is typed into a generator: offset and amplitude, on either kind of display, rounded to its steps.

A display for a high impedance shows the volts into an open circuit, one for 50 ohm those into 50 ohm: half, where the
output resistance is 50 ohm (common practice, no source; the share is circuit theory). Amplitude is peak to peak; high
and low level are offset plus and minus half of it. A list of levels is a waveform in the generator's memory whose
codes run from 0 at the low level to 2^bits - 1 at the high one (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.physics.loading import display_share
from aotf_lab.reading.session_limits import GeneratorFacts

__all__ = ["DISPLAYS", "Typed", "steps_of", "typed_of"]

DISPLAYS = {"high impedance": math.inf, "50 ohm": 50.0}
"""What each kind of display assumes behind the generator (ohm)."""

_TINY = 1e-9


@dataclass(frozen=True)
class Typed:
    """What to type on one kind of display: volts as that display shows them.

    ``factor`` is display volts over open-circuit volts, ``steps_v`` (amplitude, offset) the steps, None where not
    known. ``levels_v`` are the open-circuit volts that this makes, level by level; ``codes`` those of a list, or None.
    """

    display: str
    factor: float
    offset_v: float
    amplitude_vpp: float
    steps_v: tuple[float | None, float | None]
    levels_v: tuple[float, ...]
    codes: tuple[int, ...] | None

    @property
    def high_v(self) -> float:
        """The high level, as the display shows it."""
        return self.offset_v + self.amplitude_vpp / 2

    @property
    def low_v(self) -> float:
        """The low level, as the display shows it."""
        return self.offset_v - self.amplitude_vpp / 2

    @property
    def offset_open_v(self) -> float:
        """The offset in open-circuit volts."""
        return self.offset_v / self.factor

    @property
    def offset_text(self) -> str:
        """The offset (V) with the digits that its step has."""
        return _volts(self.offset_v, self.steps_v[1])

    @property
    def amplitude_text(self) -> str:
        """The amplitude (V peak to peak) with the digits that its step has."""
        return _volts(self.amplitude_vpp, self.steps_v[0])

    def __str__(self) -> str:
        if self.amplitude_vpp == 0:
            return f"DC, offset {self.offset_text} V"
        a, o = self.steps_v
        level = None if a is None or o is None else min(a / 2, o)
        words = (
            f"high {_volts(self.high_v, level)} V, low {_volts(self.low_v, level)} V; or offset "
            f"{self.offset_text} V, amplitude {self.amplitude_text} V peak to peak"
        )
        return words if self.codes is None else f"{words}; codes {', '.join(map(str, self.codes))}"


def _volts(value: float, step: float | None) -> str:
    """Return volts with the digits that the step has, 0.1 mV where no step is known."""
    if step is None:
        return f"{value:.4f}"
    text = f"{step:.7f}".rstrip("0")
    return f"{value:.{max(len(text.split('.')[1]), 3)}f}"


def steps_of(facts: GeneratorFacts, factor: float) -> tuple[float | None, float | None]:
    """Return the steps (amplitude peak to peak, offset) of what is typed: stated, or the converter's over its range."""
    full = None
    if facts.bits is not None and facts.max_output_v is not None:
        full = 2 * facts.max_output_v * factor / 2**facts.bits
    return facts.amplitude_step_v or full, facts.offset_step_v or full


def typed_of(levels_v: Sequence[float], display: str, facts: GeneratorFacts, range_v: tuple[float, float]) -> Typed:
    """Return what to type for ``levels_v`` (open circuit) so that no level leaves ``range_v`` (open circuit).

    Of the steps next to the exact values those with the least error of a level are taken. Raises ``AotfLabError`` where
    no step stays within the range.
    """
    factor = display_share(DISPLAYS[display], facts.output_ohm)
    steps = steps_of(facts, factor)
    high, low = (factor * f(levels_v) for f in (max, min))
    best: tuple[float, float, float] | None = None
    for amplitude, offset in product(_near(high - low, steps[0], high > low), _near((high + low) / 2, steps[1], True)):
        ends = (offset - amplitude / 2, offset + amplitude / 2)
        inside = factor * range_v[0] - _TINY <= ends[0] and ends[1] <= factor * range_v[1] + _TINY
        error = max(abs(ends[0] - low), abs(ends[1] - high)) + 1e-6 * abs(offset - (high + low) / 2)
        if inside and amplitude >= 0 and (best is None or error < best[0] - 1e-12):
            best = (error, amplitude, offset)
    if best is None:
        raise AotfLabError(
            "no setting of the generator's steps stays within its limits",
            found=Said(f"{low / factor:.4g} to {high / factor:.4g} V (open circuit)"),
            allowed=f"{range_v[0]:.4g} to {range_v[1]:.4g} V (open circuit)",
            cure="correct the limits, or the steps, in session.toml",
        )  # fmt: skip
    _, amplitude, offset = best
    made, codes = _made(levels_v, offset / factor, amplitude / factor, facts.bits)
    return Typed(display, factor, offset, amplitude, steps, made, codes)


def _near(value: float, step: float | None, free: bool) -> tuple[float, ...]:
    """Return the multiples of the step next to ``value``, the value itself without a step; none but 0 for DC."""
    if not free:
        return (0.0,)
    if step is None:
        return (value,)
    middle = round(value / step)
    return tuple(step * k for k in (middle, middle - 1, middle + 1, middle - 2, middle + 2))


def _made(
    levels_v: Sequence[float], offset_v: float, amplitude_v: float, bits: float | None
) -> tuple[tuple[float, ...], tuple[int, ...] | None]:
    """Return the open-circuit volts made, and the codes of a list of more than two levels."""
    low, high = offset_v - amplitude_v / 2, offset_v + amplitude_v / 2
    if len(set(levels_v)) < 3:
        most = max(levels_v)
        return tuple(high if v == most else low for v in levels_v), None
    if bits is None or amplitude_v == 0:
        scale = (high - low) / (max(levels_v) - min(levels_v))
        return tuple(low + scale * (v - min(levels_v)) for v in levels_v), None
    top = 2 ** int(bits) - 1
    codes = tuple(min(max(round(top * (v - low) / amplitude_v), 0), top) for v in levels_v)
    return tuple(low + amplitude_v * code / top for code in codes), codes
