"""A sine at the port: when each line lights, for how long, rising and falling.

The port follows V(t) = c + (a / 2) g sin(2 pi f (t - d)) with the single pole's g = 1 / sqrt(1 + (f / B)^2) and d =
atan(f / B) / (2 pi f) (circuit theory). A line lights while V lies between the volts of its two half-light
frequencies; away from the turning points that is FWHM / (df/dV dV/dt). Times count from the generator's rising zero
crossing and leave out the sound's way to the beam and the beam's own rise.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from uncertainties import UFloat, nominal_value, umath

from aotf_lab.driver import Vco
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.given import given_number
from aotf_lab.physics.loading import pole_delay_us
from aotf_lab.planning.curves import Curves, HasCurves, curves_of
from aotf_lab.planning.generator.output import Output, given_output
from aotf_lab.planning.generator.reach import Reach, reach_of
from aotf_lab.planning.generator.swept import SineSweep, Window, sweep_checks
from aotf_lab.planning.generator.typed import DISPLAYS, typed_of
from aotf_lab.planning.generator.wanted import Wanted, needed_vco, wanted_levels

__all__ = ["SineSweep", "Window", "sine_sweep"]

Way = Literal["rising", "falling", "turning"]

_ROOM, _LEAST_V = 1.5, 0.1
_SURE = 4.0
"""By how many u of the volts at the port a chosen sine passes its lines at the least."""


@dataclass(frozen=True)
class _Sine:
    """The sine at the port, behind its pole: volts with their errors, time in us."""

    centre_v: UFloat
    half_v: UFloat
    rate_khz: float
    delay_us: Any

    def angle_us(self, x: Any) -> Any:
        """Return asin(x) as a time."""
        return umath.asin(x) / (2 * math.pi * self.rate_khz) * 1e3


def sine_sweep(
    source: Curves | HasCurves,
    lines: str | Mapping[str, UFloat | float | None] | Iterable[float | str],
    output: Output,
    *,
    rate_khz: float,
    centre_v: float | None = None,
    amplitude_vpp: float | None = None,
) -> SineSweep:
    """Return when each line lights on a sine of ``rate_khz``, and what to type for it.

    ``lines`` as for ``generator_settings``; ``output`` is the generator at the port, from ``generator_output``.
    ``centre_v`` and ``amplitude_vpp`` (peak to peak) are volts that the generator makes at the port, before the port's
    pole; without them both are chosen so that every line is passed with room before the turning points. Raises
    ``AotfLabError`` for a rate or an amplitude that is not above zero, and for a sine that leaves what can be set.
    """
    given_output(output)
    rate_khz = given_number(rate_khz, "rate_khz", "kHz", above=0)
    if amplitude_vpp is not None:
        amplitude_vpp = given_number(amplitude_vpp, "amplitude_vpp", "V", above=0)
    if centre_v is not None:
        centre_v = given_number(centre_v, "centre_v", "V")
    curves, _ = curves_of(source)
    vco, wanted = needed_vco(curves), wanted_levels(source, lines, None)
    reach = reach_of(output, vco)
    gain, delay = _pole(output, rate_khz)
    edges = {w.name: _edges(curves, vco, w) for w in wanted}
    centre, span = _ends(edges, reach, output, float(nominal_value(gain)), centre_v, amplitude_vpp)
    share, bias = output.share_n, float(nominal_value(output.bias_v))
    limits = (reach.low_v / share - bias, reach.high_v / share - bias)
    opened = [(v / share - bias) for v in (centre + span / 2, centre - span / 2)]
    typed = {d: typed_of(opened, d, output.generator, limits) for d in DISPLAYS}
    right = typed["high impedance"]
    high, low = (output.made_v(v, right.offset_open_v) for v in right.levels_v)
    sine = _Sine((high + low) / 2, (high - low) / 2 * gain, rate_khz, delay)
    windows = tuple(found for w in wanted for found in _windows(sine, vco, w, *edges[w.name]))
    checks = sweep_checks(wanted, windows, output, gain, rate_khz, reach)
    return SineSweep(wanted, edges, typed, windows, sine.centre_v, sine.half_v, rate_khz, gain, delay, output, checks)


def _pole(output: Output, rate_khz: float) -> tuple[Any, Any]:
    """Return what the port's pole leaves of the amplitude, and its delay (us); 1 and 0 where nothing is stated."""
    bandwidth = output.oscillator.known_port_bandwidth_khz
    if bandwidth is None:
        return 1.0, 0.0
    return 1 / umath.sqrt(1 + (rate_khz / bandwidth) ** 2), pole_delay_us(rate_khz, bandwidth)


def _edges(curves: Curves, vco: Vco, wanted: Wanted) -> tuple[UFloat, UFloat]:
    """Return the volts at the port between which a line has half of its light or more."""
    width: UFloat | float | None = wanted.fwhm_mhz
    if wanted.name in curves.scans:
        width = curves.scans[wanted.name].fwhm_mhz
    if width is None:
        raise AotfLabError(
            "no width of this passband", where=wanted.name, found=Said("no scan"), allowed="one scan or more",
            cure="scan the line",
        )  # fmt: skip
    ends = [wanted.frequency_mhz - width / 2, wanted.frequency_mhz + width / 2]
    kept = [end + (min(max(end.n, vco.range_mhz[0]), vco.range_mhz[1]) - end.n) for end in ends]
    low, high = (vco.drive_true(end) for end in kept)
    return low, high


def _ends(
    edges: Mapping[str, tuple[UFloat, UFloat]],
    reach: Reach,
    output: Output,
    gain: float,
    centre_v: float | None,
    amplitude_vpp: float | None,
) -> tuple[float, float]:
    """Return centre and peak-to-peak amplitude (V at the port, before its pole), as asked for or chosen.

    A line out of reach is left out where there is another. What is chosen passes the lines by half of their way from
    the centre, and by what the generator's own error may take off.
    """
    within = [e for e in edges.values() if reach.holds(e[0].n) and reach.holds(e[1].n)] or list(edges.values())
    low, high = min(e[0].n for e in within), max(e[1].n for e in within)
    centre = (low + high) / 2 if centre_v is None else centre_v
    room = 2 * min(centre - reach.low_v, reach.high_v - centre)
    if amplitude_vpp is None:
        open_v = centre / output.share_n - float(nominal_value(output.bias_v))
        u_v = math.hypot(output.made_v(open_v, open_v).s, max(end.s for e in within for end in e))
        far = max(high - centre, centre - low)
        span = min(max(_ROOM * max(2 * far, _LEAST_V), 2 * (far + _SURE * u_v)) / gain, room)
    else:
        span = amplitude_vpp
    if not 0 < span <= room + 1e-9:
        raise AotfLabError(
            "a sine that leaves what can be set", allowed=f"{reach.low_v:.4g} V ({reach.why_low}) to "
            f"{reach.high_v:.4g} V ({reach.why_high})",
            found=Said(f"{centre - span / 2:.4g} to {centre + span / 2:.4g} V at the port"),
            cure="move the centre, lower the amplitude, or add a bias_v",
        )  # fmt: skip
    return centre, span


def _windows(sine: _Sine, vco: Vco, wanted: Wanted, low_v: UFloat, high_v: UFloat) -> tuple[Window, ...]:
    """Return when one line lights within a cycle: twice, once around a turning point, or never."""
    x_low, x_high = ((v - sine.centre_v) / sine.half_v for v in (low_v, high_v))
    if x_low.n >= 1 or x_high.n <= -1:
        return ()
    period = 1e3 / sine.rate_khz
    quarter, half = period / 4, period / 2
    peak = (wanted.port_v.n - sine.centre_v.n) / sine.half_v.n
    slope = 2 * math.pi * sine.rate_khz * 1e-3 * sine.half_v * math.sqrt(max(1 - peak**2, 0.0))
    spans: list[tuple[Way, Any, Any]] = []
    if x_low.n <= -1 and x_high.n >= 1:
        spans = [("turning", -quarter, 3 * quarter)]
    elif x_high.n >= 1:
        spans = [("turning", sine.angle_us(x_low), half - sine.angle_us(x_low))]
    elif x_low.n <= -1:
        spans = [("turning", half - sine.angle_us(x_high), period + sine.angle_us(x_high))]
    else:
        first, last = sine.angle_us(x_low), sine.angle_us(x_high)
        turn = period if last.n + float(nominal_value(sine.delay_us)) <= 0 else 0.0
        spans = [("rising", turn + first, turn + last), ("falling", half - last, half - first)]
    rate = slope * vco.sensitivity(wanted.drive_v.n)
    close = any(abs(abs(x.n) - 1) < 3 * x.s for x in (x_low, x_high))
    return tuple(
        Window(wanted.name, way, start + sine.delay_us, stop + sine.delay_us, stop - start,
               None if way == "turning" else rate, close)
        for way, start, stop in spans
    )  # fmt: skip
