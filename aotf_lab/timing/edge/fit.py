"""From a trace of switched light to rise, fall, delay and D/v."""

from __future__ import annotations

import pandas as pd
from uncertainties import UFloat

from aotf_lab.estimation import Check, new_cause
from aotf_lab.estimation.checks import z_check
from aotf_lab.physics.edges import RISE_PER_DEVIATION, pole_of_bandwidth_us, pole_of_rise_us
from aotf_lab.reading.readings import Readings
from aotf_lab.timing.edge.drive import delay_of, mean_of, require_drive_first
from aotf_lab.timing.edge.edge import Edge
from aotf_lab.timing.edge.model import FittedSteps, fit_steps
from aotf_lab.timing.edge.overshoot import Overshoot, overshoot_after
from aotf_lab.timing.edge.shape import cut_off_v, shape_check
from aotf_lab.timing.edge.trace import trace_of
from aotf_lab.timing.numbers import Number, nominal, require_above_zero

__all__ = ["fit_edge"]

_RISE_PER_TRANSIT = RISE_PER_DEVIATION / 4.0


def fit_edge(
    readings: Readings | pd.DataFrame,
    *,
    detector_rise_us: Number | None = None,
    scope_bandwidth_mhz: Number | None = None,
    port_bandwidth_khz: Number | None = None,
    beam_diameter_mm: Number | None = None,
    velocity_m_s: Number | None = None,
) -> Edge:
    """Fit a trace of switched light and return the ``Edge``.

    ``readings`` is a table with ``time_s``, ``signal_v`` (a detector that shows more volts for more light) and, for the
    delay, ``drive_v``. The edge is that of a Gaussian beam crossed by a front of sound, behind a single pole for each
    of detector (10 to 90 % time), scope and oscillator's port that is stated: convolved exactly, not in quadrature. A
    port's pole is right where light follows the port's volts in proportion: a small step on the flank of the passband;
    leave it out where a switch in the RF line makes the edge. The edge has this form at any efficiency as long as the
    RF itself steps faster than the sound crosses the beam; else the light's sin^2 makes it look faster
    (``physics.edges.local_light``). Noise is estimated on the plateaus, with what one sample owes to those before it.
    ``beam_diameter_mm`` (along the sound) gives the velocity, ``velocity_m_s`` the diameter; both are then compared.

    Raises ``ReadingsError`` for a trace that is too short, uneven in time or without plateaus, and for light that
    steps before its drive; ``FitError`` for one without an edge, ``AotfLabError`` for a stated number not above zero.
    """
    require_above_zero(
        "an edge", detector_rise_us=detector_rise_us, scope_bandwidth_mhz=scope_bandwidth_mhz,
        port_bandwidth_khz=port_bandwidth_khz, beam_diameter_mm=beam_diameter_mm, velocity_m_s=velocity_m_s,
    )  # fmt: skip
    trace = trace_of(readings)
    require_drive_first(trace)
    scope, poles = _poles(detector_rise_us, scope_bandwidth_mhz, port_bandwidth_khz)
    light = fit_steps(trace.time_us, trace.light_v, poles, "the samples of the light")
    delay, about_delay = delay_of(trace, light, scope)
    rise, fall = (_without_rounding(light, name) for name in ("rise_us", "fall_us"))
    both = [t for t in (rise, fall) if t is not None]
    transit = mean_of(both) / _RISE_PER_TRANSIT
    lag = sum(nominal(p) for p in poles.values())
    over = {
        way: found
        for way, rising, own in (("rise", True, rise), ("fall", False, fall))
        if own is not None and (found := overshoot_after(light, rising, own.n + 2.0 * lag, lag)) is not None
    }
    checks = [shape_check(light, lag, cut_off_v(light, trace.light_v)), *about_delay]
    checks += [_overshoot_check(way, found) for way, found in over.items()]
    checks += _agreements(rise, fall, transit, beam_diameter_mm, velocity_m_s)
    checks += _pole_check(transit, poles)
    return Edge(
        rise, fall, transit, delay, over,
        None if beam_diameter_mm is None else 1e3 * beam_diameter_mm / transit,
        None if velocity_m_s is None else 1e-3 * velocity_m_s * transit,
        poles, light.fit.with_checks(*checks), light, trace,
    )  # fmt: skip


def _poles(
    detector_rise_us: Number | None, scope_bandwidth_mhz: Number | None, port_bandwidth_khz: Number | None
) -> tuple[dict[str, Number], dict[str, Number]]:
    """Return name -> time constant (us) of the scope alone, and of all poles that the light goes through."""
    scope: dict[str, Number] = {}
    if scope_bandwidth_mhz is not None:
        scope["scope"] = pole_of_bandwidth_us(1.0) / (1e3 * scope_bandwidth_mhz)
    poles = dict(scope)
    if detector_rise_us is not None:
        poles["detector"] = pole_of_rise_us(1.0) * detector_rise_us
    if port_bandwidth_khz is not None:
        poles["port"] = pole_of_bandwidth_us(1.0) / port_bandwidth_khz
    return scope, poles


def _without_rounding(light: FittedSteps, name: str) -> UFloat | None:
    """Return a time of the edge; where the scope's steps hide the noise, with their error as a cause."""
    value = light.fit.parameters.get(name)
    if value is None or not light.noise.rounded:
        return value
    u = value.n * (light.noise.rounding_v / 6.0**0.5) / light.fit.parameters["step_v"].n
    return value + new_cause("rounding of the scope", float(u))


def _overshoot_check(way: str, found: Overshoot) -> Check:
    seen = found.seen
    detail = (f"largest excess after the {way} {100 * found.share.n:.2g} % of the step, u {100 * found.share.s:.1g} %, "
              f"limit {found.limit:.1f} u")  # fmt: skip
    cure = ("it overshoots: terminate the detector's cable, and look whether the drive overshoots too; "
            "the times are those of the nearest edge without one")  # fmt: skip
    return Check(f"overshoot after the {way}", not seen, f"{detail}; {cure}" if seen else detail)


def _agreements(
    rise: UFloat | None, fall: UFloat | None, transit: UFloat, diameter: Number | None, velocity: Number | None
) -> list[Check]:
    checks = []
    if rise is not None and fall is not None:
        gap = rise - fall
        checks.append(
            z_check("rise and fall agree", gap.n, gap.s, "rise less fall", "us",
                    "sound crosses the beam alike both ways: the drive or the detector is slower one way")
        )  # fmt: skip
    if diameter is not None and velocity is not None:
        gap = 1e-3 * velocity * transit - diameter
        checks.append(
            z_check("beam and velocity", gap.n, gap.s, "beam by the edge less the stated one", "mm",
                    "the beam was measured at another place or across another direction, a lag is not taken off, "
                    "or the sound does not go at the stated velocity")
        )  # fmt: skip
    return checks


def _pole_check(transit: UFloat, poles: dict[str, Number]) -> list[Check]:
    """Return the check that the beam, and not what sees it, makes most of the edge."""
    if not poles:
        return []
    own = transit.n / 4.0
    lag = max((nominal(p), n) for n, p in poles.items())
    ratio = lag[0] / own
    detail = f"the time constant of the {lag[1]} is {ratio:.2g} of the beam's own deviation, limit 2"
    cure = "the result rests on the form of its pole: use a faster one"
    return [Check("fast enough to see", ratio <= 2.0, detail if ratio <= 2.0 else f"{detail}; {cure}")]
