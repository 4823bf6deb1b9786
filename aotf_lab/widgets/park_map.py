"""Where to park when no line is wanted: the leak at every frequency, and at the one that is looked at."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from uncertainties import UFloat

from aotf_lab.drawing.panel_park import ParkPicture
from aotf_lab.errors import OutOfRangeError
from aotf_lab.planning.one_drive import require_amplifier
from aotf_lab.planning.park import Park, park_frequency
from aotf_lab.planning.park.leak import Combine, decibel, largest_near
from aotf_lab.planning.park.park import DRIFT_MHZ
from aotf_lab.planning.park.result import RF_OFF
from aotf_lab.planning.set_point import shown
from aotf_lab.session import Session
from aotf_lab.widgets.controls import button, number, switch
from aotf_lab.widgets.panel import Panel

__all__ = ["ParkPanel", "ParkState", "park_map", "park_state"]

_TOGETHER, _WORST = "all lines together", "the worst line"
_COMBINE: dict[str, Combine] = {_TOGETHER: "sum", _WORST: "worst"}


@dataclass(frozen=True)
class ParkState:
    """A park map with the frequency ``at_mhz`` looked at; made by ``park_state``.

    ``leak_db`` is the largest leak there within the park's window, as estimated, ``most_db`` at the most; not a number
    where RF power is not known. ``by_line_db`` is the leak of each line at the frequency itself, over its own light.
    """

    park: Park = field(repr=False)
    at_mhz: float
    drive_v: UFloat | None
    leak_db: float
    most_db: float
    by_line_db: dict[str, float]
    remarks: tuple[str, ...]

    @property
    def title(self) -> str:
        """The best place in a line."""
        best = self.park.best
        volts = "" if best.drive_v is None else f" ({shown(best.drive_v)} V)"
        return f"Park at {best.at_mhz:.3f} MHz{volts}: at most {best.bound_db:.1f} dB leaks (95 %)"

    @property
    def worst_line(self) -> str:
        """The line that leaks most at the frequency looked at."""
        return max(self.by_line_db, key=lambda n: np.nan_to_num(self.by_line_db[n], nan=-np.inf))

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with unit): the place looked at, then the best ones and what to keep away from."""
        park, known = self.park, np.isfinite(self.leak_db)
        volts = "not within the oscillator's reach" if self.drive_v is None else f"{shown(self.drive_v)} V"
        leak = f"{self.leak_db:.1f} dB, at most {self.most_db:.1f} dB" if known else "not known: no RF power there"
        rows = [("looked at", f"{self.at_mhz:.3f} MHz, {volts}"), ("leaks there", leak)]
        if known:
            line = self.worst_line
            rows.append(("most of it", f"line {line}, {self.by_line_db[line]:.1f} dB of its own light"))
        rows += [("best", str(park.best)), *(("next best", str(p)) for p in park.runners_up)]
        rows += [
            ("keep away", f"{t.at_mhz:.3f} MHz: line {t.line} by {t.order} f, {t.leak_db:.1f} dB") for t in park.traps
        ]
        return (*rows, ("drive", park.drive_words), ("window", f"+-{1e3 * park.window_mhz:.0f} kHz"))

    @property
    def picture_words(self) -> str:
        """The picture in a sentence."""
        best = self.park.best
        return (
            f"Light that leaks against frequency, with lines and what cannot be set; best at {best.at_mhz:.3f} MHz, "
            f"{best.leak_db:.0f} dB; looked at {self.at_mhz:.3f} MHz, {self.leak_db:.0f} dB."
        )


def park_map(session: Session, supply_v: float, drift_mhz: float, combine: Combine) -> Park:
    """Return the park map at a supply (V), for an oscillator that may have drifted by ``drift_mhz``.

    Raises as ``park_frequency``.
    """
    limits = session.facts.limits
    return park_frequency(
        session, session.passbands, harmonics=session.driver_harmonics, oscillator=limits.oscillator,
        generator=limits.generator, supply_v=supply_v, drift_mhz=drift_mhz, combine=combine,
    )  # fmt: skip


def park_state(park: Park, at_mhz: float) -> ParkState:
    """Return what leaks at ``at_mhz``; raises ``OutOfRangeError`` outside the map."""
    grid = park.map.frequency_mhz
    if not grid[0] <= at_mhz <= grid[-1]:
        raise OutOfRangeError("frequency", at_mhz, float(grid[0]), float(grid[-1]), "MHz")
    k = int(np.argmin(np.abs(grid - at_mhz)))
    drive = None
    if park.vco is not None and park.vco.range_mhz[0] <= at_mhz <= park.vco.range_mhz[1]:
        drive = park.vco.drive(at_mhz)
    by_line = {n: float(decibel(row[k])) for n, row in zip(park.peaks_mhz, park.map.by_line, strict=True)}
    zone = tuple(f"{at_mhz:.3f} MHz cannot be set: {z.why}" for z in park.zones if z.low_mhz <= at_mhz <= z.high_mhz)
    failed = tuple(str(c) for c in park.checks if not c.passed)
    return ParkState(
        park, at_mhz, drive, float(decibel(park.map.likely[k])), float(decibel(park.map.sure[k])), by_line,
        (*zone, *failed, RF_OFF[0]),
    )  # fmt: skip


class ParkPanel(Panel[ParkState]):
    """Look at a frequency, change supply, drift and what counts; the map and its best places follow."""

    heading = "Park map"

    def __init__(self, session: Session) -> None:
        """Open at the session's own park frequency and drive."""
        self.session = session
        level, safe = require_amplifier(session.curves, "parking")
        first = session.park
        low, high = first.reach.shown_mhz
        start = safe.supply_v if first.supply_v is None else first.supply_v
        self.at_mhz = number("Look at", round(first.best.at_mhz, 3), low, high, 0.1, "MHz")
        self.to_best = button("Go to the best place")
        self.supply_v = number("Amplifier supply", start, level.range_v[0], max(level.range_v[1], start), 0.1, "V")
        self.drift_khz = number("Drift since the last calibration", 1e3 * DRIFT_MHZ, 0.0, 1000.0, 10.0, "kHz")
        self.count = switch("What counts", list(_COMBINE))
        super().__init__([[self.at_mhz, self.to_best], [self.supply_v, self.drift_khz], [self.count]])
        self._made: tuple[tuple[float, float, str], Park] | None = None
        self._picture = ParkPicture(
            first.map.frequency_mhz, first.peaks_mhz, [(z.low_mhz, z.high_mhz) for z in first.zones]
        )
        self.watch(self.at_mhz, self.supply_v, self.drift_khz, self.count)
        self.on_press(self.to_best, self._to_best)
        self.refresh()

    def _to_best(self) -> None:
        self.at_mhz.value = round(self._park().best.at_mhz, 3)

    def _park(self) -> Park:
        """Return the map of the controls, made anew only where one of them was changed."""
        wanted = (self.supply_v.value, self.drift_khz.value, self.count.value)
        if self._made is None or self._made[0] != wanted:
            park = park_map(self.session, wanted[0], 1e-3 * wanted[1], _COMBINE[wanted[2]])
            self._made = wanted, park
            m = park.map
            harmonic = np.where(np.isfinite(m.total), m.by_order[1:].sum(axis=0), np.nan)
            by_harmonic = decibel(largest_near(m.frequency_mhz, harmonic, m.window_mhz))
            places = [(p.at_mhz, p.leak_db) for p in (park.best, *park.runners_up)]
            self._picture.map(decibel(m.likely), by_harmonic, decibel(m.sure), places)
        return self._made[1]

    def state(self) -> ParkState:
        """Return the map with the place that is looked at."""
        return park_state(self._park(), self.at_mhz.value)

    def draw(self, state: ParkState | None) -> bytes:
        """Return the picture."""
        if state is None:
            return self._picture.png(still_only=True)
        return self._picture.drawn(state.at_mhz, state.leak_db)
