"""The highest rate at which a line may be swept across, and which part of the bench sets it.

Beam, detector and the generator's steps blur the pulse of light (``pulse``). A single pole at the oscillator's port
does not: behind it a ramp is the same ramp, later by tau. It costs the ends of the span instead. A triangle of rate r
turns r tau ln 2 short of each end, so 2 ln 2 r tau / span is lost; a sine of frequency F keeps 1/sqrt(1 + (F/B)^2)
of its span and crosses the middle at r = pi F span. Both by circuit theory; the loss allowed is then that share of
the span.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from scipy import optimize
from uncertainties import UFloat

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.physics.edges import pole_of_bandwidth_us, pole_of_rise_us
from aotf_lab.timing.numbers import Number, nominal, require_above_zero, through
from aotf_lab.timing.sweep.pulse import peak_light

__all__ = ["SweepLimits", "SweepPart", "sweep_limits"]

Course = Literal["triangle", "sine"]

_PORT = "oscillator port"
_PER_MHZ = {"triangle": 1.0, "sine": 2.0 / math.pi}
"""Sweeps of a span at one rate in its middle, over those of a triangle."""


@dataclass(frozen=True)
class SweepPart:
    """One part of the bench: the highest ``rate_mhz_per_us`` if it were the only one (infinite: it never limits), what
    it loses alone at the rate of all (share of the light; of the span for the port), how late it makes the light."""

    name: str
    rate_mhz_per_us: Number
    lost: float
    lag_us: float
    note: str


@dataclass(frozen=True)
class SweepLimits:
    """How fast the frequency may be swept, made by ``sweep_limits``.

    ``rate_mhz_per_us`` is the highest rate at which a line keeps all but ``loss`` of its light; ``limited_by`` names
    the part that would lose most there. ``sweeps_per_s`` counts one way over ``span_mhz``, None without one.
    """

    rate_mhz_per_us: Number
    sweeps_per_s: Number | None
    limited_by: str
    parts: tuple[SweepPart, ...]
    loss: float
    span_mhz: float | None
    course: Course
    fwhm_mhz: float
    lost_at: Callable[[str, float], float] = field(repr=False)

    @property
    def lag_us(self) -> float:
        """How late the light is in all: up and down shift by this times the rate, opposite ways."""
        return sum(p.lag_us for p in self.parts)

    def plot(self, ax: Any = None) -> Any:
        """Draw the light lost against the rate, by part and in all; return the Axes."""
        from aotf_lab.drawing.timing import plot_sweep

        chosen = nominal(self.rate_mhz_per_us)
        rate = np.geomspace(chosen / 30.0, chosen * 30.0, 80)
        blurs = [p.name for p in self.parts if p.name in ("beam", "detector", "generator")]
        lost = {name: np.array([self.lost_at(name, float(r)) for r in rate]) for name in ("all", *blurs)}
        return plot_sweep(rate, lost, self.loss, chosen, ax=ax)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value), one pair per line of ``str``; a line for each part."""
        rate = nominal(self.rate_mhz_per_us)
        found = [
            ("highest rate", f"{_said(self.rate_mhz_per_us)} MHz/us for {100 * self.loss:.3g} % of the light"),
            ("limited by", self.limited_by),
        ]
        if self.sweeps_per_s is not None:
            found.append(
                ("sweeps, one way", f"{_said(self.sweeps_per_s)} per s over {self.span_mhz:g} MHz, {self.course}")
            )
        for p in self.parts:
            alone = (
                "never limits" if math.isinf(nominal(p.rate_mhz_per_us)) else f"{_said(p.rate_mhz_per_us)} MHz/us alone"
            )
            lag = f"lag {p.lag_us:.3g} us = {1e3 * rate * p.lag_us:.3g} kHz at the highest rate"
            found.append((p.name, f"{alone}; loses {100 * p.lost:.2g} % {p.note}; {lag}"))
        return tuple(found)

    def _title(self) -> str:
        return f"Sweep over a passband of {self.fwhm_mhz:.3g} MHz"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows())

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows())


def _said(number: Number) -> str:
    return f"{number:.2uS}" if isinstance(number, UFloat) and number.s > 0 else f"{nominal(number):.3g}"


@dataclass(frozen=True)
class _Times:
    """Times (us) of the parts that blur, 0 for one that is not there, and the passband's FWHM (MHz)."""

    deviation: float
    pole: float
    hold: float
    fwhm: float

    def lost(self, name: str, rate: float) -> float:
        """Return the share of the light lost at ``rate`` (MHz/us) by one part, or by "all"."""
        s, d, b = (t * rate / self.fwhm for t in (self.deviation, self.pole, self.hold))
        kept = {"beam": (s, 0.0, 0.0), "detector": (0.0, d, 0.0), "generator": (0.0, 0.0, b)}.get(name, (s, d, b))
        return 1.0 - peak_light(*kept)

    def highest(self, name: str, loss: float) -> float:
        """Return the rate at which ``loss`` is reached, infinite where nothing blurs."""
        used = {"beam": self.deviation, "detector": self.pole, "generator": self.hold}
        slow = used.get(name, max(used.values()))
        if slow <= 0:
            return math.inf
        low, high = 1e-4 * self.fwhm / slow, self.fwhm / slow
        while self.lost(name, high) < loss and high < 1e4 * self.fwhm / slow:
            high *= 2.0
        return float(optimize.brentq(lambda r: self.lost(name, r) - loss, low, high, rtol=1e-8))


def sweep_limits(
    fwhm_mhz: Number,
    *,
    transit_us: Number,
    loss: float = 0.05,
    span_mhz: float | None = None,
    course: Course = "triangle",
    delay_us: Number = 0.0,
    detector_rise_us: Number | None = None,
    port_bandwidth_khz: Number | None = None,
    mhz_per_v: float | None = None,
    generator_slew_v_per_us: float | None = None,
    generator_step_us: float | None = None,
) -> SweepLimits:
    """Return how fast the frequency may be swept across a line that keeps all but ``loss`` (0 to 1) of its peak.

    ``fwhm_mhz`` is the line's passband, ``transit_us`` D/v of the beam (``Edge.transit_us``), ``delay_us`` the sound's
    way to it. Detector (10 to 90 % time) and port (-3 dB) are single poles. The generator's ``generator_slew_v_per_us``
    needs the oscillator's ``mhz_per_v``; ``generator_step_us`` is the time for which it holds each value. The port,
    and the sweeps per second, need ``span_mhz``. Weak drive: at full drive the passband is 10 % narrower, and so is
    the rate.

    Raises ``AotfLabError`` for a number not above zero, a loss outside 0.001 to 0.5, and a slew without ``mhz_per_v``.
    """
    require_above_zero(
        "a sweep", fwhm_mhz=fwhm_mhz, transit_us=transit_us, span_mhz=span_mhz, detector_rise_us=detector_rise_us,
        port_bandwidth_khz=port_bandwidth_khz, mhz_per_v=mhz_per_v, generator_slew_v_per_us=generator_slew_v_per_us,
        generator_step_us=generator_step_us,
    )  # fmt: skip
    if not 1e-3 <= loss <= 0.5:
        raise AotfLabError("loss of light of a sweep", found=loss, allowed="0.001 to 0.5", cure="ask for 0.05")
    if generator_slew_v_per_us is not None and mhz_per_v is None:
        raise AotfLabError("the generator's slew without the oscillator's slope", found=generator_slew_v_per_us,
                           allowed="mhz_per_v beside it", cure="give the oscillator's MHz/V at the line")  # fmt: skip
    hold = generator_step_us or 0.0
    late: dict[str, Number] = {"beam": delay_us}
    if detector_rise_us is not None:
        late["detector"] = pole_of_rise_us(1.0) * detector_rise_us
    if port_bandwidth_khz is not None:
        late[_PORT] = pole_of_bandwidth_us(1.0) / port_bandwidth_khz
    if generator_step_us is not None or generator_slew_v_per_us is not None:
        late["generator"] = 0.5 * hold
    slew = math.inf if generator_slew_v_per_us is None else generator_slew_v_per_us * abs(mhz_per_v or 0.0)
    hard = {_PORT: _port_rate(late.get(_PORT, 0.0), span_mhz, loss, course), "generator": slew}
    return _limits(hard, (0.25 * transit_us, late.get("detector", 0.0), hold, fwhm_mhz), late, loss, span_mhz, course)


def _limits(
    hard: Mapping[str, Number], of: tuple[Number, float | Number, float, Number], late: Mapping[str, Number],
    loss: float, span_mhz: float | None, course: Course,
) -> SweepLimits:  # fmt: skip
    """Return the limits by ``hard`` rates (MHz/us) of port and slew, and by what blurs: ``of`` makes a ``_Times``.

    ``late`` is the lag (us) of each part that is there.
    """

    def highest(name: str) -> Number:
        return through(lambda s, d, b, w: _Times(s, d, b, w).highest(name, loss), *of)

    times = _Times(*map(nominal, of))
    rate: Number = min((highest("all"), *hard.values()), key=nominal)
    at = nominal(rate)
    blurs = {name: times.lost(name, at) for name in ("beam", "detector", "generator")}
    parts = []
    for name, lag in late.items():
        if name == _PORT:
            lost = 0.0 if span_mhz is None else _span_lost(at, nominal(lag), span_mhz, course)
            parts.append(SweepPart(name, hard[name], lost, nominal(lag), "of the span"))
        else:
            own: Number = min((highest(name), hard.get(name, math.inf)), key=nominal)
            parts.append(SweepPart(name, own, blurs[name], nominal(lag), "of the light"))
    hardest = min(hard, key=lambda name: nominal(hard[name]))
    limited = hardest if nominal(hard[hardest]) <= at else max(blurs, key=lambda name: blurs[name])
    sweeps = None if span_mhz is None else 1e6 * _PER_MHZ[course] * rate / span_mhz
    return SweepLimits(rate, sweeps, limited, tuple(parts), loss, span_mhz, course, nominal(of[3]), times.lost)


def _port_rate(tau_us: Number, span_mhz: float | None, loss: float, course: Course) -> Number:
    """Return the rate (MHz/us) at which the port's pole costs the share ``loss`` of the span."""
    if span_mhz is None or nominal(tau_us) == 0:
        return math.inf
    if course == "triangle":
        return loss * span_mhz / (2.0 * math.log(2.0) * tau_us)
    return 0.5 * span_mhz * math.sqrt((1.0 - loss) ** -2.0 - 1.0) / tau_us  # pi F span, F/B = 2 pi F tau


def _span_lost(rate: float, tau_us: float, span_mhz: float, course: Course) -> float:
    if course == "triangle":
        return 2.0 * math.log(2.0) * rate * tau_us / span_mhz
    return 1.0 - 1.0 / math.hypot(1.0, 2.0 * rate * tau_us / span_mhz)
