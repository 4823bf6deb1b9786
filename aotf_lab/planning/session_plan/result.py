"""The plan of a session: voltages, scans, powers, what they should achieve, and what no reading achieves."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from html import escape

import pandas as pd

from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.planning.curves import light_lost_percent
from aotf_lab.planning.next_reading.calibrations import cure_for
from aotf_lab.planning.session_plan.powers import PowerPlan

__all__ = ["PlannedScan", "SessionPlan"]

_FACTOR_95 = 1.96


@dataclass(frozen=True)
class PlannedScan:
    """``readings`` of a line, half up and half down, over ``width_mhz`` about ``centre_mhz``, ``times`` over."""

    line: str
    centre_mhz: float
    width_mhz: float
    readings: int
    times: int
    u_peak_mhz: float

    @property
    def step_mhz(self) -> float:
        """The step from one reading to the next, in MHz."""
        return self.width_mhz / (self.readings // 2 - 1)


@dataclass(frozen=True)
class SessionPlan:
    """How many readings and where, made by ``plan_session``.

    ``up_v`` rising and ``down_v`` falling are the oscillator's voltages; ``reference_v`` is to be set again after every
    fifth reading, ``revisits`` times, so that a drift shows (common practice, no source; not counted on for the
    prediction). ``u_setting_mhz`` is what each line's setting should reach, ``u_allowed_mhz`` what the target allows.
    ``limits`` names the lines that no number of readings brings there: what is left (MHz), and the cause.
    """

    up_v: tuple[float, ...]
    down_v: tuple[float, ...]
    reference_v: float
    revisits: int
    scans: tuple[PlannedScan, ...]
    powers: PowerPlan | None
    u_setting_mhz: Mapping[str, float]
    u_allowed_mhz: float
    light_lost_percent: float
    fwhm_mhz: float
    limits: Mapping[str, tuple[float, str]] = field(default_factory=dict)

    @property
    def reached(self) -> bool:
        """Whether the plan meets the target at every line, and for the saturation power if that was asked for."""
        lines = all(u <= self.u_allowed_mhz for u in self.u_setting_mhz.values())
        return lines and (self.powers is None or self.powers.reached)

    @property
    def readings(self) -> int:
        """All readings: voltages, visits to the reference, scans, powers."""
        scans = sum(s.readings * s.times for s in self.scans)
        return len(self.up_v) + len(self.down_v) + self.revisits + scans + (self.powers.readings if self.powers else 0)

    @property
    def table(self) -> pd.DataFrame:
        """One row a line: predicted u of its setting in MHz, as a share of the FWHM, and the light lost at 95 %."""
        rows = [
            {
                "line": name, "u_setting_mhz": u, "share_of_fwhm": u / self.fwhm_mhz,
                "light_lost_percent": light_lost_percent(_FACTOR_95 * u, self.fwhm_mhz),
                "reached": u <= self.u_allowed_mhz,
            }
            for name, u in self.u_setting_mhz.items()
        ]  # fmt: skip
        return pd.DataFrame(rows)

    def sentences(self) -> list[str]:
        """Return the plan in words."""
        up, down = (_counted(volts) for volts in (self.up_v, self.down_v))
        told = [f"Read the oscillator {len(self.up_v)} times on the way up, at {up} V."]
        if self.down_v:
            told.append(f"Then {len(self.down_v)} times on the way down, at {down} V.")
        told.append(f"Set {self.reference_v:.2f} V again after every fifth reading, {self.revisits} times.")
        told += [
            f"Scan line {s.line} from {s.centre_mhz - s.width_mhz / 2:.2f} to {s.centre_mhz + s.width_mhz / 2:.2f} MHz "
            f"up and down, {s.readings // 2} points each way" + (f", {s.times} times." if s.times > 1 else ".")
            for s in self.scans
        ]
        if self.powers is not None:
            places = ", ".join(f"{n} at {p:.2g} W" for p, n in self.powers.powers)
            told.append(f"Read the efficiency of a line: {places}.")
        return [*told, *self._verdict()]

    def _verdict(self) -> list[str]:
        worst = max(self.u_setting_mhz, key=lambda n: self.u_setting_mhz[n])
        lost = light_lost_percent(_FACTOR_95 * self.u_setting_mhz[worst], self.fwhm_mhz)
        told = [f"That is {self.readings} readings; at most {lost:.3g} % of the light is lost, at line {worst}."]
        for name, (left, cause) in self.limits.items():
            cure = cure_for(cause) or "scan that line, or have its wavelength stated better"
            told.append(f"No number of readings brings line {name} there: {1e3 * left:.3g} kHz by {cause}; {cure}.")
        if not self.limits and any(u > self.u_allowed_mhz for u in self.u_setting_mhz.values()):
            told.append("The target takes more readings than one session holds; better instruments would need fewer.")
        if self.powers is not None and not self.powers.reached:
            cause, u = next(iter(self.powers.u_shared.items()), ("scatter", self.powers.u_scatter))
            told.append(
                f"No number of readings tells the saturation power to {100 * self.powers.target:.2g} %: "
                f"{100 * self.powers.u_floor:.2g} % is shared, most by {cause} ({100 * u:.2g} %); {cure_for(cause)}."
            )
        return told

    def __str__(self) -> str:
        return text_lines(self.sentences())

    def _repr_html_(self) -> str:
        items = "".join(f"<li>{escape(s)}</li>" for s in self.sentences())
        return f"<ul>{items}</ul>{self.table.to_html(index=False, float_format=lambda v: f'{v:.3g}')}"


def _counted(volts: tuple[float, ...]) -> str:
    """Return the voltages in order, one set several times with how often."""
    counts = Counter(round(v, 2) for v in volts)
    return ", ".join(f"{v:.2f}" + (f" {n} times" if n > 1 else "") for v, n in counts.items())
