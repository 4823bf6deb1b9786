"""What one amplifier supply makes of each line: RF power at the line's own frequency, and the light that it diverts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal import EfficiencyLines
from aotf_lab.crystal.efficiency.curve import SLOPE_ONLY, EfficiencyCurve
from aotf_lab.crystal.efficiency.law import drive_law
from aotf_lab.driver.level import Level
from aotf_lab.driver.level.numbers import shared_numbers
from aotf_lab.driver.level.scale import PER_NEPER
from aotf_lab.errors import AotfLabError, OutOfRangeError, Said
from aotf_lab.estimation.evaluate import require_inside
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.planning.curves import Curves, line_peak

__all__ = ["DrivenLine", "drawn_efficiencies", "driven_lines", "efficiencies", "peak_supply"]


@dataclass(frozen=True)
class DrivenLine:
    """A line with its efficiency ``curve``; ``own`` when that was measured on this line, not taken from the others."""

    name: str
    wavelength_nm: UFloat | float
    frequency_mhz: UFloat
    curve: EfficiencyCurve
    own: bool

    @property
    def at_mhz(self) -> float:
        """Frequency (MHz) at which the line is driven."""
        return float(self.frequency_mhz.n)


def driven_lines(curves: Curves, level: Level, wanted: Mapping[str, UFloat | float | None]) -> tuple[DrivenLine, ...]:
    """Return each line wanted, at its own peak.

    Raises ``AotfLabError`` (``OutOfRangeError``, ``FitError``) for a line whose frequency or efficiency is not known,
    or at whose frequency the amplifier was not measured: a line is never left out without a word.
    """
    efficiency = curves.efficiency
    if efficiency is None:
        raise AotfLabError(
            "one drive for all lines needs efficiency against RF power",
            found=Said(curves.why_missing("efficiency") or "it was not measured"),
            allowed="readings of efficiency on one line at least",
            cure="measure the efficiency of a line while the supply is raised",
        )
    found = []
    for name, stated in wanted.items():
        wavelength, frequency = line_peak(curves, name, stated)
        require_inside(f"frequency of line {name}", np.array([frequency.n]), *level.range_mhz, "MHz")
        own = name in efficiency.own
        if wavelength is None:
            raise AotfLabError(
                "the wavelength of this line is not known", where=name, found=Said(f"a peak at {frequency.n:.4f} MHz"),
                allowed="a wavelength, stated or found by the tuning curve", cure="state it for this line",
            )  # fmt: skip
        curve = efficiency.line(name) if own else _borrowed(efficiency, name, float(nominal_value(wavelength)))
        found.append(DrivenLine(name, wavelength, frequency, curve, own))
    return tuple(found)


def _borrowed(efficiency: EfficiencyLines, name: str, wavelength_nm: float) -> EfficiencyCurve:
    """Return the curve of a line never measured, from the others'."""
    try:
        return efficiency.at(wavelength_nm)
    except OutOfRangeError as error:
        raise AotfLabError(
            "the efficiency of this line is not known", where=name, found=Said(f"{wavelength_nm:.1f} nm"),
            allowed=f"{error.low:.0f} to {error.high:.0f} nm, near lines whose efficiency was measured",
            cure="measure the efficiency of this line, or leave it out",
        ) from error  # fmt: skip


def efficiencies(
    lines: tuple[DrivenLine, ...], level: Level, supply_v: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return efficiency, its share of the line's own maximum, and RF power (W), each (lines, n) at ``supply_v`` (n,).

    No uncertainty, and the law goes on beyond the drive that was measured: see ``EfficiencyCurve.range_w``. The share
    is not a number for a line of which the initial slope alone is known.
    """
    power = np.array([level.nominal_w(supply_v, np.full(len(supply_v), line.at_mhz)) for line in lines])
    light = np.array(
        [drive_law(w, e.curve.slope_per_w.n, e.curve.curvature.n) for w, e in zip(power, lines, strict=True)]
    )
    tops = [np.nan if e.curve.level == SLOPE_ONLY else 1.0 / e.curve.curvature.n for e in lines]
    return light, light / np.array(tops)[:, None], power


def drawn_efficiencies(
    lines: tuple[DrivenLine, ...], level: Level, supply_v: FloatArray, draws: int
) -> tuple[FloatArray, FloatArray]:
    """Return efficiency (draws, lines, n) and maximum (draws, lines) in ``draws`` of every cause (fixed seed).

    Amplifier and efficiency share causes, such as the scale of power: each draw gives both the same.
    """
    own = shared_numbers([x for e in lines for x in (e.curve.slope_per_w, e.curve.curvature)])
    causes = list(dict.fromkeys([*level.numbers.causes, *own.causes]))
    place = {cause: k for k, cause in enumerate(causes)}
    normal = np.random.default_rng(0).standard_normal((len(causes), draws))
    at_level = level.numbers.factor @ normal[[place[c] for c in level.numbers.causes]]
    at_lines = own.factor @ normal[[place[c] for c in own.causes]] if own.causes else np.zeros((2 * len(lines), draws))
    light, tops = np.empty((draws, len(lines), len(supply_v))), np.empty((draws, len(lines)))
    for k, line in enumerate(lines):
        frequency = np.full(len(supply_v), line.at_mhz)
        moves = level.db_rows(supply_v, frequency) @ at_level / PER_NEPER
        power = level.nominal_w(supply_v, frequency)[:, None] * np.exp(moves)
        slope = line.curve.slope_per_w.n + at_lines[2 * k]
        curvature = np.maximum(line.curve.curvature.n + at_lines[2 * k + 1], 1e-3)
        light[:, k] = drive_law(power, slope, curvature).T
        tops[:, k] = 1.0 / curvature
    return light, tops


def peak_supply(line: DrivenLine, level: Level) -> UFloat | None:
    """Return the supply (V) at which the line gives most light, None where that is not known or out of reach.

    What the amplifier's power and the saturation power share, such as the scale of power, cancels.
    """
    if line.curve.level == SLOPE_ONLY:
        return None
    saturation = line.curve.saturation_power_w
    try:
        volts = float(level.supply(saturation.n, line.at_mhz).n)
    except OutOfRangeError:
        return None
    step = 1e-3 * (level.range_v[1] - level.range_v[0])
    ends = np.clip(np.array([volts - step, volts + step]), *level.range_v)
    rise = float(np.diff(level.nominal_w(ends, np.full(2, line.at_mhz)))[0] / (ends[1] - ends[0]))
    off = saturation - level.rf_power(volts, line.at_mhz)
    return volts + (off - off.n) / rise
