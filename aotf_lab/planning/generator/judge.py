"""What stands against generator settings: reach, accuracy, rounding, and what was never stated."""

from __future__ import annotations

from collections.abc import Sequence

from aotf_lab.estimation import Check
from aotf_lab.planning.generator.made import Made, least_sure, percent
from aotf_lab.planning.generator.output import Output
from aotf_lab.planning.generator.reach import Bias, Reach, bias_of
from aotf_lab.planning.generator.typed import Typed
from aotf_lab.planning.generator.wanted import Wanted

__all__ = ["checks_of"]

_LIGHT_LIMIT = 1.0
"""Percent of light that rounding may cost."""


def checks_of(
    wanted: Sequence[Wanted],
    made: Sequence[Made],
    typed: Sequence[Typed],
    output: Output,
    reach: Reach,
    bias: Bias | None,
) -> tuple[Check, ...]:
    """Return the checks in the order of their weight."""
    return (
        _reach(wanted, made, output, reach, bias), _port(made, output), _stated(output), _accuracy(made),
        _rounding(made, typed),
    )  # fmt: skip


def _reach(wanted: Sequence[Wanted], made: Sequence[Made], output: Output, reach: Reach, bias: Bias | None) -> Check:
    span = f"{reach.low_v:.3f} to {reach.high_v:.3f} V at the port"
    far = [w for w in wanted if not reach.holds(w.port_v.n)]
    if not far:
        return Check("reach", True, f"all levels lie within {span}")
    parts = []
    nearest = [next(m for m in made if m.wanted is level) for level in far]
    for level, near in zip(far, nearest, strict=True):
        lost = near.rounding_lost_percent
        light = "" if lost is None else f" and loses {percent(lost)} of the light"
        parts.append(
            f"{level.name} needs {level.port_v.n:.3f} V, beyond {reach.why(level.port_v.n)}; the nearest, "
            f"{near.port_v.n:.3f} V, makes {near.frequency_mhz.n:.3f} MHz for {level.frequency_mhz.n:.3f} MHz{light}"
        )
    by_generator = any(reach.why(w.port_v.n) == "what the generator gives" for w in far)
    cure = f"add {bias}" if bias is not None else _without(wanted, output, by_generator)
    stake_mhz = max(abs(float(near.error_mhz.n)) for near in nearest)
    return Check("reach", False, f"within reach are {span}; {'; '.join(parts)}; {cure}", at_stake_mhz=stake_mhz)


def _without(wanted: Sequence[Wanted], output: Output, by_generator: bool) -> str:
    """Return what to do where no bias would do."""
    most = output.generator.max_output_v
    lifted = None if most is None else bias_of(wanted, output, (-most, most))
    if lifted is not None:
        return (
            f"within the limits of its menu no bias would do; with these lifted, {lifted}: the port must then never be "
            "plugged in without it"
        )
    return "no bias would do: " + ("an amplifier is needed" if by_generator else "the port may not take it")


def _port(made: Sequence[Made], output: Output) -> Check:
    low, high = output.input_range_v
    worst = []
    for m in made:
        half = m.wanted.coverage * m.port_v.s
        if m.port_v.n - half < low or m.port_v.n + half > high:
            worst.append(f"{m.wanted.name} {m.port_v.n:.3f} +- {half:.3f} V")
    span = f"{low:g} V or more" if high == float("inf") else f"{low:g} to {high:g} V"
    if not worst:
        return Check("port", True, f"every level stays within {span} at 95 %")
    return Check("port", False, f"the port takes {span}, and this may leave it: {', '.join(dict.fromkeys(worst))}; "
                                "measure the level before the port is plugged in")  # fmt: skip


def _stated(output: Output) -> Check:
    said = list(output.assumed)
    if not output.accuracy_stated:
        said.insert(
            0,
            "[generator] gain_percent, offset_percent, u_offset_mv are not all stated: what is missing of its error "
            "is in no number here; state it from its papers, or set the levels by the voltmeter at the port",
        )
    limited = output.generator.range_v is not None
    if not limited:
        said.append("[generator] max_output_v is not stated: no level is held against what it gives")
    known = output.accuracy_stated and limited and output.oscillator.input_ohm is not None
    return Check("what is stated", known, "; ".join(said) or "every part of it is stated")


def _accuracy(made: Sequence[Made]) -> Check:
    worst = least_sure(made)
    share, stake_mhz = 100 * worst.generator_share, worst.error_limit_mhz
    part = (
        f"generator and resistances make {share:.0f} % of the variance at {worst.wanted.name}, which may be off by "
        f"{1e3 * stake_mhz:.3g} kHz (95 %)"
    )
    lost = worst.light_lost_percent
    if lost is not None:
        part += f", {worst.limit_share_of_fwhm:.2g} of FWHM: up to {percent(lost)} of light lost"
    if worst.generator_share <= 0.5:
        return Check("accuracy", True, part)
    reached = [m.wanted for m in made if m.display == worst.display and m.reachable]
    if not reached:
        return Check("accuracy", False, part, at_stake_mhz=stake_mhz)
    aims = ", ".join(f"{w.drive_v.n:.4f} V at {w.name}" for w in reached)
    left = f"it is then within {1e3 * worst.wanted.coverage * worst.u_calibrated_mhz:.2g} kHz (95 %)"
    after = worst.calibrated_lost_percent
    left += "" if after is None else f", up to {percent(after)} of light lost"
    slowed = "" if len(reached) < 2 else ", the wave slowed until it can be read"
    cure = (
        f"set each level at the port by the voltmeter of the readings, generator plugged in{slowed}, to {aims}: {left}"
    )
    return Check("accuracy", False, f"{part}; {cure}", at_stake_mhz=stake_mhz)


def _rounding(made: Sequence[Made], typed: Sequence[Typed]) -> Check:
    reached = [m for m in made if m.reachable and m.rounding_lost_percent is not None]
    unknown = ""
    if any(s is None for t in typed for s in t.steps_v):
        unknown = (
            "; its steps are not stated and nothing was rounded: state [generator] amplitude_step_v and offset_step_v"
        )
    if not reached:
        return Check("rounding", True, f"no light is at stake{unknown}")
    worst = max(reached, key=lambda m: m.rounding_lost_percent or 0.0)
    lost = worst.rounding_lost_percent or 0.0
    detail = (
        f"off by {1e3 * worst.error_mhz.n:+.2g} kHz at the most ({worst.wanted.name}, {worst.display} display), "
        f"{percent(lost)} of light, limit {_LIGHT_LIMIT:g} %{unknown}"
    )
    used = lost / _LIGHT_LIMIT
    if lost <= _LIGHT_LIMIT:
        return Check("rounding", True, detail, of_limit=used)
    return Check("rounding", False, f"{detail}; a divider before the port makes its steps finer", of_limit=used)
