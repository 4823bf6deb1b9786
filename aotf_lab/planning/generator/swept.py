"""The answer of a sine sweep: windows of each line, what to type, what stands against it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pandas as pd
from uncertainties import UFloat, nominal_value, std_dev

from aotf_lab.estimation import Check
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.planning.generator.output import Output
from aotf_lab.planning.generator.reach import Reach
from aotf_lab.planning.generator.typed import Typed
from aotf_lab.planning.generator.wanted import Wanted
from aotf_lab.planning.set_point import shown
from aotf_lab.reading.atomic import write_text_atomically

__all__ = ["SineSweep", "Window", "sweep_checks"]

_POLE_LIMIT = 0.99


@dataclass(frozen=True)
class Window:
    """One time in a cycle in which a line has half of its light or more; ``turning``: around the end of the sine.

    ``rate_mhz_per_us`` is how fast the frequency goes through the line's peak; ``close`` says that an edge of the
    passband lies within three standard uncertainties of the turning point, where times are not linear in any error.
    """

    line: str
    way: Literal["rising", "falling", "turning"]
    start_us: UFloat | float
    stop_us: UFloat | float
    dwell_us: UFloat | float
    rate_mhz_per_us: UFloat | None
    close: bool


@dataclass(frozen=True)
class SineSweep:
    """A sine over lines, made by ``sine_sweep``.

    ``typed`` holds what to type by display; ``edges_v`` the volts at the port between which each line lights.
    ``centre_v`` and ``half_v`` are what the port follows, behind its pole: ``pole_gain`` of the generator's amplitude,
    ``delay_us`` late.
    """

    wanted: tuple[Wanted, ...]
    edges_v: dict[str, tuple[UFloat, UFloat]] = field(repr=False)
    typed: dict[str, Typed]
    windows: tuple[Window, ...]
    centre_v: UFloat
    half_v: UFloat
    rate_khz: float
    pole_gain: UFloat | float
    delay_us: UFloat | float
    output: Output = field(repr=False)
    checks: tuple[Check, ...]

    def of(self, line: str) -> tuple[Window, ...]:
        """Return the windows of a line, none where it is never lit."""
        return tuple(w for w in self.windows if w.line == line)

    def port_v(self, time_us: Any) -> Any:
        """Return the volts that the port follows at ``time_us`` (n,), nominal values."""
        angle = 2e-3 * np.pi * self.rate_khz * (np.asarray(time_us, dtype=float) - float(nominal_value(self.delay_us)))
        return self.centre_v.n + self.half_v.n * np.sin(angle)

    @property
    def table(self) -> pd.DataFrame:
        """One row a window, u in columns of their own."""
        rows = []
        for w in self.windows:
            row: dict[str, object] = {"line": w.line, "way": w.way}
            for name in ("start_us", "stop_us", "dwell_us", "rate_mhz_per_us"):
                value = getattr(w, name)
                row[name] = float("nan") if value is None else nominal_value(value)
                row[f"u_{name}"] = float("nan") if value is None else std_dev(value)
            row["share_of_cycle"] = float(nominal_value(w.dwell_us)) * self.rate_khz / 1e3
            rows.append(row)
        return pd.DataFrame(rows)

    def to_csv(self, path: str | Path) -> Path:
        """Write the table as CSV, atomically, and return the path."""
        write_text_atomically(Path(path), self.table.to_csv(index=False))
        return Path(path)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, words) for each line of ``str``."""
        found = [(f"type, {t.display} display", f"{t}, {self.rate_khz:g} kHz") for t in self.typed.values()]
        low, high = (self.centre_v - self.half_v, self.centre_v + self.half_v)
        late = f"{shown(self.delay_us)} us late" if nominal_value(self.delay_us) else "its bandwidth is not known"
        found.append(("port", f"{shown(low)} to {shown(high)} V, {100 * nominal_value(self.pole_gain):.3g} % of the "
                              f"generator's amplitude, {late}"))  # fmt: skip
        for w in self.windows:
            fast = "" if w.rate_mhz_per_us is None else f", through the peak at {shown(w.rate_mhz_per_us)} MHz/us"
            words = f"from {shown(w.start_us)} us for {shown(w.dwell_us)} us{fast}"
            found.append((f"{w.line} {w.way}", words))
        lit = {w.line for w in self.windows}
        found += [(w.name, "never lit") for w in self.wanted if w.name not in lit]
        return tuple(found)

    @property
    def title(self) -> str:
        """What it is, in a few words."""
        return f"Sine of {self.rate_khz:g} kHz, a cycle of {1e3 / self.rate_khz:.4g} us"

    def __str__(self) -> str:
        return rows_text(self.title, self.rows(), (c for c in self.checks if not c.passed))

    def _repr_html_(self) -> str:
        return rows_html(self.title, self.rows(), (c for c in self.checks if not c.passed))

    def plot(self, ax: Any = None) -> Any:
        """Draw the volts at the port over a cycle, with the windows of each line; return the Axes."""
        from aotf_lab.drawing.generator import plot_generator_sweep

        time = np.linspace(0.0, 1e3 / self.rate_khz, 721)
        bands = {n: (low.n, high.n) for n, (low, high) in self.edges_v.items()}
        spans = {
            w.name: [(float(nominal_value(x.start_us)), float(nominal_value(x.stop_us))) for x in self.of(w.name)]
            for w in self.wanted
        }
        return plot_generator_sweep(time, self.port_v(time), bands, spans, ax)


def sweep_checks(
    wanted: Sequence[Wanted], windows: Sequence[Window], output: Output, gain: Any, rate_khz: float, reach: Reach
) -> tuple[Check, ...]:
    """Return the checks: every line lit, the port's pole, turning points."""
    lit = {w.line for w in windows}
    dark = [w for w in wanted if w.name not in lit]
    far = [w for w in dark if not reach.holds(w.port_v.n)]
    unlit = [f"{w.name} needs {w.port_v.n:.3f} V, beyond {reach.why(w.port_v.n)}" for w in far]
    unlit += ["raise the amplitude, move the centre, or sweep more slowly"] * (len(far) < len(dark))
    bandwidth = output.oscillator.port_bandwidth_khz
    kept = float(nominal_value(gain))
    if bandwidth is None:
        pole = "[oscillator] port_bandwidth_khz is not stated: the port may follow with less amplitude, and late"
    else:
        pole = (f"{rate_khz:g} kHz on a port of {bandwidth:g} kHz leaves {100 * kept:.3g} % of the amplitude, limit "
                f"{100 * _POLE_LIMIT:g} %")  # fmt: skip
        pole += "" if kept >= _POLE_LIMIT else "; the windows here have it in them: do not reckon without it"
    close = sorted({w.line for w in windows if w.close or w.way == "turning"})
    return (
        Check("lit", not dark, f"never lit: {', '.join(w.name for w in dark)}; {'; '.join(unlit)}" if dark
              else "every line is lit"),
        Check("pole", bandwidth is not None and kept >= _POLE_LIMIT, pole),
        Check("turning points", not close, f"the sine turns within, or close to, the passband of {', '.join(close)}: "
              "its times hang on small errors; raise the amplitude" if close else "no line lies at a turning point"),
        Check("accuracy", output.accuracy_stated, "the generator's accuracy is stated" if output.accuracy_stated else
              "[generator] gain_percent, offset_percent, u_offset_mv are not all stated"),
    )  # fmt: skip
