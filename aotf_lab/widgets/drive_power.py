"""How hard to drive: the efficiency of every line against RF power or the amplifier's supply, up to the safe limit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.efficiency.curve import SLOPE_ONLY, EfficiencyCurve
from aotf_lab.crystal.efficiency.law import drive_law
from aotf_lab.drawing.panel_drive import DrivePicture
from aotf_lab.errors import AotfLabError, OutOfRangeError, Said, UnsafeDriveError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.planning.curves import wanted_lines
from aotf_lab.planning.one_drive_lines import DrivenLine, driven_lines, peak_supply
from aotf_lab.planning.park.drive import parked_drive
from aotf_lab.planning.safe_drive import highest_safe_power, require_safe, true_power
from aotf_lab.planning.set_point import shown
from aotf_lab.session import Session
from aotf_lab.widgets.controls import number, switch
from aotf_lab.widgets.panel import Panel

__all__ = ["DrivePanel", "DriveState", "LineAtPower", "drive_state", "efficiency_curves"]

By = Literal["RF power", "amplifier supply"]
BY_POWER: By = "RF power"
BY_SUPPLY: By = "amplifier supply"


@dataclass(frozen=True)
class LineAtPower:
    """A line driven at its own peak with ``rf_power_w``; ``efficiency`` None beyond the drive that was measured.

    ``by_law`` is what the law says there without uncertainty, ``share`` the efficiency over the line's maximum.
    """

    line: str
    rf_power_w: UFloat | float
    efficiency: UFloat | None
    share: UFloat | None
    by_law: float
    most_light_at: str

    @property
    def words(self) -> str:
        """Efficiency, share and best drive in words."""
        told = f"about {self.by_law:.2f} by the law: no drive went so far"
        light = told if self.efficiency is None else f"efficiency {shown(self.efficiency)}"
        share = "" if self.share is None else f", {100 * self.share.n:.1f} % of its maximum"
        return f"{shown(self.rf_power_w)} W, {light}{share}; most light {self.most_light_at}"


@dataclass(frozen=True)
class DriveState:
    """Every line at one drive; made by ``drive_state``. ``limit`` is the most that is safe, in the unit of ``at``."""

    by: By
    at: float
    limit: float
    lines: tuple[LineAtPower, ...]
    remarks: tuple[str, ...] = field(default=())

    @property
    def unit(self) -> str:
        """The unit of ``at``."""
        return "W" if self.by == BY_POWER else "V"

    @property
    def title(self) -> str:
        """The drive in a line."""
        return f"{self.by} {self.at:.3f} {self.unit}; never above {self.limit:.3f} {self.unit}"

    @property
    def weakest(self) -> LineAtPower | None:
        """The line that has the least share of its maximum, None where no share is known."""
        known = [e for e in self.lines if e.share is not None]
        return min(known, key=lambda e: e.share.n if e.share is not None else 1.0) if known else None

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit)."""
        left = f"{100 * (1 - self.at / self.limit):.1f} % below the limit"
        rows = [("drive", f"{self.at:.3f} {self.unit}, {left}")]
        if self.weakest is not None and self.weakest.share is not None:
            share = f"{100 * self.weakest.share.n:.1f} %"
            rows.append(("weakest line", f"{self.weakest.line}, {share} of its maximum"))
        return (*rows, *((f"line {e.line}", e.words) for e in self.lines))

    @property
    def picture_words(self) -> str:
        """The picture in a sentence."""
        light = ", ".join(f"{e.line} {e.by_law:.2f}" for e in self.lines)
        return (
            f"Efficiency of every line against {self.by}, a wall at {self.limit:.3g} {self.unit}; "
            f"at {self.at:.3g} {self.unit}: {light}."
        )


def efficiency_curves(session: Session) -> tuple[dict[str, EfficiencyCurve], tuple[str, ...]]:
    """Return the curve of each line, its own or by the law over the others; and which lines have none, and why.

    Raises as ``session.efficiency``; ``AotfLabError`` where no line has a curve.
    """
    efficiency, found, left_out = session.efficiency, {}, []
    for name, nm in session.wavelengths_nm.items():
        try:
            if name in efficiency.own:
                found[name] = efficiency.line(name)
            elif nm is not None:
                found[name] = efficiency.at(float(nominal_value(nm)))
            else:
                left_out.append(f"line {name} is left out: its wavelength is not known")
        except AotfLabError as error:
            left_out.append(f"line {name} is left out: {error}")
    if not found:
        raise AotfLabError(
            "no line with an efficiency curve", found=Said(", ".join(session.wavelengths_nm) or "no lines"),
            allowed="one line of known wavelength near the measured ones", cure="measure efficiency on a line",
        )  # fmt: skip
    return found, tuple(left_out)


def drive_state(session: Session, curves: Mapping[str, EfficiencyCurve], by: By, at: float) -> DriveState:
    """Return every line of ``curves`` driven at ``at``: W as the bench's scope indicates them, or V of the supply.

    Raises ``UnsafeDriveError`` above the safe limit or where none is known, ``AotfLabError`` without the amplifier's
    curve where the supply is asked for.
    """
    if by == BY_SUPPLY:
        drive = parked_drive(session, session.curves, at, None)
        assert drive.level is not None
        driven = driven_lines(
            session.curves, drive.level, wanted_lines(list(curves), session.wavelengths_nm, session.curves)
        )
        entries = [_at_supply(line, drive.power_w(line.at_mhz), peak_supply(line, drive.level)) for line in driven]
        return DriveState(by, at, session.safe_supply.supply_v, tuple(entries))
    rated = session.facts.crystal.rated_rf_power_w
    if rated is None:
        raise UnsafeDriveError(
            "no RF power can be called safe", where="session.toml", found=Said("no rated RF power"),
            allowed="[crystal] rated_rf_power_w", cure="state it from the crystal's own papers",
        )  # fmt: skip
    scale = session.efficiency.common_errors
    limit = highest_safe_power(rated, scale)
    require_safe(true_power(at, scale), rated, "at the crystal")
    power = true_power(at, scale)
    entries = [_entry(name, curve, power, _best_power(curve)) for name, curve in curves.items()]
    return DriveState(by, at, limit, tuple(entries))


def _at_supply(line: DrivenLine, power: UFloat, best: UFloat | None) -> LineAtPower:
    return _entry(line.name, line.curve, power, "not known" if best is None else f"at {shown(best)} V")


def _best_power(curve: EfficiencyCurve) -> str:
    if curve.level == SLOPE_ONLY:
        return "not known: the initial slope only"
    where = f"at {shown(curve.saturation_power_indicated_w)} W"
    return where if curve.most_light_w < curve.range_w[1] else f"{where}, beyond what was tried"


def _entry(line: str, curve: EfficiencyCurve, power: UFloat | float, best: str) -> LineAtPower:
    plain = float(nominal_value(power))
    by_law = float(drive_law(np.array([plain]), curve.slope_per_w.n, curve.curvature.n)[0])
    try:
        efficiency = curve.efficiency(power)
    except OutOfRangeError:
        return LineAtPower(line, power, None, None, by_law, best)
    share = None if curve.level == SLOPE_ONLY else efficiency * curve.curvature
    return LineAtPower(line, power, efficiency, share, by_law, best)


class DrivePanel(Panel[DriveState]):
    """Move the drive by RF power or by the amplifier's supply, up to the wall; every line's light follows."""

    heading = "Drive power"

    def __init__(self, session: Session) -> None:
        """Open at the one drive for all lines, or at half of the safe RF power where the amplifier is not known."""
        self.session = session
        self._curves, self._left_out = efficiency_curves(session)
        rated = session.facts.crystal.rated_rf_power_w or max(c.range_w[1] for c in self._curves.values())
        with_supply = session.curves.level is not None and session.curves.safe is not None
        self.by = switch("Set by", [BY_SUPPLY, BY_POWER] if with_supply else [BY_POWER])
        self.rf_power_w = number("RF power as the scope shows it", 0.5 * rated, 0.0, rated, 0.01, "W")
        controls = [[self.by], [self.rf_power_w]]
        self._pictures: dict[str, DrivePicture] = {}
        if with_supply:
            assert session.curves.level is not None
            chosen = session.part("one_drive")
            low, high = session.curves.level.range_v
            start = session.safe_supply.supply_v if chosen is None else chosen.supply_v
            self.supply_v = number("Amplifier supply", start, low, max(high, start), 0.05, "V")
            controls[1].insert(0, self.supply_v)
        super().__init__(controls)
        self.watch(self.by, *controls[1], first=self._only_one)
        self.refresh(self._only_one)

    def _only_one(self) -> None:
        self.rf_power_w.disabled = self.by.value != BY_POWER
        if BY_SUPPLY in self.by.options:
            self.supply_v.disabled = self.by.value != BY_SUPPLY

    def state(self) -> DriveState:
        """Return every line at the drive set."""
        at = self.supply_v.value if self.by.value == BY_SUPPLY else self.rf_power_w.value
        return replace(drive_state(self.session, self._curves, self.by.value, at), remarks=self._left_out)

    def draw(self, state: DriveState | None) -> bytes | None:
        """Return the picture."""
        if state is None:
            picture = self._pictures.get(self.by.value)
            return None if picture is None else picture.png(still_only=True)
        if state.by not in self._pictures:
            self._pictures[state.by] = self._picture(state)
        light = np.array([e.by_law for e in state.lines])
        u = np.array([np.nan if e.efficiency is None else e.efficiency.s for e in state.lines])
        return self._pictures[state.by].drawn(state.at, light, u)

    def _picture(self, state: DriveState) -> DrivePicture:
        """Return the picture's still parts: every curve up to the wall."""
        level, least = self.session.curves.level, 0.0
        if state.by == BY_SUPPLY and level is not None:
            least = level.range_v[0]
        grid = np.linspace(least, state.limit, 240)
        found = {}
        for entry in state.lines:
            curve = self._curves[entry.line]
            power = grid * nominal_value(curve.power_scale) if state.by == BY_POWER else self._power(entry.line, grid)
            light = drive_law(power, curve.slope_per_w.n, curve.curvature.n)
            found[entry.line] = (light, power > curve.range_w[1])
        column = "rf_power_w" if state.by == BY_POWER else "supply_v"
        return DrivePicture(column, grid, found, state.limit)

    def _power(self, line: str, supply_v: FloatArray) -> FloatArray:
        level = self.session.curves.level
        assert level is not None
        peak = float(self.session.passbands.peak_mhz(line).n)
        return level.nominal_w(np.minimum(supply_v, level.range_v[1]), np.full(len(supply_v), peak))
