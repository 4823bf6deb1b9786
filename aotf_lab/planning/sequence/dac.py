"""The staircase as codes of a converter, and what their rounding costs.

V = low + (reference - low) code / 2^bits, code 0 to 2^bits - 1: the top code is one step short of the reference (common
practice, no source); with ``low_v`` = -reference it is offset binary.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.planning.curves import light_lost_percent
from aotf_lab.planning.sequence.port import FloatArray
from aotf_lab.planning.sequence.scene import Scene
from aotf_lab.planning.sequence.staircase import Staircase
from aotf_lab.planning.sequence.turn import Turn
from aotf_lab.reading.atomic import write_text_atomically

__all__ = ["DacCodes", "dac_codes_of"]

_MOST_BITS = 24


@dataclass(frozen=True)
class DacCodes:
    """Codes (n,) of each corner of the staircase at ``time_us`` (n,); ``step_v`` is one code.

    ``error_khz`` and ``light_lost_percent`` say by step name what the rounding does to its frequency, and what light
    that costs a line (0 in the dark): the rounding alone, beside the set-point's own uncertainty.
    """

    time_us: FloatArray
    code: NDArray[np.int64]
    bits: int
    reference_v: float
    low_v: float
    step_v: float
    error_khz: dict[str, float]
    light_lost_percent: dict[str, float]
    cycle_us: float

    @property
    def volts(self) -> FloatArray:
        """The volts (n,) that the codes make."""
        return np.asarray(self.low_v + self.step_v * self.code)

    def to_csv(self, path: str | Path) -> Path:
        """Write time and code as CSV, atomically, and return the path."""
        rows = [f"Time (us),Code ({self.bits} bit)"]
        ends = zip(np.append(self.time_us, self.cycle_us), np.append(self.code, self.code[:1]), strict=True)
        rows += [f"{t:.4f},{int(c)}" for t, c in ends]
        write_text_atomically(Path(path), "\n".join(rows) + "\n")
        return Path(path)

    def __str__(self) -> str:
        head = f"{self.bits}-bit codes, {self.low_v:g} to {self.reference_v:g} V, {1e3 * self.step_v:.3g} mV a step"
        body = [
            f"  {name:<6}{error:+.2f} kHz by rounding, {self.light_lost_percent[name]:.2g} % of light lost"
            for name, error in self.error_khz.items()
        ]
        return "\n".join([head, *body])


def dac_codes_of(
    stairs: Staircase, turns: tuple[Turn, ...], scene: Scene, bits: int, reference_v: float, low_v: float
) -> DacCodes:
    """Return the codes; raises ``AotfLabError`` for volts out of the converter's range, or bits without a meaning."""
    if not (isinstance(bits, int) and 1 <= bits <= _MOST_BITS):
        raise AotfLabError(
            "bits of a converter", found=bits, allowed=f"1 to {_MOST_BITS}", cure="give the converter's own number"
        )
    if not (np.isfinite(reference_v) and np.isfinite(low_v) and reference_v > low_v):
        raise AotfLabError(
            "reference of a converter", found=Said(f"{reference_v:g} V over {low_v:g} V"), allowed="above low_v",
            cure="give the volts of full scale and of code 0",
        )  # fmt: skip
    step = (reference_v - low_v) / 2**bits
    code = np.rint((stairs.drive_v - low_v) / step).astype(np.int64)
    for k in np.flatnonzero((code < 0) | (code > 2**bits - 1)):
        high = reference_v - step
        raise AotfLabError(
            "volts that the converter cannot make", where=turns[stairs.step[k]].name,
            found=Said(f"{stairs.drive_v[k]:.4f} V"), allowed=f"{low_v:.6g} to {high:.6g} V",
            cure=f"put a gain of {_gain(float(stairs.drive_v[k]), high, low_v)} behind it and multiply reference_v "
            "(and low_v) by that, or leave the line out",
        )  # fmt: skip
    made = low_v + step * code
    error, lost = {}, {}
    for k in np.flatnonzero(~stairs.kick):
        turn = turns[stairs.step[k]]
        pair = scene.frequency_mhz(np.array([made[k], stairs.drive_v[k]]))
        off = float(pair[0] - pair[1])
        error[turn.name] = 1e3 * off
        line = turn.place.line
        fwhm = None if line is None else float(scene.passbands.fwhm_mhz(line).n)
        lost[turn.name] = 0.0 if fwhm is None else light_lost_percent(off, fwhm)
    return DacCodes(stairs.time_us, code, bits, reference_v, low_v, step, error, lost, stairs.cycle_us)


def _gain(volts: float, high: float, low: float) -> str:
    """Return the least gain that reaches ``volts``, in words."""
    bound = high if volts > high else low
    if bound == 0 or volts / bound <= 1:
        return "either sign (an offset is needed: the converter has one sign only)"
    return f"at least {volts / bound:.3g}"
