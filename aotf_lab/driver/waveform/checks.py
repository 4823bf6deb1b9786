"""What can be wrong with a trace, each named with its rows and numbers."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from uncertainties import UFloat, nominal_value, std_dev

from aotf_lab.driver.waveform.harmonics import HarmonicFit
from aotf_lab.driver.waveform.sampling import Sampling, folded
from aotf_lab.driver.waveform.steps import Clipped
from aotf_lab.estimation.checks import Check, z_limit
from aotf_lab.reading.readings import Readings

__all__ = ["trace_checks", "withheld_by"]

PERIODS = 20.0
SAMPLES_PER_PERIOD = 2.5
_SHOWN = 3
_AGREES = 2e-3
"""Counter and trace agree when they differ by less than this share: a scope's time base is within 0.2 %."""

_SPOILS_POWER = {"clipping", "even time", "samples per period", "alias", "counter"}


def trace_checks(
    readings: Readings, grid: Sampling, wave: HarmonicFit, cut: Clipped | None, counter_mhz: UFloat | float | None
) -> tuple[Check, ...]:
    """Return the checks of one trace."""
    frequency = float(wave.values[0])
    span = float(grid.time_us[-1] - grid.time_us[0])
    checks = [
        _clipping(readings, cut),
        _even(readings, grid),
        _samples(frequency, grid),
        _periods(frequency * span),
        _white(wave),
    ]
    if counter_mhz is not None:
        checks.append(_counter(frequency, span, grid, counter_mhz))
    return tuple(checks)


def withheld_by(checks: Iterable[Check]) -> str:
    """Return why no power is given, "" when it is."""
    names = [c.name for c in checks if not c.passed and c.name in _SPOILS_POWER]
    return f"withheld, as the check of {' and '.join(names)} failed" if names else ""


def _clipping(readings: Readings, cut: Clipped | None) -> Check:
    if cut is None:
        return Check("clipping", True, "the wave does not reach beyond the largest and the least reading")
    places = ", ".join(readings.place(int(row)) for row in cut.rows[:_SHOWN])
    return Check(
        "clipping", False,
        f"{cut.rows.size} samples stand at the rail ({places}{', ...' if cut.rows.size > _SHOWN else ''}) and the wave "
        f"would go {cut.beyond_v:.3g} V beyond it; save the trace again with a larger vertical range",
    )  # fmt: skip


def _even(readings: Readings, grid: Sampling) -> Check:
    if grid.uneven.size == 0:
        note = "; the stamps are rounded, an even grid was used" if grid.rounded else ""
        return Check("even time", True, f"one sample every {1e3 * grid.interval_us:.6g} ns{note}")
    places = ", ".join(readings.place(int(row)) for row in grid.uneven[:_SHOWN])
    return Check(
        "even time", False,
        f"{grid.uneven.size} samples do not follow the one before by {1e3 * grid.interval_us:.6g} ns "
        f"({places}{', ...' if grid.uneven.size > _SHOWN else ''}); save the trace again in one piece",
    )  # fmt: skip


def _samples(frequency: float, grid: Sampling) -> Check:
    found = 1.0 / (frequency * grid.interval_us)
    detail = f"{found:.2f} samples in each period, limit {SAMPLES_PER_PERIOD:g}"
    passed = found >= SAMPLES_PER_PERIOD
    cure = "; save the trace with a faster time base: it may be an alias"
    return Check("samples per period", passed, detail if passed else detail + cure)


def _periods(found: float) -> Check:
    detail = f"{found:.1f} periods in the trace, limit {PERIODS:g}"
    passed = found >= PERIODS
    return Check("periods", passed, detail if passed else f"{detail}; save the trace with a slower time base")


def _white(wave: HarmonicFit) -> Check:
    """Ask whether what is left over the fit is noise: its correlation from one sample to the next."""
    rest = wave.residuals
    power = float(rest @ rest)
    r = float(rest[1:] @ rest[:-1]) / power if power > 0 else 0.0
    limit = z_limit() / rest.size**0.5 + 0.1
    detail = f"what is left over the fit correlates by {r:.2f} from sample to sample, limit {limit:.2f}"
    cure = "; there is more in the trace than one wave and noise: a second tone, hum, or a frequency that moves"
    return Check("rest is noise", abs(r) <= limit, detail if abs(r) <= limit else detail + cure)


def _counter(frequency: float, span_us: float, grid: Sampling, counter_mhz: UFloat | float) -> Check:
    counted, u = float(nominal_value(counter_mhz)), float(std_dev(counter_mhz))
    slack = z_limit() * u + _AGREES * counted
    if abs(frequency - counted) <= slack + 1.0 / span_us:
        return Check("counter", True, f"trace {frequency:.6g} MHz, counter {counted:.6g} MHz: they agree")
    rate = grid.rate_mhz
    fold = folded(counted, rate)
    near = abs(fold - frequency) <= z_limit() * u + _AGREES * rate * np.ceil(counted / rate) + 1.0 / span_us
    if near:
        return Check(
            "alias", False,
            f"the trace shows {frequency:.6g} MHz and the counter {counted:.6g} MHz: at {rate:.6g} million samples "
            f"per second {counted:.6g} MHz folds to {fold:.6g} MHz; the true frequency is the counter's, and the "
            "trace must be saved with a faster time base",
        )  # fmt: skip
    return Check(
        "counter", False,
        f"the trace shows {frequency:.6g} MHz and the counter {counted:.6g} MHz, which {rate:.6g} million samples per "
        f"second would fold to {fold:.6g} MHz; check the scope's time base, and that both saw the same setting",
    )  # fmt: skip
