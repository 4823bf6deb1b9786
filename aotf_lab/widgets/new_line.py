"""What if I had a line at ...: what to set for a line that is not there yet, and how it would live with the others."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from uncertainties import UFloat, ufloat

from aotf_lab.crystal.passbands.passbands import passbands
from aotf_lab.crystal.purity.cells import Cell, predicted_cell
from aotf_lab.drawing.panel_new_line import NewLinePicture
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.physics.air import air_to_vacuum, vacuum_to_air
from aotf_lab.planning.park.harmonics import harmonic_levels
from aotf_lab.planning.park.reach import Reach, reach_of
from aotf_lab.planning.set_point import SetPoint, shown
from aotf_lab.planning.set_points import set_points
from aotf_lab.session import Session
from aotf_lab.widgets.controls import number, switch
from aotf_lab.widgets.panel import Panel

__all__ = ["Medium", "NewLinePanel", "NewLineState", "new_line_state"]

Medium = Literal["air", "vacuum"]

_NEW = "new line"
_NEAR_WIDTHS = 3.0
_CROWDED_DB = -20.0


@dataclass(frozen=True)
class NewLineState:
    """A line that is not there yet; made by ``new_line_state``.

    ``on_new`` are the cells of crosstalk with the filter set to it, ``on_others`` its light with the filter set to
    each of the others, ``ghosts`` (words) where a harmonic of one lets through the other. ``reach`` says which
    frequencies can be set.
    """

    wavelength_nm: UFloat
    frequency_mhz: UFloat
    point: SetPoint
    reach: Reach
    away_mhz: float
    nearest: str
    fwhm_mhz: UFloat
    on_new: tuple[Cell, ...]
    on_others: tuple[Cell, ...]
    ghosts: tuple[str, ...]
    remarks: tuple[str, ...]

    @property
    def title(self) -> str:
        """The line in a line."""
        air = float(vacuum_to_air(self.wavelength_nm.n))
        return f"A line at {self.wavelength_nm.n:.2f} nm in vacuum ({air:.2f} in air): {shown(self.frequency_mhz)} MHz"

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit)."""
        p = self.point
        pairs = (("drive voltage", p.drive_v, "V"), ("RF power for most light", p.rf_power_w, "W"),
                 ("amplifier supply", p.supply_v, "V"), ("efficiency", p.efficiency, ""))  # fmt: skip
        rows = [("frequency", f"{shown(self.frequency_mhz)} MHz")]
        rows += [(name, "not known" if v is None else f"{shown(v)} {unit}".strip()) for name, v, unit in pairs]
        if p.light_lost_percent is not None and p.u_setting_mhz is not None:
            lost = f"up to {p.light_lost_percent:.2g} % (95 %), by {1e3 * p.u_setting_mhz:.0f} kHz; most of it by "
            rows.append(("light lost before a scan", f"{lost}{p.largest_cause}: scan the line once it is there"))
        widths = abs(self.away_mhz) / self.fwhm_mhz.n
        rows.append(("nearest line", f"{self.nearest}, {self.away_mhz:+.3f} MHz away, {widths:.1f} passband widths"))
        rows += [
            (f"{c.light_of}, set to it", f"{c.predicted_words} dB") for c in self.on_new if c.bound_db > _CROWDED_DB
        ]
        rows += [(f"its light, set to {c.set_to}", f"{c.predicted_words} dB") for c in self.on_others
                 if c.bound_db > _CROWDED_DB]  # fmt: skip
        rows += [("ghost", words) for words in self.ghosts]
        return tuple(rows)

    @property
    def picture_words(self) -> str:
        """The picture in a sentence."""
        worst = max((*self.on_new, *self.on_others), key=lambda c: c.bound_db)
        return (
            f"Above, the tuning curve with the lines of the bench and the new one at {self.wavelength_nm.n:.1f} nm and "
            f"{self.frequency_mhz.n:.2f} MHz; below, crosstalk with each line, the worst {worst.bound_db:.0f} dB "
            f"at the most: light of {worst.light_of} with the filter set to {worst.set_to}."
        )


def new_line_state(session: Session, wavelength_nm: float, u_wavelength_nm: float, medium: Medium) -> NewLineState:
    """Return what a line at ``wavelength_nm`` in ``medium``, known to ``u_wavelength_nm``, would need and do.

    Raises ``OutOfRangeError`` beyond the tuning curve, ``AotfLabError`` for an uncertainty that is not above zero.
    """
    if not u_wavelength_nm > 0:
        raise AotfLabError(
            "uncertainty of the new line's wavelength", found=Said(f"{u_wavelength_nm:g} nm"), allowed="above 0 nm",
            cure="state it; a diode that is known by its label only has 3 nm",
        )  # fmt: skip
    plain = float(air_to_vacuum(wavelength_nm)) if medium == "air" else wavelength_nm
    nm = ufloat(plain, u_wavelength_nm, tag="wavelength of the new line")
    frequency = session.tuning.frequency(nm)
    curves, limits = session.curves, session.facts.limits
    point = set_points(session, {_NEW: nm})[_NEW]
    reach = reach_of(curves, limits.oscillator, limits.generator, None)
    bands = passbands(curves.scans, curves.efficiency, session.tuning,
                      wavelengths_nm={**session.wavelengths_nm, _NEW: nm})  # fmt: skip
    others = [n for n in session.passbands.lines if bands.of[n].saturation_power_w is not None]
    drive = {n: float(bands.saturation_power_w(n).n) for n in (_NEW, *others)}
    at = bands.peak_mhz(_NEW)
    on_new = tuple(predicted_cell(bands, _NEW, n, at, drive[_NEW], 1.0) for n in others)
    on_others = tuple(predicted_cell(bands, n, _NEW, bands.peak_mhz(n), drive[n], 1.0) for n in others)
    nearest = min(session.passbands.lines, key=lambda n: abs(bands.peak_mhz(n).n - at.n))
    return NewLineState(
        nm, frequency, point, reach, float(at.n - bands.peak_mhz(nearest).n), nearest, bands.fwhm_mhz(_NEW), on_new,
        on_others, _ghosts(session, at.n, bands.fwhm_mhz(_NEW).n), _remarks(point, reach, at.n),
    )  # fmt: skip


def _ghosts(session: Session, at_mhz: float, fwhm_mhz: float) -> tuple[str, ...]:
    """Return in words where a harmonic of the new line's setting hits another line, or the other way round."""
    found = []
    for level in harmonic_levels(session.driver_harmonics)[1:]:
        for name in session.passbands.lines:
            peak = float(session.passbands.peak_mhz(name).n)
            if abs(level.order * at_mhz - peak) < _NEAR_WIDTHS * fwhm_mhz:
                found.append(
                    f"set to the new line, {level.order} f lets line {name} through ({level.level_dbc:.0f} dBc)"
                )
            if abs(level.order * peak - at_mhz) < _NEAR_WIDTHS * fwhm_mhz:
                found.append(
                    f"set to line {name}, {level.order} f lets the new line through ({level.level_dbc:.0f} dBc)"
                )
    park = session.part("park")
    if park is not None:
        for level in harmonic_levels(session.driver_harmonics)[1:]:
            if abs(level.order * park.best.at_mhz - at_mhz) < _NEAR_WIDTHS * fwhm_mhz:
                found.append(f"parked at {park.best.at_mhz:.3f} MHz, {level.order} f lets the new line through")
    return tuple(found)


def _remarks(point: SetPoint, reach: Reach, at_mhz: float) -> tuple[str, ...]:
    words = [f"cannot be set: {reach.why_low}"] if at_mhz < reach.low_mhz else []
    words += [f"cannot be set: {reach.why_high}"] if at_mhz > reach.high_mhz else []
    return (*words, *([point.remark] if point.remark else []))


class NewLinePanel(Panel[NewLineState]):
    """Type a wavelength and how well it is known; what it would need and do follows."""

    heading = "What if I had a line at ..."

    def __init__(self, session: Session, wavelength_nm: float | None = None) -> None:
        """Open on ``wavelength_nm`` (in air), by default the middle of the widest gap between the bench's lines."""
        self.session = session
        tuning = session.tuning
        low, high = (float(vacuum_to_air(nm)) for nm in tuning.range_nm)
        lines = {n: (p.wavelength_nm, float(p.peak_mhz.n)) for n, p in session.passbands.of.items()}
        known = {n: (nm, mhz) for n, (nm, mhz) in lines.items() if nm is not None}
        start = wavelength_nm if wavelength_nm is not None else _widest_gap([nm for nm, _ in known.values()], low, high)
        low, high = np.ceil(10 * low) / 10, np.floor(10 * high) / 10
        self.wavelength_nm = number("Wavelength", start, low, high, 1.0, "nm")
        self.u_wavelength_nm = number("Known to (k = 1)", 0.5, 0.0, 10.0, 0.1, "nm")
        self.medium = switch("Wavelength in", ["air", "vacuum"])
        super().__init__([[self.wavelength_nm, self.u_wavelength_nm], [self.medium]])
        grid = np.linspace(*tuning.range_nm, 200)
        frequency = np.array([f.n for f in tuning.frequency(grid)])
        limits = session.facts.limits
        reach = reach_of(session.curves, limits.oscillator, limits.generator, None)
        others = [n for n, p in session.passbands.of.items() if p.saturation_power_w is not None]
        self._picture = NewLinePicture(grid, frequency, known, others, (reach.low_mhz, reach.high_mhz))
        self.watch(self.wavelength_nm, self.u_wavelength_nm, self.medium)
        self.refresh()

    def state(self) -> NewLineState:
        """Return what the line would need and do."""
        return new_line_state(self.session, self.wavelength_nm.value, self.u_wavelength_nm.value, self.medium.value)

    def draw(self, state: NewLineState | None) -> bytes:
        """Return the picture."""
        if state is None:
            return self._picture.png(still_only=True)
        levels = [[c.bound_db if c.predicted_db is None else c.predicted_db.n for c in cells]
                  for cells in (state.on_new, state.on_others)]  # fmt: skip
        nm = state.wavelength_nm
        return self._picture.drawn(nm.n, nm.s, state.frequency_mhz.n, levels[0], levels[1])


def _widest_gap(lines_nm: list[float], low_nm: float, high_nm: float) -> float:
    """Return the middle of the widest gap between lines, to a whole nm; of the range where there are not two."""
    order = np.sort(np.array([nm for nm in lines_nm if low_nm <= nm <= high_nm]))
    if len(order) < 2:
        return float(np.round((low_nm + high_nm) / 2))
    k = int(np.argmax(np.diff(order)))
    return float(np.round((order[k] + order[k + 1]) / 2))
