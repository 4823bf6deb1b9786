"""What can be wrong with a trace, each named with its rows and numbers."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from aotf_lab.driver.waveform.clipping import Clipped
from aotf_lab.driver.waveform.harmonics import HarmonicFit
from aotf_lab.driver.waveform.orders import Orders
from aotf_lab.driver.waveform.rest import Rest
from aotf_lab.driver.waveform.sampling import Rows, Sampling
from aotf_lab.driver.waveform.spectrum import Base
from aotf_lab.estimation.checks import Check
from aotf_lab.reading.readings import Readings

__all__ = ["spoilt_harmonics", "trace_checks", "withheld_by"]

PERIODS = 20.0
SAMPLES_PER_PERIOD = 2.5
STEPS = 6.0
_SHOWN = 3
_STRONG = 1e-3
"""Share of power (-30 dBc) from which a line at half of the frequency may be the fundamental itself."""
_UNSTEADY = 0.02
"""Share of power beside the fundamental from which its own power is not known any more."""

_SPOILS_POWER = {
    "clipping", "steps", "even time", "samples per period", "alias", "counter", "expected range", "fundamental",
    "harmonics apart", "steady frequency",
}  # fmt: skip

_SPOILS_HARMONICS = _SPOILS_POWER - {"alias", "counter", "expected range", "samples per period"}


def trace_checks(
    readings: Readings,
    grid: Sampling,
    base: Base,
    wave: HarmonicFit,
    orders: Orders,
    cut: Clipped | None,
    step: float,
    rest: Rest,
) -> tuple[Check, ...]:
    """Return the checks of one trace, without those of its frequency against a counter."""
    return (
        _clipping(readings, cut),
        _steps(wave.amplitude_v, step),
        _even(readings, grid),
        _samples(wave.frequency_mhz, grid),
        _periods(wave.frequency_mhz * grid.span_us),
        _fundamental(base),
        _apart(orders, rest),
        _steady(rest),
        _noise(rest),
    )


def withheld_by(checks: Iterable[Check]) -> str:
    """Return why no power is given, "" when it is."""
    names = [c.name for c in checks if not c.passed and c.name in _SPOILS_POWER]
    return f"withheld, as the check of {' and '.join(names)} failed" if names else ""


def spoilt_harmonics(checks: Iterable[Check]) -> bool:
    """Return whether a failed check makes the harmonics wrong: an alias keeps them, a wave cut off does not."""
    return any(not c.passed and c.name in _SPOILS_HARMONICS for c in checks)


def _places(readings: Readings, rows: Rows) -> str:
    more = ", ..." if rows.size > _SHOWN else ""
    return ", ".join(readings.place(int(row)) for row in rows[:_SHOWN]) + more


def _said(name: str, passed: bool, detail: str, cure: str, of_limit: float | None = None) -> Check:
    return Check(name, passed, detail if passed else f"{detail}; {cure}", of_limit=of_limit)


def _clipping(readings: Readings, cut: Clipped | None) -> Check:
    if cut is None:
        return Check("clipping", True, "the wave does not reach beyond the largest and the least reading")
    far = "beyond it" if np.isnan(cut.beyond_v) else f"{cut.beyond_v:.3g} V beyond it"
    return Check(
        "clipping", False,
        f"{cut.rows.size} samples stand at the rail ({_places(readings, cut.rows)}) and the wave "
        f"would go {far}; save the trace again with a larger vertical range",
    )  # fmt: skip


def _steps(amplitude: float, step: float) -> Check:
    if step == 0.0:
        return Check("steps", True, "the steps of the converter are finer than the noise")
    found = 2.0 * amplitude / step
    detail = f"from crest to trough the wave spans {found:.0f} steps of {step:.3g} V, limit {STEPS:g}"
    cure = "save the trace with a smaller vertical range, or, where both rails are reached, a larger one"
    return _said("steps", found >= STEPS, detail, cure, STEPS / found)


def _even(readings: Readings, grid: Sampling) -> Check:
    interval = f"{1e3 * grid.interval_us:.6g} ns"
    if grid.uneven.size == 0:
        note = "; the stamps are rounded, an even grid was used" if grid.rounded else ""
        if grid.gaps.size:
            note = f"; samples are missing before {_places(readings, grid.gaps)}"
        return Check("even time", True, f"one sample every {interval}{note}")
    return Check(
        "even time", False,
        f"{grid.uneven.size} samples do not follow the one before by {interval} "
        f"({_places(readings, grid.uneven)}); save the trace again in one piece, with more digits of time",
    )  # fmt: skip


def _samples(frequency: float, grid: Sampling) -> Check:
    found = 1.0 / (frequency * grid.interval_us)
    detail = f"{found:.2f} samples in each period, limit {SAMPLES_PER_PERIOD:g}"
    cure = "save the trace with a faster time base: it may be an alias"
    return _said("samples per period", found >= SAMPLES_PER_PERIOD, detail, cure, SAMPLES_PER_PERIOD / found)


def _periods(found: float) -> Check:
    detail = f"{found:.1f} periods in the trace, limit {PERIODS:g}"
    return _said("periods", found >= PERIODS, detail, "save the trace with a slower time base", PERIODS / found)


def _fundamental(base: Base) -> Check:
    if base.lower_mhz is None:
        return Check("fundamental", True, "no line stands at a half or a third of the frequency")
    order = round(base.frequency_mhz / base.lower_mhz)
    detail = (
        f"a line of {_dbc(base.lower_share)} stands at {base.lower_mhz:.6g} MHz, of which "
        f"the strongest, {base.frequency_mhz:.6g} MHz, is the harmonic of order {order}"
    )
    cure = "state counter_mhz or expected_mhz, so that the fundamental is known"
    return _said("fundamental", base.lower_share < _STRONG, detail, cure)


def _apart(orders: Orders, rest: Rest) -> Check:
    """Ask for hidden harmonics that matter: onto the fundamental, or strong where they cannot be fitted."""
    if not orders.hidden:
        return Check("harmonics apart", True, "every harmonic to the highest order has a place of its own")
    words = ", ".join(f"order {order} looks like {_named(other)}" for order, other in orders.hidden.items())
    detail = f"at this sample rate {words}: not told apart"
    cure = "save the trace with a faster time base"
    strong = rest.line_mhz is not None and rest.line_share > _STRONG
    detail += f", and {_dbc(rest.line_share)} is left over the fit" if strong else ""
    return _said("harmonics apart", 1 not in orders.hidden.values() and not strong, detail, cure)


def _named(order: int) -> str:
    return {0: "an offset", 1: "the fundamental", -1: "half of the sample rate"}.get(order, f"order {order}")


def _steady(rest: Rest) -> Check:
    detail = f"{100.0 * rest.beside_share:.2g} % of power stands beside the fundamental, limit {100.0 * _UNSTEADY:g} %"
    cure = "its frequency or amplitude moves within the trace; save a shorter one, of a steady oscillator"
    used = rest.beside_share / _UNSTEADY
    passed = used <= 1.0 or not rest.moves
    return _said("steady frequency", passed, detail, cure, None if passed and used > 1.0 else used)


def _noise(rest: Rest) -> Check:
    """Say what is left over the fit: the frequency that moves, a second tone, a jitter of the sampling."""
    found = []
    if rest.moves:
        found.append(
            f"{_dbc(rest.beside_share)} stands beside the fundamental: its frequency or amplitude moves within the "
            "trace, or a second tone is close to it"
        )
    if rest.line_mhz is not None and not rest.moves:
        what = "a second wave or hum" if rest.line_order is None else f"the place of harmonic {rest.line_order}"
        found.append(f"a tone of {_dbc(rest.line_share)} at {rest.line_mhz:.6g} MHz, as sampled: {what}")
    if rest.jitter_ps is not None:
        found.append(f"the noise is larger on the slopes than on the crests: a jitter of {rest.jitter_ps:.3g} ps")
    if not found:
        return Check("rest is noise", True, "what is left over the fit is white noise")
    wider = f" (variances widened {rest.widening:.3g} times)" if rest.widening > 1.0 else ""
    return Check(
        "rest is noise", False,
        f"what is left over the fit is more than white noise: {'; '.join(found)}{wider}; "
        "look for what else drives the input, or save the trace again",
    )  # fmt: skip


def _dbc(share: float) -> str:
    return f"{10.0 * np.log10(max(share, 1e-30)):.1f} dBc"
