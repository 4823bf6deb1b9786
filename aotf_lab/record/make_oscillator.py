"""From the fitted curve of an oscillator to the calibration that is kept."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.metadata import version

import numpy as np
from uncertainties import UFloat

from aotf_lab.driver import Vco
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.knots import enough_knots, same_curve
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.sound import require_oscillator
from aotf_lab.record.stored import common_keys, stored_numbers

__all__ = ["oscillator_record", "versions"]

_TERMS = {"temperature (MHz/K)": "mhz_per_k", "supply (MHz/V)": "mhz_per_supply_v"}
"""Terms of the oscillator's fit -> names of coefficients."""

_CONDITIONS = ("temperature_c", "supply_v")


def versions() -> dict[str, str]:
    """Return the versions of the programs that a calibration is made by."""
    return {name: version(name) for name in ("aotf-lab", "lmfit", "numpy", "scipy")}


def oscillator_record(
    vco: Vco,
    *,
    name: str,
    measured: str,
    wander_mhz: float = 0.0,
    conditions: Mapping[str, float] | None = None,
    coefficients: Mapping[str, UFloat] | None = None,
    instruments: Mapping[str, str] | None = None,
) -> OscillatorRecord:
    """Return the calibration of the oscillator ``vco``, to be kept under ``name``; ``measured`` is an ISO date.

    Its knots are so dense that the kept curve departs by less than 0.1 kHz, its u by less than 1 %, from the fitted
    one. ``wander_mhz`` is what the oscillator wanders within a day (k = 1): part of the scatter of a new reading.
    ``conditions`` and ``coefficients`` come beside those that the readings hold and the fit found. ``instruments``
    names an instrument where a bench has several of a kind (see ``common_keys``). Raises ``RecordError`` for a date
    that is none.
    """

    def made(knots: FloatArray) -> OscillatorRecord:
        numbers = {f"frequency at {v:.6g} V": f for v, f in zip(knots, vco.frequency(knots), strict=True)}
        return OscillatorRecord(
            name=name,
            measured=measured,
            drive_v=knots,
            numbers=stored_numbers(
                numbers, common=common_keys(instruments), rest_name="scatter and form of the oscillator curve"
            ),
            u_reading_mhz=float(np.hypot(_scatter_mhz(vco), wander_mhz)),
            coverage_factor=vco.fit.coverage_factor(),
            u_gain=_u_volts(vco, "relative"),
            u_offset_v=_u_volts(vco, "offset"),
            voltmeter=(instruments or {}).get("voltmeter", ""),
            conditions={**_conditions(vco), **(conditions or {})},
            coefficients={k: (float(c.n), float(c.s)) for k, c in {**(coefficients or {}), **_found(vco)}.items()},
            made_of=vco.readings.sources,
            versions=versions(),
            checks=vco.fit.checks,
        )

    def agrees(record: OscillatorRecord) -> bool:
        return same_curve(vco.frequency(places), record.frequency(places))

    places = np.linspace(*vco.range_v, 401)
    record = enough_knots(made, agrees, vco.curve.nodes, 4)
    require_oscillator(record, f"calibration of oscillator {name}")
    return record


def _scatter_mhz(vco: Vco) -> float:
    """Return the scatter of one reading about the curve, in the mean over the range, as the fit scaled it."""
    slopes = vco.curve.slope(np.linspace(*vco.range_v, 101))
    return float(vco.fit.birge * np.sqrt(np.mean(vco.u_count_mhz**2 + (slopes * vco.u_setting_v) ** 2)))


def _u_volts(vco: Vco, kind: str) -> float:
    """Return u of the voltmeter's own errors of a kind: relative, or an offset (V); zero where it has none."""
    own = [e.sensitivity * e.variable for e in vco.readings.common_errors("drive_v") if e.kind == kind]
    return float(sum(own[1:], own[0]).s) if own else 0.0


def _conditions(vco: Vco) -> dict[str, float]:
    table = vco.readings.table
    means = {name: float(table[name].mean()) for name in _CONDITIONS if name in table.columns}
    return {name: mean for name, mean in means.items() if np.isfinite(mean)}


def _found(vco: Vco) -> dict[str, UFloat]:
    return {_TERMS[name]: value for name, value in vco.fit.parameters.items() if name in _TERMS}
