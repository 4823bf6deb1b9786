"""A sequence as an answer: when which volts, when which light is good, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from uncertainties import UFloat, nominal_value, std_dev

from aotf_lab.estimation import Check
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.planning.sequence.dac import DacCodes, dac_codes_of
from aotf_lab.planning.sequence.port import FloatArray
from aotf_lab.planning.sequence.scene import Scene, Timing
from aotf_lab.planning.sequence.staircase import Staircase
from aotf_lab.planning.sequence.turn import Turn
from aotf_lab.planning.set_point import shown
from aotf_lab.reading.atomic import write_text_atomically

__all__ = ["Sequence"]


@dataclass(frozen=True)
class Sequence:
    """One cycle of steps that repeats, made by ``sequence``.

    ``turns`` are the steps in the order chosen, ``staircase`` what the generator plays. ``leaked`` says by line how
    much light it gets while others are on their way, as a share of its own good light (of the shortest dwell for a line
    that is not wanted). ``mean_rf_w`` is the crystal's RF power over the cycle. ``how`` tells how the incident power is
    known, ``unit`` is that of the energies.
    """

    turns: tuple[Turn, ...]
    staircase: Staircase
    timing: Timing
    scene: Scene = field(repr=False)
    leaked: dict[str, float]
    mean_rf_w: UFloat | float
    rated_rf_power_w: float | None
    how: str
    unit: str
    ordered: str
    checks: tuple[Check, ...]

    def __getitem__(self, line: str) -> Turn:
        for turn in self.turns:
            if turn.name == line:
                return turn
        raise KeyError(line)

    @property
    def cycle_us(self) -> float:
        """The length of the cycle (us)."""
        return self.staircase.cycle_us

    @property
    def order(self) -> tuple[str, ...]:
        """The names in the order chosen."""
        return tuple(t.name for t in self.turns)

    @property
    def duty(self) -> float:
        """The share of the cycle in which the light of some line is good."""
        return sum(t.duty for t in self.turns if t.place.line is not None)

    @property
    def table(self) -> pd.DataFrame:
        """One row a step, u in columns of their own."""
        rows = []
        for t in self.turns:
            row: dict[str, object] = {"step": t.name, "command_us": t.command_us, "hold_us": t.hold_us}
            pairs = {"drive_v": t.place.drive_v, "frequency_mhz": t.place.frequency_mhz, "dead_us": t.dead_us,
                     "rf_power_w": t.place.rf_power_w, "mean_rf_w": t.mean_rf_w, "energy": t.energy}  # fmt: skip
            for name, value in pairs.items():
                row[name] = float("nan") if value is None else nominal_value(value)
                row[f"u_{name}"] = float("nan") if value is None else std_dev(value)
            row |= {"good_from_us": t.good_from_us, "good_to_us": t.good_to_us, "duty": t.duty}
            rows.append(row)
        return pd.DataFrame(rows)

    def to_csv(self, path: str | Path) -> Path:
        """Write the staircase (time in us, volts at the port) as CSV, atomically, and return the path."""
        write_text_atomically(Path(path), self.staircase.text())
        return Path(path)

    def dac_codes(self, bits: int, reference_v: float, *, low_v: float = 0.0) -> DacCodes:
        """Return the staircase as codes of a converter that makes ``low_v`` at 0 and just not ``reference_v`` on top.

        Raises ``AotfLabError`` for volts that it cannot make.
        """
        return dac_codes_of(self.staircase, self.turns, self.scene, bits, reference_v, low_v)

    def light(self, line: str) -> tuple[FloatArray, FloatArray]:
        """Return time (us) and light (over full light) of ``line`` at the beam, for one cycle that repeats."""
        times, light = [], []
        ends = [t.command_us + t.hop.seen_us[0] for t in self.turns]
        for k, turn in enumerate(self.turns):
            at = turn.command_us + turn.hop.seen_us
            stop = ends[k + 1] if k + 1 < len(ends) else ends[0] + self.cycle_us
            keep = at < stop
            times += [at[keep], [stop - 1e-6]]
            light += [turn.hop.light[line][keep], turn.hop.light[line][keep][-1:]]
        time, course = np.concatenate(times), np.concatenate(light)
        return time, course

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, words) for each line of ``str``."""
        t = self.timing
        rated = "" if self.rated_rf_power_w is None else f", rated {self.rated_rf_power_w:g} W"
        found = [
            ("order", f"{' - '.join(self.order)} ({self.ordered}), again every {self.cycle_us:.2f} us"),
            ("light", f"good for {100 * self.duty:.1f} % of the time; good means {100 * self.scene.good_share:g} % of "
                      f"the full light; incident power {self.how}"),
            ("RF power", f"mean {shown(self.mean_rf_w)} W{rated}; {self.scene.drive.words}"),
            ("times", f"delay {t.delay_us:.3g} us, rise {t.rise_us:.3g} us, port {t.port_bandwidth_khz:g} kHz, one "
                      f"pole of {t.tau_us:.3g} us"),
        ]  # fmt: skip
        found += [(turn.name, turn.words(self.unit)) for turn in self.turns]
        for line, share in self.leaked.items():
            if share > 0:
                of = "its" if line in self.order else "the shortest"
                found.append((f"{line} leaks", f"{100 * share:.2g} % of {of} dwell, while others are on their way"))
        return tuple(found)

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return f"Sequence of {len(self.turns)} steps in {self.cycle_us:.2f} us"

    def __str__(self) -> str:
        return rows_text(self.title, self.rows(), (c for c in self.checks if not c.passed))

    def _repr_html_(self) -> str:
        return rows_html(self.title, self.rows(), (c for c in self.checks if not c.passed))

    def plot(self, ax: Any = None) -> Any:
        """Draw volts and the light of each line against time, one lane each, good times marked."""
        from aotf_lab.drawing.sequence import plot_sequence

        wanted = list(dict.fromkeys(t.place.line for t in self.turns if t.place.line is not None))
        good = {n: [(t.good_from_us, t.good_to_us) for t in self.turns if t.name == n] for n in wanted}
        s = self.staircase
        return plot_sequence(
            np.append(s.time_us, s.cycle_us), np.append(s.drive_v, s.drive_v[-1:]),
            {n: self.light(n) for n in wanted}, good, self.cycle_us, ax,
        )  # fmt: skip
