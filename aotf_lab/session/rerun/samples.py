"""Curves as numbers: what each says at round places of its range, the same places in every session."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from aotf_lab.errors import AotfLabError
from aotf_lab.session.rerun.collect import result_row
from aotf_lab.session.rerun.row import ResultRow
from aotf_lab.session.session import Session

__all__ = ["SAMPLED", "sample_rows", "set_point_rows"]

_STEP_V, _STEP_SUPPLY_V, _STEP_MHZ, _STEP_NM = 1.0, 2.0, 10.0, 25.0


def _round_places(ends: tuple[float, float], step: float) -> list[float]:
    """Return the multiples of ``step`` from the lower to the upper of ``ends``."""
    return [step * k for k in range(int(np.ceil(ends[0] / step)), int(np.floor(ends[1] / step)) + 1)]


def _oscillator(session: Session) -> Iterator[ResultRow]:
    for volts in _round_places(session.vco.range_v, _STEP_V):
        yield from result_row("vco.frequency_mhz", f"at {volts:g} V", session.vco.frequency(volts))


def _tuning(session: Session) -> Iterator[ResultRow]:
    for nm in _round_places(session.tuning.range_nm, _STEP_NM):
        yield from result_row("tuning.frequency_mhz", f"at {nm:g} nm", session.tuning.frequency(nm))
        product = session.tuning.velocity_birefringence(nm)
        yield from result_row("tuning.velocity_birefringence_m_s", f"at {nm:g} nm", product)


def _level(session: Session) -> Iterator[ResultRow]:
    level = session.level
    for mhz in _round_places(level.range_mhz, _STEP_MHZ):
        for volts in _round_places(level.range_v, _STEP_SUPPLY_V):
            power = level.rf_power(volts, mhz)
            yield from result_row("level.rf_power_w", f"at {volts:g} V and {mhz:g} MHz", power)


def _match(session: Session) -> Iterator[ResultRow]:
    for mhz in _round_places(session.match.range_mhz, _STEP_MHZ):
        yield from result_row("match.absorbed", f"at {mhz:g} MHz", session.match.absorbed(mhz))


def _spectrum(session: Session) -> Iterator[ResultRow]:
    yield from result_row("spectrum.power_mw", "", session.spectrum.power_mw())


SAMPLED: dict[str, Callable[[Session], Iterator[ResultRow]]] = {
    "vco": _oscillator, "tuning": _tuning, "level": _level, "match": _match, "spectrum": _spectrum,
}  # fmt: skip
"""Part -> the rows of its curve."""

_OF_A_POINT = ("wavelength_nm", "frequency_mhz", "drive_v", "rf_power_w", "supply_v", "efficiency",
               "u_setting_mhz", "light_lost_percent")  # fmt: skip


def sample_rows(part: str, session: Session) -> Iterator[ResultRow]:
    """Yield the rows of the curve of ``part``; none for a part without one, or where it cannot be told."""
    try:
        yield from SAMPLED[part](session) if part in SAMPLED else ()
    except AotfLabError:
        return


def set_point_rows(session: Session) -> Iterator[ResultRow]:
    """Yield the numbers of every set-point that can be given."""
    for point in session.set_points():
        for name in _OF_A_POINT:
            value: Any = getattr(point, name)
            if value is not None:
                yield from result_row(f"set_points.{name}", point.line, value)
