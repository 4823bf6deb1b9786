"""From edges and contrast to the highest bit rate whose eye is as open as is asked."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy import optimize
from uncertainties import UFloat, nominal_value, std_dev

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation import Check
from aotf_lab.timing.eye.channel import Channel
from aotf_lab.timing.eye.noise import bit_error_rate, q_factor, q_needed
from aotf_lab.timing.eye.openings import Openings, openings
from aotf_lab.timing.eye.rate_result import DataRate, Limit
from aotf_lab.timing.eye.worst import JITTER_REACH

__all__ = ["data_rate"]

_RELATIVE_STEP = 1e-3
"""Step of the numerical derivatives with respect to rise, fall, contrast and jitter."""


def data_rate(
    rise_us: UFloat | float,
    fall_us: UFloat | float | None = None,
    *,
    contrast: UFloat | float,
    eye_opening: float = 0.5,
    eye_width: float = 0.5,
    noise_share: float | tuple[float, float] = 0.0,
    jitter_us: UFloat | float = 0.0,
    bit_error_limit: float | None = None,
) -> DataRate:
    """Return the highest bit rate of light keyed between a line and park, for a stated opening of the worst eye.

    ``rise_us`` and ``fall_us`` (the rise where None) are optical times 10 to 90 % of error-function edges;
    ``contrast`` is the light when on over that when parked. ``eye_opening`` is the vertical opening as a share of the
    light when on, ``eye_width`` the horizontal one as a share of the bit; both over all patterns of bits.
    ``noise_share`` is the rms noise as a share of the light when on, one number or (on, off); ``jitter_us`` the rms
    jitter of an edge. With ``bit_error_limit`` the worst pattern must also stay below that bit error rate. Inputs with
    an uncertainty give a rate with one.

    The sound's delay does not limit the rate: it shifts all bits alike.

    Raises ``AotfLabError`` for values without a meaning, and where no rate, however low, opens the eye so far.
    """
    on, off = noise_share if isinstance(noise_share, tuple) else (noise_share, noise_share)
    fall_us = rise_us if fall_us is None else fall_us
    inputs = (rise_us, fall_us, contrast, jitter_us)

    def channel_of(rise: float, fall: float, contrast: float, jitter: float) -> Channel:
        return Channel(rise, fall, contrast, on, off, jitter)

    channel = channel_of(*(float(nominal_value(v)) for v in inputs))
    need = _needed(channel, eye_opening, eye_width, bit_error_limit)
    bit_us = _shortest_bit(channel, *need)
    found = openings(channel, bit_us)
    limit: Limit = "vertical" if found.vertical - need[0] <= found.horizontal - need[1] else "horizontal"
    if limit == "vertical" and need[0] > eye_opening:
        limit = "bit errors"
    rate = _with_u(lambda *v: 1e3 / _shortest_bit(channel_of(*v), *need), 1e3 / bit_us, inputs)
    q = q_factor(found.vertical, on, off)
    return DataRate(
        rate, channel, found, eye_opening, eye_width, bit_error_limit, limit, q, bit_error_rate(q),
        _checks(channel, found, bit_error_limit),
    )  # fmt: skip


def _needed(channel: Channel, opening: float, width: float, error_limit: float | None) -> tuple[float, float]:
    """Return the vertical and the horizontal opening that the rate must leave."""
    for name, value in (("eye opening", opening), ("eye width", width)):
        if not 0 < value < 1:
            raise AotfLabError(name, found=value, allowed="above 0, below 1", cure="give it as a share, such as 0.5")
    vertical = opening
    if error_limit is not None:
        vertical = max(vertical, q_needed(error_limit) * (channel.noise_on + channel.noise_off))
    most = 1.0 - channel.off_share
    if vertical >= most:
        raise AotfLabError(
            "the eye never opens so far, however slow the bits",
            found=Said(f"{vertical:.3g} of the light when on, at a contrast of {channel.contrast:.4g}"),
            allowed=f"below {most:.4g}", cure="ask for less opening, park where less leaks, or lower the noise",
        )  # fmt: skip
    return vertical, width


def _shortest_bit(channel: Channel, vertical: float, horizontal: float) -> float:
    """Return the shortest bit (us) whose worst eye is as open as needed."""

    def spare(log_bit: float) -> float:
        found = openings(channel, math.exp(log_bit))
        return min(found.vertical - vertical, found.horizontal - horizontal)

    low = math.log(0.25 * channel.deviation_us)
    high = math.log(8.0 * (channel.deviation_us + JITTER_REACH * channel.jitter_us))
    for _ in range(24):
        if spare(high) > 0:
            break
        high += math.log(2.0)
    else:
        raise AotfLabError(
            "the eye never opens so far, however slow the bits", found=Said(f"{vertical:.4g} and {horizontal:.4g}"),
            allowed="an opening that light, leaks and jitter allow", cure="ask for less opening",
        )  # fmt: skip
    return math.exp(float(optimize.brentq(spare, low, high, xtol=1e-7)))


def _with_u(rate: Callable[..., float], at: float, inputs: tuple[UFloat | float, ...]) -> UFloat | float:
    """Return ``at`` with the uncertainty that the inputs' own give it, to first order; their causes stay shared."""
    values = [float(nominal_value(v)) for v in inputs]
    result: UFloat | float = at
    done: list[int] = []
    for i, value in enumerate(inputs):
        if not isinstance(value, UFloat) or std_dev(value) == 0 or i in done:
            continue
        same = [j for j in range(i, len(inputs)) if inputs[j] is value]
        done += same
        step = _RELATIVE_STEP * values[i] if values[i] else _RELATIVE_STEP
        above = [v + step if j in same else v for j, v in enumerate(values)]
        below = [v - step if j in same else v for j, v in enumerate(values)]
        slope = (rate(*above) - rate(*below)) / (2 * step)
        result = result + slope * (value - value.n)
    return result


def _checks(channel: Channel, found: Openings, error_limit: float | None) -> tuple[Check, ...]:
    ratio = max(channel.rise_us, channel.fall_us) / min(channel.rise_us, channel.fall_us)
    alike = f"rise over fall, or fall over rise, is {ratio:.3g}, limit 1.2"
    checks = [
        Check(
            "edges alike", ratio <= 1.2,
            alike if ratio <= 1.2 else f"{alike}: a beam crossed by sound gives equal ones, so an electronic part "
            "shapes one of them, and an error function may not fit it; look at the trace",
        ),
        Check(
            "sound behind the bits", True,
            f"{channel.memory_us * 2 / found.bit_us:.0f} bits run into each other at most; the delay adds none",
        ),
    ]  # fmt: skip
    if channel.noise_on + channel.noise_off == 0:
        why = "no noise stated: the bit error rate cannot be estimated"
        checks.append(Check("noise stated", error_limit is None, f"{why}; give noise_share, rms over the light on"))
    if channel.jitter_us > 0:
        share = float(np.round(channel.jitter_us / found.bit_us, 4))
        detail = f"rms jitter is {100 * share:.3g} % of the bit, limit 5 %"
        checks.append(Check("jitter", share <= 0.05, detail))
    return tuple(checks)
