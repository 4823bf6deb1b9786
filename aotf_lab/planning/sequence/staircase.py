"""The staircase that a generator plays: times and volts, and how it is written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.planning.sequence.port import FloatArray
from aotf_lab.planning.sequence.turn import Turn

__all__ = ["Staircase", "require_within", "staircase_of"]


@dataclass(frozen=True)
class Staircase:
    """``time_us`` (n,) at which ``drive_v`` (n,) volts begin, and whether RF is on; the cycle ends at ``cycle_us``.

    Volts are those at the oscillator's port, by any meter. ``kick`` marks the fast steps, ``step`` the turn that each
    belongs to.
    """

    time_us: FloatArray
    drive_v: FloatArray
    rf_on: NDArray[np.bool_]
    kick: NDArray[np.bool_]
    step: NDArray[np.intp]
    cycle_us: float

    def text(self) -> str:
        """Return it as CSV, the first volts again at the end of the cycle; a column of RF only where it goes off."""
        gated = not bool(self.rf_on.all())
        lines = ["Time (us),Port (V)" + (",RF on" if gated else "")]
        for t, v, on in zip(
            np.append(self.time_us, self.cycle_us), np.append(self.drive_v, self.drive_v[:1]),
            np.append(self.rf_on, self.rf_on[:1]), strict=True,
        ):  # fmt: skip
            lines.append(f"{t:.4f},{v:.6f}" + (f",{int(on)}" if gated else ""))
        return "\n".join(lines) + "\n"


def staircase_of(turns: Sequence[Turn], cycle_us: float) -> Staircase:
    """Return the staircase of one cycle of ``turns``."""
    time, volts, lit, kick, step = [], [], [], [], []
    for k, turn in enumerate(turns):
        move = turn.hop.transit.move
        corners = [(turn.command_us, turn.place.volts, False)]
        if move.kicked:
            corners = [
                (turn.command_us, move.aim_v, True),
                (turn.command_us + move.until_us, turn.place.volts, False),
            ]
        for t, v, kicked in corners:
            time.append(t)
            volts.append(v)
            lit.append(turn.place.rf_on)
            kick.append(kicked)
            step.append(k)
    return Staircase(np.array(time), np.array(volts), np.array(lit), np.array(kick), np.array(step), cycle_us)


def require_within(staircase: Staircase, names: Sequence[str], range_v: tuple[float, float] | None) -> None:
    """Raise ``AotfLabError`` where volts lie outside ``range_v``, what generator and port allow; None: not below 0."""
    low, high = (0.0, float("inf")) if range_v is None else range_v
    for v, kick, k in zip(staircase.drive_v, staircase.kick, staircase.step, strict=True):
        if not low <= v <= high:
            cure = "a longer kick_us" if kick else "leave the line out, or add a bias between generator and port"
            raise AotfLabError(
                "volts that cannot be set" + (" in a fast step" if kick else ""), where=names[k],
                found=Said(f"{v:.4f} V"), allowed=f"{low:g} to {high:g} V", cure=cure,
            )  # fmt: skip
