"""Which frequencies can be set: within the oscillator's curve, its input's limits, the generator, the amplifier."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from aotf_lab.driver import Vco
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.given import given_numbers
from aotf_lab.physics.loading import load_share
from aotf_lab.planning.curves import Curves
from aotf_lab.planning.damage import LOWEST_CONTROL_V
from aotf_lab.reading.session_limits import GeneratorFacts, OscillatorFacts

__all__ = ["Reach", "Zone", "reach_of"]


@dataclass(frozen=True)
class Zone:
    """Frequencies (MHz) that cannot be set, and why."""

    low_mhz: float
    high_mhz: float
    why: str


@dataclass(frozen=True)
class Reach:
    """The frequencies (MHz) within reach, what ends them on either side, and all that the map shows."""

    low_mhz: float
    high_mhz: float
    why_low: str
    why_high: str
    shown_mhz: tuple[float, float]

    @property
    def zones(self) -> tuple[Zone, ...]:
        """What lies outside, on the map."""
        low, high = self.shown_mhz
        below = (Zone(low, self.low_mhz, self.why_low),) if self.low_mhz > low else ()
        above = (Zone(self.high_mhz, high, self.why_high),) if self.high_mhz < high else ()
        return below + above


def reach_of(
    curves: Curves,
    oscillator: OscillatorFacts | None,
    generator: GeneratorFacts | None,
    band_mhz: tuple[float, float] | None,
) -> Reach:
    """Return what can be set; ``band_mhz`` narrows it further.

    Raises ``AotfLabError`` where nothing says which frequencies there are, or none is left.
    """
    limits = list(_limits(curves, oscillator or OscillatorFacts(), generator or GeneratorFacts(), band_mhz))
    if not limits:
        raise AotfLabError(
            "which frequencies can be set is not known",
            found=Said("neither an oscillator curve nor a level over the band"), allowed="one of them, or band_mhz",
            cure="measure the oscillator, or state band_mhz",
        )  # fmt: skip
    low, why_low = max(((a, f"below {why}") for a, _, why in limits), key=lambda item: item[0])
    high, why_high = min(((b, f"above {why}") for _, b, why in limits), key=lambda item: item[0])
    if not low < high:
        raise AotfLabError(
            "no frequency is within reach of every part", found=Said(f"{low:.4g} MHz ({why_low})"),
            allowed=f"less than {high:.4g} MHz ({why_high})", cure="correct the limits, or widen band_mhz",
        )  # fmt: skip
    measured = [r for r in (curves.vco and curves.vco.range_mhz, curves.level and curves.level.range_mhz) if r]
    ends = np.array(measured or [(low, high)])
    shown = (float(ends[:, 0].min()), float(ends[:, 1].max()))
    return Reach(low, high, why_low, why_high, (min(shown[0], low), max(shown[1], high)))


def _limits(
    curves: Curves,
    oscillator: OscillatorFacts,
    generator: GeneratorFacts,
    band_mhz: tuple[float, float] | None,
) -> Iterator[tuple[float, float, str]]:
    """Yield the lowest and highest frequency that each part allows, and what it is called."""
    if curves.vco is not None:
        yield *curves.vco.range_mhz, "what the oscillator was measured at"
        lowest = LOWEST_CONTROL_V if oscillator.input_min_v is None else oscillator.input_min_v
        highest = np.inf if oscillator.input_max_v is None else oscillator.input_max_v
        yield *_made_by(curves.vco, lowest, highest), "what the oscillator's input may take"
        given = generator.range_v
        if given is not None:
            ohm = oscillator.input_ohm
            share = load_share(generator.output_ohm, np.inf if ohm is None else ohm)
            made = _made_by(curves.vco, share * given[0], share * given[1])
            yield *made, f"what the generator gives ({share * given[0]:.3g} to {share * given[1]:.3g} V at the input)"
    if curves.level is not None:
        yield *curves.level.range_mhz, "where the amplifier was measured"
    if band_mhz is not None:
        ends = given_numbers(band_mhz, "band_mhz")
        if len(ends) != 2 or not ends[0] < ends[1]:
            raise AotfLabError("band_mhz", found=Said(str(band_mhz)), allowed="two frequencies (MHz), the lower first",
                               cure="give both")  # fmt: skip
        yield ends[0], ends[1], "the band asked for"


def _made_by(vco: Vco, low_v: float, high_v: float) -> tuple[float, float]:
    """Return the frequencies at two voltages; no limit where a voltage lies beyond the curve."""
    (first, last), (low, high) = vco.range_v, vco.range_mhz
    at = vco.curve.curve(np.clip(np.array([low_v, high_v]), first, last))
    lowest = low if low_v <= first else high if low_v >= last else float(at[0])
    highest = high if high_v >= last else low if high_v <= first else float(at[1])
    return lowest, highest
