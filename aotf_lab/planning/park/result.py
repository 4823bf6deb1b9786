"""The park frequency as an answer: where, how dark, what leaks there, what is next best, and what cannot be set."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from uncertainties import UFloat

from aotf_lab.driver import Vco
from aotf_lab.estimation import Check
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.planning.park.harmonics import HarmonicLevel
from aotf_lab.planning.park.leak import Combine, LeakMap, decibel, largest_near
from aotf_lab.planning.park.reach import Reach, Zone
from aotf_lab.planning.set_point import shown

__all__ = ["RF_OFF", "Park", "QuietPlace", "Trap"]

RF_OFF = (
    "parking leaks, RF off does not: a switch, or the amplifier's supply turned off, leaves scattered light only",
    "parking keeps RF power in the crystal and so its temperature: after RF was off, peaks move until it is warm again",
)
"""What to choose between (common practice, no source)."""

_ORDINALS = {1: "f itself", 2: "its 2nd harmonic", 3: "its 3rd harmonic"}


@dataclass(frozen=True)
class QuietPlace:
    """A frequency at which little leaks.

    ``leak_db`` is the largest leak within the window in which the frequency may lie, ``bound_db`` its upper bound
    (95 %); ``line`` and ``order`` make the share ``share`` of it. ``here_db`` is the leak at the frequency itself.
    """

    at_mhz: float
    drive_v: UFloat | None
    leak_db: float
    bound_db: float
    line: str
    order: int
    share: float
    here_db: float

    def __str__(self) -> str:
        volts = "" if self.drive_v is None else f" ({shown(self.drive_v)} V)"
        by = f"{100 * self.share:.0f} % of it line {self.line} by {_ORDINALS[self.order]}"
        return f"{self.at_mhz:.3f} MHz{volts}: {self.leak_db:.1f} dB, at most {self.bound_db:.1f} dB; {by}"


@dataclass(frozen=True)
class Trap:
    """A frequency that looks off, and at which a harmonic drives a line: ``leak_db`` over the line's full light."""

    at_mhz: float
    line: str
    order: int
    leak_db: float


@dataclass(frozen=True)
class Park:
    """Where to park, made by ``park_frequency``. Leaks in dB: light that leaks over full light, see ``combine``.

    ``best`` is the place, ``runners_up`` the next best ones; ``traps`` are frequencies to keep away from. The amplifier
    stands at ``supply_v`` and gives ``rf_power_w`` there. ``window_mhz`` is by how much the frequency may be off.
    ``map`` holds the leak over all frequencies shown, ``reach`` which of them can be set.
    """

    best: QuietPlace
    runners_up: tuple[QuietPlace, ...]
    vco: Vco | None = field(repr=False)
    supply_v: float | None
    rf_power_w: UFloat
    drive_words: str
    window_mhz: float
    harmonics: tuple[HarmonicLevel, ...]
    combine: Combine
    weighted: str
    traps: tuple[Trap, ...]
    reach: Reach
    map: LeakMap = field(repr=False)
    peaks_mhz: dict[str, float]
    checks: tuple[Check, ...]

    @property
    def frequency_mhz(self) -> UFloat | float:
        """The park frequency (MHz), with the uncertainty of what the drive voltage makes."""
        drive = self.best.drive_v
        return self.best.at_mhz if drive is None or self.vco is None else self.vco.frequency(drive.n)

    @property
    def drive_v(self) -> UFloat | None:
        """The drive voltage (V), as the voltmeter of the oscillator's readings shows it; None without its curve."""
        return self.best.drive_v

    @property
    def leak_db(self) -> float:
        """The largest leak (dB) within the window, as estimated."""
        return self.best.leak_db

    @property
    def bound_db(self) -> float:
        """Its upper bound (95 %)."""
        return self.best.bound_db

    @property
    def zones(self) -> tuple[Zone, ...]:
        """The frequencies that cannot be set, and why."""
        return self.reach.zones

    @property
    def table(self) -> pd.DataFrame:
        """The map in dB: ``frequency_mhz``, ``leak_db``, ``likely_db``, ``sure_db``, then each line and each order."""
        m = self.map
        columns = {
            "frequency_mhz": m.frequency_mhz,
            "leak_db": decibel(m.total),
            "likely_db": decibel(m.likely),
            "sure_db": decibel(m.sure),
        }
        columns |= {f"line_{n}_db": decibel(row) for n, row in zip(self.peaks_mhz, m.by_line, strict=True)}
        columns |= {f"order_{h.order}_db": decibel(row) for h, row in zip(self.harmonics, m.by_order, strict=True)}
        return pd.DataFrame(columns)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, words) for each line of ``str``."""
        what = f"light of all lines over the full light of one; {self.weighted}"
        what = what if self.combine == "sum" else "the worst line over its own full light"
        f = self.frequency_mhz
        found = [
            ("frequency", f"{shown(f)} MHz"),
            ("drive", "no oscillator curve" if self.drive_v is None else f"{shown(self.drive_v)} V"),
            ("RF power", f"{shown(self.rf_power_w)} W, {self.drive_words}"),
            ("leak", f"{self.leak_db:.1f} dB, at most {self.bound_db:.1f} dB (95 %): {what}"),
            ("made by", str(self.best).split("; ")[-1]),
            ("window", f"+-{1e3 * self.window_mhz:.0f} kHz: the largest leak within it counts"),
            ("harmonics", "; ".join(str(h) for h in self.harmonics if h.order > 1) or "none: a pure sine"),
        ]
        found += [("next best", str(place)) for place in self.runners_up]
        found += [
            ("keep away", f"{t.at_mhz:.3f} MHz: {t.leak_db:.1f} dB of line {t.line} by {_ORDINALS[t.order]}")
            for t in self.traps
        ]
        found += [("no setting", f"{z.low_mhz:.2f} to {z.high_mhz:.2f} MHz, {z.why}") for z in self.zones]
        return (*found, *(("or RF off", words) for words in RF_OFF))

    def _title(self) -> str:
        return f"Park at {self.best.at_mhz:.3f} MHz: {len(self.peaks_mhz)} lines leak {self.leak_db:.0f} dB"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), (c for c in self.checks if not c.passed))

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), (c for c in self.checks if not c.passed))

    def plot(self, ax: Any = None) -> Any:
        """Draw the leak against frequency with lines, harmonics, what cannot be set, and the choice."""
        from aotf_lab.drawing.park import plot_park

        m = self.map
        harmonic = np.where(np.isfinite(m.total), m.by_order[1:].sum(axis=0), np.nan)
        traps = [(t.at_mhz, f"line {t.line} by {t.order} f", t.leak_db) for t in self.traps]
        return plot_park(
            m.frequency_mhz, decibel(m.likely), decibel(largest_near(m.frequency_mhz, harmonic, m.window_mhz)),
            decibel(m.sure), self.peaks_mhz, traps,
            [(z.low_mhz, z.high_mhz) for z in self.zones], (self.best.at_mhz, self.leak_db), ax,
        )  # fmt: skip
